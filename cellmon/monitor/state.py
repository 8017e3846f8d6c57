"""Every spindle and stream now: may it go on, and what is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from cellmon.charts.shewhart import sigma_from_ranges
from cellmon.errors import OF_FIGURES, NotEnoughData
from cellmon.judged import Subgroups
from cellmon.monitor.alarms import AlarmBudget, alarm_budget
from cellmon.monitor.answers import Answer, BaselineSummary, Due, Estimate
from cellmon.monitor.dressings import NoPlan, PlannedDressing, planned_dressing
from cellmon.monitor.due import due_at
from cellmon.monitor.forecast import (
    NO_DRIFT,
    NO_STANDING,
    BoresLeft,
    StreamAdvice,
    advice_for,
    drift_per_100,
)
from cellmon.monitor.hand_streams import HandStream, finished_by_hand, streams_by_hand
from cellmon.monitor.judge.limits import LEAST_SUBGROUPS
from cellmon.monitor.judge.subgroups import count_streams
from cellmon.monitor.running import is_running, routed_bores
from cellmon.monitor.status import Status, spindle_status, stream_status, waiting
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.words import say, say_kept


@dataclass(frozen=True, kw_only=True)
class StreamState:
    """One stream now; figures in micrometres from nominal."""

    stream: Stream
    bores: int
    subgroups: int
    mean_um: float | None
    sd_within_um: float | None
    sd_total_um: float | None
    baseline: BaselineSummary | None
    status: Status
    open_signals: int
    drift_um_per_100_bores: Estimate | None = None
    bores_to_limit: BoresLeft | None = None
    planned_dressing: PlannedDressing | None = None
    advice: tuple[StreamAdvice, ...] = ()
    running: bool = True
    """Whether its spindle is running its part; only then is a correction advised."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SpindleState:
    """One spindle now, in a sentence."""

    spindle: str
    status: Status
    sentence: str
    due: tuple[Due, ...]
    part_number: str
    """Of the part it is running."""


@dataclass(frozen=True, kw_only=True)
class State(Answer):
    """The cell now."""

    spindles: tuple[SpindleState, ...]
    streams: tuple[StreamState, ...]
    alarms: AlarmBudget
    notes: tuple[str, ...]
    by_hand: tuple[HandStream, ...] = ()
    """Bores finished by hand in the last week: streams of their own, without limits and signals."""


@dataclass(frozen=True, kw_only=True)
class OneStream(Answer):
    """One stream now; None for a mean over bores or a distance from it."""

    state: StreamState | None


RECENT_BORES = 500
"""So many of a stream's last bores make the figures of `state`."""


def state(view: View) -> State:
    """Answer: may each spindle go on, and what is due."""
    spindles = tuple(spindle_state(view, s) for s in spindles_known(view))
    counts = _counts(view)
    streams = tuple(_stream_state(view, stream, counts.get(stream, (0, 0))) for stream in view.streams)
    return State(
        **view.head(),
        spindles=spindles,
        streams=streams,
        alarms=alarm_budget(view),
        notes=view.notes,
        by_hand=streams_by_hand(view, finished_by_hand(view)),
    )


def stream_state(
    view: View,
    *,
    spindle: str | None = None,
    bore: str | None = None,
    feature: str = "diameter",
    fixture: str | None = None,
    part_number: str | None = None,
    part_of: str = "itself",
) -> OneStream:
    """Answer with one stream of a bore now: the bores left to a limit, and what correction pays.

    A mean over bores, or a distance from it, has no tolerance of its own and so no such state.
    """
    stream = view.find_stream(
        spindle=spindle,
        bore=bore,
        feature=feature,
        fixture=fixture,
        part_number=part_number,
        part_of=part_of,
    )
    counted = _counts(view, stream).get(stream, (0, 0)) if stream in view.streams else None
    found = None if counted is None else _stream_state(view, stream, counted)
    return OneStream(**view.head(), state=found)


def _counts(view: View, stream: Stream | None = None) -> dict[Stream, tuple[int, int]]:
    """Return how many bores and subgroups each stream has by now, or one; of the past counted, not kept."""
    newest = view.session.newest_reading()
    if newest is None or newest <= view.as_of:
        return view.session.counts(stream)
    made, cut = view.session.bores(end=view.as_of), view.session.subgroups(end=view.as_of)
    counts: dict[Stream, tuple[int, int]] = {}
    for version in view.rules.versions:
        mine = made.select((made.unit_start >= version.since) & (made.unit_start < version.until))
        its = cut.select((cut.unit_start >= version.since) & (cut.unit_start < version.until))
        for (_, of), (bores, subgroups) in count_streams(mine, its, version.sheet).items():
            before = counts.get(of, (0, 0))
            counts[of] = before[0] + bores, before[1] + subgroups
    return counts


def spindles_known(view: View) -> tuple[str, ...]:
    """Return the spindles of the sheet, or where it names none those that made bores."""
    return view.sheet.spindle_ids or tuple(sorted({s.spindle for s in view.streams if s.spindle}))


def spindle_state(view: View, spindle: str) -> SpindleState:
    """Return one spindle's status, its sentence and what is due."""
    count = len(routed_bores(view, spindle))
    last = view.session.bores(spindle=spindle, charted=True, last=count, end=view.as_of)
    mine = view.aged(view.register.waiting_at(spindle))
    due = due_at(view, spindle=spindle)
    status, sentence = spindle_status(view, spindle, last, mine, due)
    number = view.running(spindle).number
    if len(view.sheet.parts) > 1 and len(last):
        sentence = say("{sentence} {part} is running.", sentence=sentence, part=number)
    return SpindleState(spindle=spindle, status=status, sentence=sentence, due=due, part_number=number)


def _stream_state(view: View, stream: Stream, counts: tuple[int, int]) -> StreamState:
    recent = view.session.subgroups(stream, end=view.as_of, last=RECENT_BORES // view.sheet.subgroups.size)
    baseline = view.summary(view.baseline(stream))
    mine = waiting(view.register.of_stream(stream))
    running = stream.spindle is None or is_running(view, stream, stream.spindle)
    found = view.standing(stream)
    drift, left = drift_per_100(found), view.bores_left(stream)
    why_not = {}
    if baseline is None:
        why_not["baseline"] = _no_baseline(view, stream)
    if drift is None:
        why_not["drift_um_per_100_bores"] = say(NO_STANDING if found is None else NO_DRIFT)
    planned: PlannedDressing | NoPlan
    if left is None:
        why_not["bores_to_limit"] = say(NO_STANDING if found is None else NO_DRIFT)
        planned = NoPlan(why_not=why_not["bores_to_limit"])
    else:
        planned = planned_dressing(view, stream, found)
    if isinstance(planned, NoPlan):
        why_not["planned_dressing"] = planned.why_not
    n = int(recent.n.sum())
    return StreamState(
        stream=stream,
        bores=counts[0],
        subgroups=counts[1],
        mean_um=float(np.average(recent.mean, weights=recent.n)) if n else None,
        sd_within_um=_within(recent),
        sd_total_um=_total(recent),
        baseline=baseline,
        status=stream_status(view, stream, mine, left),
        open_signals=len(mine),
        drift_um_per_100_bores=drift,
        bores_to_limit=left,
        planned_dressing=None if isinstance(planned, NoPlan) else planned,
        advice=advice_for(view, stream, found) if running else (),
        running=running,
        why_not=why_not,
    )


def _no_baseline(view: View, stream: Stream) -> str:
    """Return why nothing is called a limit: too few subgroups, gaps, no spread."""
    limits = view.limits.get(stream)
    provisional = limits.provisional if limits else None
    if provisional is not None and provisional.subgroups >= LEAST_SUBGROUPS and provisional.why_not:
        return say_kept(provisional.why_not, *OF_FIGURES)
    return say("fewer than 20 subgroups, or no spread in them: nothing is called a limit")


def _within(subgroups: Subgroups) -> float | None:
    try:
        return sigma_from_ranges(subgroups.range, subgroups.n).sigma
    except NotEnoughData:
        return None


def _total(subgroups: Subgroups) -> float | None:
    """Return the standard deviation of all bores of some subgroups, from their means and deviations."""
    n = subgroups.n.astype(np.float64)
    if n.sum() < 2:
        return None
    mean = np.average(subgroups.mean, weights=n)
    squares = (n - 1) * subgroups.sd**2 + n * (subgroups.mean - mean) ** 2
    return float(np.sqrt(squares.sum() / (n.sum() - 1)))
