"""Every spindle and stream now: may it go on, and what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from cellmon.charts.false_alarms import false_alarms_per_week
from cellmon.charts.shewhart import sigma_from_ranges
from cellmon.errors import NotEnoughData
from cellmon.judged import Subgroups
from cellmon.monitor.answers import Answer, BaselineSummary, Due, Estimate
from cellmon.monitor.due import due_at
from cellmon.monitor.judge.subgroups import count_streams
from cellmon.monitor.signals import Signal, all_signals
from cellmon.monitor.status import Status, spindle_status, stream_status, waiting
from cellmon.monitor.view import View
from cellmon.records import Stream


@dataclass(frozen=True, kw_only=True)
class AlarmCost:
    """What the one rule in use costs this cell in false alarms, computed from its own charts."""

    rule: str
    charts: int
    points_per_week: float
    per_week: float
    mean_per_week: float
    range_per_week: float


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
    bores_to_limit: Mapping[str, float] | None = None
    advice: tuple[Mapping[str, str], ...] = ()
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SpindleState:
    """One spindle now, in a sentence."""

    spindle: str
    status: Status
    sentence: str
    due: tuple[Due, ...]


@dataclass(frozen=True, kw_only=True)
class State(Answer):
    """The cell now."""

    spindles: tuple[SpindleState, ...]
    streams: tuple[StreamState, ...]
    alarms: AlarmCost | None
    notes: tuple[str, ...]


RULE = "a subgroup mean or range beyond its 3-sigma limit"
LATER = {
    "drift_um_per_100_bores": "comes with wear-aware detection",
    "bores_to_limit": "comes with forecasts",
    "advice": "comes with adjustment",
}
ALARMS_LATER = (
    "[alarms] false_alarms_per_week is kept, but limits do not follow from it yet: charts stand at 3 sigma."
)
RECENT_BORES = 500
"""So many of a stream's last bores make the figures of `state`."""


def state(view: View) -> State:
    """Answer: may each spindle go on, and what is due."""
    signals = all_signals(view)
    spindles = tuple(spindle_state(view, s, signals) for s in spindles_known(view))
    counts = _counts(view)
    streams = tuple(
        _stream_state(view, stream, signals, counts.get(stream, (0, 0))) for stream in view.streams
    )
    return State(
        **view.head(),
        spindles=spindles,
        streams=streams,
        alarms=alarm_cost(view),
        notes=view.notes,
        why_not={"alarms_budget": ALARMS_LATER},
    )


def _counts(view: View) -> dict[Stream, tuple[int, int]]:
    """Return how many bores and subgroups each stream has by now; of the past counted, not kept."""
    newest = view.session.newest_reading()
    if newest is None or newest <= view.as_of:
        return view.session.counts()
    counted = count_streams(view.session.bores(end=view.as_of), view.session.subgroups(end=view.as_of))
    counts: dict[Stream, tuple[int, int]] = {}
    for (_, stream), (bores, subgroups) in counted.items():
        before = counts.get(stream, (0, 0))
        counts[stream] = before[0] + bores, before[1] + subgroups
    return counts


def spindles_known(view: View) -> tuple[str, ...]:
    """Return the spindles of the sheet, or where it names none those that made bores."""
    return view.sheet.spindle_ids or tuple(sorted({s.spindle for s in view.streams if s.spindle}))


def alarm_cost(view: View) -> AlarmCost | None:
    """Return what the one rule costs, from the planned rate of bores; None where nothing is planned."""
    points = {s: planned_points_per_week(view, s) for s in view.streams}
    known = [p for p in points.values() if p]
    if not known:
        return None
    cost = false_alarms_per_week(np.array(known), view.sheet.subgroups.size)
    return AlarmCost(
        rule=RULE,
        charts=2 * len(known),
        points_per_week=float(sum(known)),
        per_week=cost.total,
        mean_per_week=cost.xbar,
        range_per_week=cost.range,
    )


def planned_points_per_week(view: View, stream: Stream) -> float:
    """Return how many subgroups a stream is planned to give in a week; 0 where nothing is planned."""
    sheet = view.sheet
    routed = [s for s in sheet.spindles if s.id == stream.spindle and stream.bore in s.bores]
    if sheet.planning is None or not routed:
        return 0.0
    per_shift = sheet.planning.bores_per_shift.get(routed[0].id, 0.0)
    worked = sum(len(s.days) for s in sheet.shifts) or 7
    fixtures = len({s.fixture for s in view.streams if _alike(s, stream)})
    bores = per_shift * worked / len(routed[0].bores) / max(fixtures, 1)
    return bores / sheet.subgroups.step


def _alike(one: Stream, other: Stream) -> bool:
    return (one.spindle, one.bore, one.feature, one.part_number) == (
        other.spindle,
        other.bore,
        other.feature,
        other.part_number,
    )


def spindle_state(view: View, spindle: str, signals: Sequence[Signal]) -> SpindleState:
    """Return one spindle's status, its sentence and what is due."""
    last = view.session.bores(spindle=spindle, charted=True, last=_positions(view, spindle), end=view.as_of)
    mine = waiting([s for s in signals if s.stream.spindle == spindle])
    due = due_at(view, spindle=spindle)
    status, sentence = spindle_status(view, spindle, last, mine, due)
    return SpindleState(spindle=spindle, status=status, sentence=sentence, due=due)


def _positions(view: View, spindle: str) -> int:
    named = [s for s in view.sheet.spindles if s.id == spindle]
    return len(named[0].bores) if named else len(view.sheet.part().bores)


def _stream_state(
    view: View, stream: Stream, signals: Sequence[Signal], counts: tuple[int, int]
) -> StreamState:
    recent = view.session.subgroups(stream, end=view.as_of, last=RECENT_BORES // view.sheet.subgroups.size)
    baseline = view.summary(view.baseline(stream))
    mine = waiting([s for s in signals if s.stream == stream])
    why_not = dict(LATER)
    if baseline is None:
        why_not["baseline"] = "fewer than 20 subgroups, or no spread in them: nothing is called a limit"
    n = int(recent.n.sum())
    return StreamState(
        stream=stream,
        bores=counts[0],
        subgroups=counts[1],
        mean_um=float(np.average(recent.mean, weights=recent.n)) if n else None,
        sd_within_um=_within(recent),
        sd_total_um=_total(recent),
        baseline=baseline,
        status=stream_status(view, stream, mine),
        open_signals=len(mine),
        why_not=why_not,
    )


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
