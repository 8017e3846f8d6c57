"""Scores as tables for people."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from tests.monitor.detection.scored import (
    DECOY,
    DIRT,
    ECHO,
    FALSE,
    FAULT,
    FaultScore,
    Score,
    causes_of,
)

HEAD = (
    f"{'fault':9}{'size':>5} {'found':6}{'n':>3} {'blocks':>6} {'rank':>4} {'best':>4} {'first named':20}"
    f"{'change':>7} {'in':>3} {'held':>5} {'all':>5} {'length':>6}  first signal"
)


def table(scored: Score) -> str:
    """Return a score as a table for people."""
    lines = [scored.name, HEAD, *(_row(f) for f in scored.faults)]
    counts = ", ".join(f"{scored.count(what)} {what}" for what in (FAULT, ECHO, DIRT, DECOY, FALSE))
    lines.append(
        f"signals: {counts}, {scored.withdrawn} withdrawn; promised {scored.promised:.2g} false"
        f"; all found {_yes(scored.all_found)}, all named {_yes(scored.all_named)}"
        f"; signals() took {scored.answer_s:.2f} s"
    )
    for what in (DECOY, FALSE, ECHO):
        kinds = Counter(
            f"{j.signal.kind} {getattr(getattr(j.signal, 'stream', None), 'feature', '-')}"
            for j in scored.judged
            if j.what == what
        )
        if kinds:
            lines.append(f"  {what}: " + ", ".join(f"{n} {kind}" for kind, n in kinds.most_common(8)))
    return "\n".join(lines)


def _row(f: FaultScore) -> str:
    if not f.found:
        return f"{f.name:9}{f.size:5.3g} no"
    return (
        f"{f.name:9}{f.size:5.3g} {'yes':6}{f.signals:3} {_number(f.delay_blocks):>6} {_number(f.rank):>4}"
        f" {_number(f.best_rank):>4} {f.named or '-':20}{_number(f.change_off_blocks):>7}"
        f" {_yes(f.inside_interval):>3} {_percent(f.covered):>5} {_percent(f.covered_by_all):>5}"
        f" {'-' if f.length is None else f'{f.length:.2f}':>6}  {f.kind}: {f.stream}"
    )


def _number(value: int | None) -> str:
    return "-" if value is None else str(value)


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f}%"


def _yes(value: bool | None) -> str:
    return "-" if value is None else ("yes" if value else "no")


def listing(scored: Score) -> str:
    """Return every signal on a line of its own, with what it was."""
    lines = []
    for j in scored.judged:
        causes = " ".join(causes_of(j.signal)[:2])
        at = j.raised.astype("datetime64[m]")
        lines.append(
            f"{at} {j.what:5} {j.of or '':16} {j.signal.kind:8} {j.signal.stream!s:45}"
            f" {(j.signal.size_um or j.signal.ratio or 0.0):8.2f}  {causes}"
        )
    return "\n".join(lines)


def summary(scores: Sequence[Score]) -> str:
    """Return what many cells scored together: by fault, then the false alarms."""
    lines = [
        f"{'fault':9} {'found':>7} {'first':>7} {'1 or 2':>7} {'median blocks':>14} {'held':>6} {'length':>7}"
    ]
    for name in [f.name for f in scores[0].faults]:
        of = [f for s in scores for f in s.faults if f.name == name]
        lines.append(
            f"{name:9} {sum(f.found for f in of):>4}/{len(of):<2} {sum(f.named_first for f in of):>7}"
            f" {sum(f.named_among_two for f in of):>7} {_median([f.delay_blocks for f in of]):>14}"
            f" {_median([f.covered for f in of], digits=2):>6} {_median([f.length for f in of], digits=2):>7}"
        )
    weeks = sum(s.weeks for s in scores)
    for what in (FALSE, DECOY, ECHO, DIRT):
        lines.append(f"{what}: {sum(s.count(what) for s in scores) / weeks:.2f} a week")
    promised = sum(s.promised for s in scores) / weeks
    passed = sum(s.all_named for s in scores)
    lines.append(f"promised {promised:.2g} a week; all found and named in {passed} of {len(scores)}")
    return "\n".join(lines)


def _median(values: Sequence[float | None], *, digits: int = 0) -> str:
    known = [v for v in values if v is not None]
    return f"{np.median(known):.{digits}f}" if known else "-"
