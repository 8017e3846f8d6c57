"""The parts to contain after a signal, and what became of each."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.signals import all_signals
from cellmon.monitor.stream import stream_bores
from cellmon.monitor.view import View
from cellmon.records import Stream, Verdict
from cellmon.shifts import to_utc
from cellmon.store import Session


@dataclass(frozen=True, kw_only=True)
class HeldPart:
    """One bore of one part on a hold list."""

    part: str
    bore: str
    measured_at: datetime
    verdict: Verdict
    disposition: str | None


@dataclass(frozen=True, kw_only=True)
class Hold(Answer):
    """The hold list of one signal, in making order."""

    signal: str
    from_part: str | None
    to_part: str | None
    parts: tuple[HeldPart, ...]
    caution: str


CAUTION = (
    "Advice only. The machine's manual, the site's procedures, local law and qualified people come "
    "first; stop if unsure. Parts can be hot, heavy and sharp-edged."
)
DISPOSITIONS = ("released", "reworked", "scrapped", "concession")
FROM_WHERE = (
    "The list begins after the last quiet subgroup before the signal; a likelihood interval of the "
    "change comes with change points."
)


def hold(view: View, signal: str) -> Hold:
    """Answer with the parts to contain: from after the last quiet subgroup to the latest made.

    Raises
    ------
    NotFound
        When there is no such signal.
    """
    found = next((s for s in all_signals(view) if s.id == signal), None)
    if found is None:
        raise NotFound(f"no signal {signal}; `cellmon signals` lists them")
    bores = _since_quiet(view, found.stream, to_utc(found.raised_at))
    became = dispositions(view.session)
    parts = tuple(
        HeldPart(
            part=bores.part[i],
            bore=bores.bore[i],
            measured_at=view.local(bores.measured_at[i]),
            verdict=bores.verdict_of(i),
            disposition=became.get((signal, bores.part[i])),
        )
        for i in range(len(bores))
    )
    return Hold(
        **view.head(),
        signal=signal,
        from_part=parts[0].part if parts else None,
        to_part=parts[-1].part if parts else None,
        parts=parts,
        caution=CAUTION,
        why_not={"from_part": FROM_WHERE},
    )


def _since_quiet(view: View, stream: Stream, raised: np.datetime64) -> Bores:
    start = _last_quiet(view, stream, raised)
    bores = stream_bores(view, stream, start, view.as_of)
    return bores if start is None else bores.select(bores.measured_at > start)


def _last_quiet(view: View, stream: Stream, raised: np.datetime64) -> np.datetime64 | None:
    """Return when the last subgroup ended that lay inside its limits before the signal."""
    signals = view.session.episodes(stream, end=raised)
    before = view.session.subgroups(stream, end=raised, last=50).at
    quiet = before < raised
    for first, last in zip(signals.at, signals.last_at, strict=True):
        quiet &= (before < first) | (before > last)
    found = before[quiet]
    return found.max() if len(found) else None


def dispositions(session: Session) -> dict[tuple[str, str], str]:
    """Return what was last said of each held part, by signal and part."""
    return {(d.subject, part): d.body["as"] for d in session.decisions("release") for part in d.body["parts"]}


def release(
    session: Session,
    signal: str,
    allowed: Collection[str],
    *,
    parts: Sequence[str],
    as_: str,
    by: str,
    why: str,
    at: np.datetime64,
) -> None:
    """Journal what became of held parts.

    Raises
    ------
    WrongUsage
        When a word is not one of the four, or no part is named, or one that is not on the hold list.
    """
    if not parts:
        raise WrongUsage(f"name the parts of {signal} that are {as_}")
    if as_ not in DISPOSITIONS:
        raise WrongUsage(f"{as_!r}: parts are {', '.join(DISPOSITIONS)}")
    strange = sorted(set(parts) - set(allowed))
    if strange:
        raise WrongUsage(f"not on the hold list of {signal}: {', '.join(strange[:5])}")
    body = {"parts": sorted(set(parts)), "as": as_}
    session.decide(at=at, by=by, why=why, kind="release", subject=signal, body=body)
