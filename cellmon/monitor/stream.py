"""One stream in depth: bores, subgroups, limits, and what happened around them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

import numpy as np

from cellmon import local
from cellmon.charts.shewhart import mean_limits, range_limits
from cellmon.judged import OFFSETS, Subgroups
from cellmon.monitor.alarms import AlarmBudget, alarm_budget
from cellmon.monitor.answers import Answer, BaselineSummary, Tolerance
from cellmon.monitor.judge.inputs import SIZE, Share
from cellmon.monitor.judge.places import Place
from cellmon.monitor.judge.plans import InTime
from cellmon.monitor.judge.signals import sides
from cellmon.monitor.judge.watching import Stretch, Watcher
from cellmon.monitor.limits_age import OldLimits, old_limits
from cellmon.monitor.signals import Signal, explained
from cellmon.monitor.stream_bores import stream_bores, value_column
from cellmon.monitor.stream_events import EventMark, stream_events
from cellmon.monitor.view import View
from cellmon.records import EventKind, Flags, Numbers, Stream, Texts, Times, Whole
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say, say_many, to_say


@dataclass(frozen=True, kw_only=True, eq=False)
class StreamBores:
    """One entry a bore, in making order; `at` is `datetime64[us]` UTC, `verdict` holds `Verdict`s."""

    part: Texts
    at: Times
    value_um: Numbers
    flagged: Flags
    verdict: Texts
    stone_set: Texts


@dataclass(frozen=True, kw_only=True, eq=False)
class StreamSubgroups:
    """One entry a subgroup, in making order; limits are nan where nothing is called a limit.

    `beyond_mean` and `beyond_range` are -1 below, 0 inside, +1 above.
    """

    first_part: Texts
    last_part: Texts
    first_at: Times
    at: Times
    n: Whole
    mean_um: Numbers
    range_um: Numbers
    lower_um: Numbers
    center_um: Numbers
    upper_um: Numbers
    range_lower_um: Numbers
    range_center_um: Numbers
    range_upper_um: Numbers
    beyond_mean: Whole
    beyond_range: Whole
    flagged: Flags
    stone_set: Texts


@dataclass(frozen=True, kw_only=True)
class OffsetMark:
    """An offset given to a spindle that bears on the stream, micrometres of diameter."""

    at: datetime
    um: float
    by: str | None


@dataclass(frozen=True, kw_only=True, eq=False)
class WearLine:
    """What the detectors expected of each subgroup's mean, three standard errors around it.

    `without_offsets_um` is each mean less the offsets given since the first of them. Micrometres.
    """

    at: Times
    level_um: Numbers
    lower_um: Numbers
    upper_um: Numbers
    without_offsets_um: Numbers
    offsets: tuple[OffsetMark, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class StreamView(Answer):
    """A stream from `since` to `until`; `zone` names the cell's time zone.

    `part_numbers` are those whose bores stand in it, `limits_of` the one whose tolerance is given: of like
    parts the one made last.
    """

    sentence: str
    stream: Stream
    unit: str
    since: datetime
    until: datetime
    zone: str
    tolerance: Tolerance
    baseline: BaselineSummary | None
    bores: StreamBores
    subgroups: StreamSubgroups
    events: tuple[EventMark, ...]
    shifts: tuple[ShiftOf, ...]
    signals: tuple[Signal, ...]
    wear: WearLine | None
    alarms: AlarmBudget
    part_numbers: tuple[str, ...] = ()
    limits_of: str | None = None
    limits_age: OldLimits | None = None
    """What was declared since the bores were made on which its frozen limits rest."""


TWO_DAYS = np.timedelta64(2, "D")


def stream_view(view: View, stream: Stream, *, since: datetime | None, until: datetime | None) -> StreamView:
    """Answer with one stream between two moments, by default the last two days."""
    end = min(view.as_of, to_utc(until)) if until else view.as_of
    start = to_utc(since) if since else end - TWO_DAYS
    found = view.session.subgroups(stream, start=start, end=end)
    subgroups = _subgroups(view, stream, found)
    signals = explained(view, view.signals_between(stream, start, end))
    baseline = view.summary(view.baseline(stream))
    bores = _bores(view, stream, start, end)
    if len(bores.at):
        start = max(start, bores.at[0])
    return StreamView(
        **view.head(),
        sentence=_sentence(view, stream, subgroups, signals, baseline) + _like_words(view, stream),
        stream=stream,
        unit=view.unit(stream),
        since=view.local(start),
        until=view.local(end),
        zone=view.zone.key,
        tolerance=view.tolerance(stream),
        baseline=baseline,
        bores=bores,
        subgroups=subgroups,
        events=stream_events(view, stream, start, end),
        shifts=tuple(view.rules.now.calendar.between(start, end)),
        signals=signals,
        wear=wear_line(view, stream, start, end),
        alarms=alarm_budget(view),
        part_numbers=view.sheet.charted_numbers(stream.part_number),
        limits_of=view.part_of(stream).number,
        limits_age=old_limits(view, stream),
        why_not={} if baseline else {"baseline": say("fewer than 20 subgroups: nothing is called a limit")},
    )


ERRORS = 3.0


def wear_line(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> WearLine | None:
    """Return what was expected of a stream between two moments; None where it was not watched."""
    begun = view.session.last_watched(start + np.timedelta64(1, "us"), 1)
    units = view.session.units_watched(begun[-1] if len(begun) else start)
    units = units[units <= end]
    if not len(units):
        return None
    watcher = Watcher.of(view.session, view.rules, units[0], end, limits=view.limits)
    parts = _expected_in(view, watcher, stream, units)
    at, mean, expected, error, moved = (np.concatenate(column) for column in zip(*parts, strict=True))
    inside = (at >= start) & (at <= end) & np.isfinite(expected)
    if not inside.any():
        return None
    at, mean, expected, error, moved = (x[inside] for x in (at, mean, expected, error, moved))
    known = np.cumsum(moved)
    return WearLine(
        at=at,
        level_um=expected,
        lower_um=expected - ERRORS * error,
        upper_um=expected + ERRORS * error,
        without_offsets_um=mean - (known - known[0]),
        offsets=_offsets(view, stream, start, end),
    )


Expected = tuple[Times, Numbers, Numbers, Numbers, Numbers]


def _expected_in(view: View, watcher: Watcher, stream: Stream, units: Times) -> list[Expected]:
    """Return what was expected in some units; one that nothing bears on anew is not watched again."""
    logged = (view.rules.now.version, watcher.limits.get(stream), watcher.events.digest())
    begun = {unit: view.session.watched_before(unit) for unit in units}
    cut = {unit: view.session.subgroups_of_unit(unit, stream) for unit in units}

    def expected(unit: np.datetime64) -> Expected:
        return _expected(watcher.unit(unit, Place.of(begun[unit]), InTime.of(cut[unit])))

    rests_on = {unit: (*logged, sha256(begun[unit] or b"").digest(), cut[unit].digest()) for unit in units}
    return list(view.carry_each(f"wear line of {stream.key}", rests_on, expected).values())


def _expected(stretch: Stretch) -> Expected:
    """Return one stream's moments, means, expected means, their errors, and what offsets moved them by."""
    found = []
    for c in range(len(stretch.streams)):
        rows, mine, moves = stretch.columns.rows(c), stretch.columns.places(c), stretch.columns.moves
        k = len(rows)
        known = moves.machine[mine] + moves.by_hand[mine]
        at, mean = stretch.subgroups.at[rows], stretch.steps.mean[:k, c]
        found.append((at, mean, stretch.watched.expected[:k, c], stretch.watched.error[:k, c], known))
    if not found:
        nothing = np.zeros(0)
        return np.zeros(0, dtype="datetime64[us]"), nothing, nothing, nothing, nothing
    columns = [np.concatenate(column) for column in zip(*found, strict=True)]
    return columns[0], columns[1], columns[2], columns[3], columns[4]


def _offsets(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> tuple[OffsetMark, ...]:
    if stream.feature != SIZE:
        return ()
    share = Share.of(stream, view.sheet)
    events = view.logged(start, end)
    return tuple(
        OffsetMark(at=view.local(events.at[i]), um=float(events.value[i]), by=events.by[i])
        for i in np.flatnonzero((events.event == EventKind.FEED_OFFSET) & np.isfinite(events.value))
        if share.on(events.spindle[i])
    )


def _sentence(
    view: View,
    stream: Stream,
    found: StreamSubgroups,
    signals: tuple[Signal, ...],
    baseline: BaselineSummary | None,
) -> str:
    name, subgroups = view.name(stream), len(found.at)
    if not subgroups:
        return _no_subgroup(view, stream, name)
    if baseline is None:
        return say("{stream}: {subgroups} subgroups, too few for limits.", stream=name, subgroups=subgroups)
    if not signals:
        return _quiet(found, name)
    waiting = sum(s.state == "open" for s in signals)
    answered = say("none waits")
    if waiting:
        answered = say_many("{count} waits for an answer", "{count} wait for an answer", waiting)
    return say_many(
        "{stream}: {count} signal among {subgroups} subgroups, {answered}.",
        "{stream}: {count} signals among {subgroups} subgroups, {answered}.",
        len(signals),
        stream=name,
        subgroups=subgroups,
        answered=answered,
    )


def _quiet(found: StreamSubgroups, name: str) -> str:
    beyond = int(((found.beyond_mean != 0) | (found.beyond_range != 0)).sum())
    if not beyond:
        text = to_say("{stream}: all {subgroups} subgroups lie inside their limits.")
        return say(text, stream=name, subgroups=len(found.at))
    return say_many(
        "{stream}: no signal among {subgroups} subgroups; {count} lies beyond plain three-sigma limits.",
        "{stream}: no signal among {subgroups} subgroups; {count} lie beyond plain three-sigma limits.",
        beyond,
        stream=name,
        subgroups=len(found.at),
    )


def _no_subgroup(view: View, stream: Stream, name: str) -> str:
    newest = view.session.subgroups(stream, end=view.as_of, last=1)
    if not len(newest):
        return say("{stream}: no subgroup yet.", stream=name)
    at = local.moment(view.local(newest.at[0]))
    return say("{stream}: no subgroup in this time; its newest is of {moment}.", stream=name, moment=at)


def _like_words(view: View, stream: Stream) -> str:
    """Return how the figures of like parts are to be read; empty for a single part."""
    if stream.like is None:
        return _size_words(view, stream)
    numbers = ", ".join(view.sheet.charted_numbers(stream.part_number))
    words = say("each part's own figure")
    if stream.feature == SIZE:
        words = say("deviation from each part's own nominal")
    part = view.part_of(stream)
    if stream.feature in part.features:
        words = say("{words}; the tolerance is that of {part}, the last made", words=words, part=part.number)
    return " " + say("Like parts {numbers}: {words}.", numbers=numbers, words=words)


def _size_words(view: View, stream: Stream) -> str:
    """Return that two-point sizes are not the size of the sheet; empty where they are."""
    part = view.sheet.charted_part(stream.part_number)
    if stream.feature != SIZE or not part.sized_by_trace:
        return ""
    return " " + say(
        "Shown is the average of two-point sizes, which watches the process; the {size} size that the sheet "
        "names is charted from traces, as diameter_trace.",
        size=part.diameter.size,
    )


def _bores(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> StreamBores:
    found = stream_bores(view, stream, start, end)
    if stream.feature == OFFSETS:  # no bore has a figure of them
        found = found.select(slice(0, 0))
    value = np.zeros(0) if stream.feature == OFFSETS else getattr(found, value_column(view, stream))
    verdicts: Texts = np.empty(len(found), dtype=object)
    verdicts[:] = [found.verdict_of(i) for i in range(len(found))]
    return StreamBores(
        part=found.part,
        at=found.measured_at,
        value_um=value,
        flagged=found.flags != 0,
        verdict=verdicts,
        stone_set=found.stone_set,
    )


def _subgroups(view: View, stream: Stream, found: Subgroups) -> StreamSubgroups:
    centre, sigma = view.limits[stream].over(found.at)
    means, ranges = mean_limits(centre, sigma, found.n), range_limits(sigma, found.n)
    mean_side, range_side = sides(found, centre, sigma)
    return StreamSubgroups(
        first_part=found.first_part,
        last_part=found.last_part,
        first_at=found.first_at,
        at=found.at,
        n=found.n,
        mean_um=found.mean,
        range_um=found.range,
        lower_um=means.lower,
        center_um=centre,
        upper_um=means.upper,
        range_lower_um=ranges.lower,
        range_center_um=ranges.centre,
        range_upper_um=ranges.upper,
        beyond_mean=mean_side,
        beyond_range=range_side,
        flagged=found.flagged != 0,
        stone_set=found.stone_set,
    )
