"""Form from traces: what each section really is, and what the two-point gauge missed of it.

A bore is answered from its points where they were sent. A figure that the instrument worked out itself
(a characteristic of the name `roundness_trace` or `cylindricity`) stands beside it as reported, and is
judged only where there are no points: one bore and moment count once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from cellmon import lengths
from cellmon.errors import NotFound
from cellmon.judged import Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.latest import last_moment
from cellmon.monitor.traced_bore import BoreTraces, Traced, bore_traces
from cellmon.monitor.view import View
from cellmon.records import Characteristics, Kind, TracePoints, Verdict
from cellmon.sheet import TRACE_FEATURES
from cellmon.shifts import to_utc
from cellmon.words import say, say_many, to_say

WINDOW = timedelta(days=7)
"""How far back traces are answered unless said otherwise."""
KINDS = (Kind.TRACES, Kind.CHARACTERISTICS)
BLIND = to_say(
    "a two-point gauge adds the radii of both sides: it reads nothing of three, five or seven lobes and "
    "nothing of a bent axis"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class TracesAnswer(Answer):
    """Every traced bore of some time, or of one part, oldest first."""

    sentence: str
    blind: str
    bores: tuple[BoreTraces, ...]


def traces(
    view: View, *, part: str | None = None, since: datetime | None = None, until: datetime | None = None
) -> TracesAnswer:
    """Answer with the form of traced bores; curves to draw come with one part only.

    Raises
    ------
    NotFound
        When a part is named of which nothing was traced.
    """
    points, figures = _loaded(view, part, since, until)
    found = list(_answered(view, _grouped(points, figures), curves=part is not None))
    if part is not None and not found:
        raise NotFound(say("no traces of part {part}", part=part))
    found.sort(key=lambda b: (b.at is not None, b.at, b.part, b.bore))
    return TracesAnswer(**view.head(), sentence=_sentence(found), blind=say(BLIND), bores=tuple(found))


def _answered(view: View, every: Iterable[Traced], *, curves: bool) -> Iterator[BoreTraces]:
    """Answer bore by bore; the measurements of a block are fetched once."""
    bores: dict[str, Bores] = {}
    for one in every:
        if one.part not in bores:
            bores[one.part] = view.session.bores(part=one.part, end=view.as_of)
        yield bore_traces(view, one, bores[one.part], curves=curves)


def _loaded(
    view: View, part: str | None, since: datetime | None, until: datetime | None
) -> tuple[TracePoints, Characteristics]:
    end = last_moment(view, *KINDS) if until is None else to_utc(until)
    if part is not None:
        points = view.session.rows_of_part(Kind.TRACES, part)
        figures = view.session.rows_of_part(Kind.CHARACTERISTICS, part)
    else:
        start = _start(view, end) if since is None else to_utc(since)
        after = end + np.timedelta64(1, "us")
        points = view.session.rows(Kind.TRACES, start=start, end=after)
        figures = view.session.rows(Kind.CHARACTERISTICS, start=start, end=after)
    points = points.select(~(points.at > end))
    named = np.isin(figures.characteristic.astype(str), TRACE_FEATURES)
    return points, figures.select(named & (figures.at <= end))


def _start(view: View, end: np.datetime64) -> np.datetime64:
    """Return the moment a week before the newest trace, or before the end where that is earlier."""
    newest = [view.session.newest_of(kind) for kind in KINDS]
    known = [moment for moment in newest if moment is not None]
    start: np.datetime64 = min(end, max(known, default=end)) - np.timedelta64(WINDOW)
    return start


def _grouped(points: TracePoints, figures: Characteristics) -> Iterator[Traced]:
    """Yield each bore, gauge and moment once, whether points or figures or both came of it."""
    of_points = _rows_by_key(points)
    of_figures = _rows_by_key(figures)
    for key in dict.fromkeys((*of_points, *of_figures)):
        mine = points.select(of_points[key]) if key in of_points else None
        rows = of_figures.get(key, np.zeros(0, dtype=np.int64))
        reported: dict[str, float] = {}
        for row in rows:  # of several planes the worst counts
            name, value = figures.characteristic[row], float(figures.value[row])
            reported[name] = max(value, reported.get(name, value))
        some, row = (points, of_points[key][0]) if mine is not None else (figures, rows[0])
        part, bore, gauge, at = key
        yield Traced(
            part=part,
            bore=bore,
            spindle=some.spindle[row],
            gauge=gauge,
            at=np.datetime64(at, "us"),
            points=mine,
            reported=reported,
        )


Key = tuple[str, str, str | None, int]


def _rows_by_key(rows: TracePoints | Characteristics) -> dict[Key, NDArray[np.int64]]:
    found: dict[Key, list[int]] = {}
    moments = rows.at.astype("datetime64[us]").astype(np.int64).tolist()
    for i, key in enumerate(zip(rows.part, rows.bore, rows.gauge, moments, strict=True)):
        found.setdefault(key, []).append(i)
    return {key: np.array(at, dtype=np.int64) for key, at in found.items()}


def _sentence(bores: Sequence[BoreTraces]) -> str:
    if not bores:
        return say("No bore was traced in this time.")
    figures = [f for b in bores for f in b.figures]
    bad = sum(f.verdict in (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED) for f in figures)
    if not any(f.verdict is not None for f in figures):
        inside = say("none is judged")
    elif bad:
        inside = say("{count} figures are not proven to conform", count=bad)
    else:
        inside = say("every figure known is proven to conform")
    silent = [b for b in bores if b.roundness_trace.used is None]
    points = sum(b.roundness_trace.used == "points" for b in bores)
    said = say_many(
        "{count} bore traced, {points} judged by points; {inside}.",
        "{count} bores traced, {points} judged by points; {inside}.",
        len(bores),
        points=points,
        inside=inside,
    )
    return " ".join([said, *_silence(silent), *_missed_most(bores)])


def _missed_most(bores: Sequence[BoreTraces]) -> list[str]:
    """Return of which bore two points saw least; nothing where they missed none."""
    worst = max(bores, key=lambda b: b.missed_um or 0.0)
    if not worst.missed_um:
        return []
    return [
        say(
            "The two-point gauge missed most in {part} bore {bore}: {missed}.",
            part=worst.part,
            bore=worst.bore,
            missed=lengths.said(worst.missed_um, 2),
        )
    ]


def _silence(bores: Sequence[BoreTraces]) -> list[str]:
    """Return which bores gave no roundness, and why the first did not."""
    if not bores:
        return []
    first = bores[0]
    why = first.roundness_trace.why_not.get("value_um") or say("no roundness was sent")
    named = {"part": first.part, "bore": first.bore, "why": why}
    if len(bores) == 1:
        return [say("No roundness is known of {part} bore {bore}: {why}.", **named)]
    rest = len(bores) - 1
    return [say("No roundness is known of {part} bore {bore}, and {rest} more: {why}.", **named, rest=rest)]
