"""One stream in depth: bores, subgroups, limits, and what happened around them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.charts.shewhart import mean_limits, range_limits
from cellmon.errors import WrongUsage
from cellmon.judged import OFFSETS, SIZE_COLUMNS, Bores, Subgroups
from cellmon.monitor.alarms import AlarmBudget, alarm_budget
from cellmon.monitor.answers import Answer, BaselineSummary, Tolerance
from cellmon.monitor.judge.inputs import SIZE, Share
from cellmon.monitor.judge.signals import sides
from cellmon.monitor.judge.watching import Stretch, Watcher
from cellmon.monitor.signals import Signal, all_signals
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Flags, Kind, Numbers, Stream, Texts, Times, Whole
from cellmon.shifts import ShiftOf, to_utc


@dataclass(frozen=True, kw_only=True)
class EventMark:
    """Something logged that touches this stream; `kind` is an event kind or `gauge-check`."""

    at: datetime
    kind: str
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class StreamBores:
    """One entry a bore, in making order; `at` is `datetime64[us]` UTC, `verdict` holds `Verdict`s."""

    part: Texts
    at: Times
    value_um: Numbers
    flagged: Flags
    verdict: Texts


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


TWO_DAYS = np.timedelta64(2, "D")


def stream_view(view: View, stream: Stream, *, since: datetime | None, until: datetime | None) -> StreamView:
    """Answer with one stream between two moments, by default the last two days."""
    end = min(view.as_of, to_utc(until)) if until else view.as_of
    start = to_utc(since) if since else end - TWO_DAYS
    found = view.session.subgroups(stream, start=start, end=end)
    signals = tuple(
        s
        for s in all_signals(view, stream)
        if s.state != "withdrawn" and start <= to_utc(s.last_at) and to_utc(s.raised_at) <= end
    )
    baseline = view.summary(view.baseline(stream))
    bores = _bores(view, stream, start, end)
    if len(bores.at):
        start = max(start, bores.at[0])
    return StreamView(
        **view.head(),
        sentence=_sentence(view, stream, found, signals, baseline) + _like_words(view, stream),
        stream=stream,
        unit=view.unit(stream),
        since=view.local(start),
        until=view.local(end),
        zone=view.zone.key,
        tolerance=view.tolerance(stream),
        baseline=baseline,
        bores=bores,
        subgroups=_subgroups(view, stream, found),
        events=stream_events(view, stream, start, end),
        shifts=tuple(view.rules.now.calendar.between(start, end)),
        signals=signals,
        wear=wear_line(view, stream, start, end),
        alarms=alarm_budget(view),
        part_numbers=view.sheet.charted_numbers(stream.part_number),
        limits_of=view.part_of(stream).number,
        why_not={} if baseline else {"baseline": "fewer than 20 subgroups: nothing is called a limit"},
    )


ERRORS = 3.0


def wear_line(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> WearLine | None:
    """Return what was expected of a stream between two moments; None where it was not watched."""
    units = view.session.units_watched()
    begun = units[units <= start]
    units = units[(units >= (begun[-1] if len(begun) else start)) & (units <= end)]
    if not len(units):
        return None
    watcher = Watcher.of(view.session, view.rules, units[0])
    parts = [_expected(watcher.of_stream(unit, stream)) for unit in units]
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


def _expected(stretch: Stretch) -> tuple[Times, Numbers, Numbers, Numbers, Numbers]:
    """Return one stream's moments, means, expected means, their errors, and what offsets moved them by."""
    found = []
    for c, column in enumerate(stretch.columns):
        k = len(column.rows)
        known = column.moves.machine + column.moves.by_hand
        at, mean = stretch.subgroups.at[column.rows], stretch.steps.mean[:k, c]
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
    events = view.session.rows(Kind.EVENTS, start=start, end=end)
    return tuple(
        OffsetMark(at=view.local(events.at[i]), um=float(events.value[i]), by=events.by[i])
        for i in np.flatnonzero((events.event == EventKind.FEED_OFFSET) & np.isfinite(events.value))
        if share.on(events.spindle[i])
    )


def _sentence(
    view: View,
    stream: Stream,
    found: Subgroups,
    signals: tuple[Signal, ...],
    baseline: BaselineSummary | None,
) -> str:
    name = view.name(stream)
    if not len(found):
        return f"{name}: no subgroup in this time."
    if baseline is None:
        return f"{name}: {len(found)} subgroups, too few for limits."
    if not signals:
        return f"{name}: all {len(found)} subgroups lie inside their limits."
    waiting = sum(s.state == "open" for s in signals)
    many = "1 signal" if len(signals) == 1 else f"{len(signals)} signals"
    answered = "none waits" if not waiting else f"{waiting} wait{'s' if waiting == 1 else ''} for an answer"
    return f"{name}: {many} among {len(found)} subgroups, {answered}."


def _like_words(view: View, stream: Stream) -> str:
    """Return how the figures of like parts are to be read; empty for a single part."""
    if stream.like is None:
        return ""
    numbers = ", ".join(view.sheet.charted_numbers(stream.part_number))
    limits = (
        ""
        if stream.feature not in view.part_of(stream).features
        else (f"; the tolerance is that of {view.part_of(stream).number}, the last made")
    )
    size = "deviation from each part's own nominal" if stream.feature == SIZE else "each part's own figure"
    return f" Like parts {numbers}: {size}{limits}."


def value_column(view: View, stream: Stream) -> str:
    """Return the column of `Bores` that a stream charts.

    Raises
    ------
    WrongUsage
        Of offsets, which a spindle is given and no bore has.
    """
    if stream.feature == OFFSETS:
        raise WrongUsage("Offsets are given to a spindle over 100 bores; no bore has a figure of them.")
    if stream.feature != "diameter":
        return stream.feature
    part = view.sheet.charted_part(stream.part_number)
    return SIZE_COLUMNS.get(part.diameter.size, "average")


def stream_bores(view: View, stream: Stream, start: np.datetime64 | None, end: np.datetime64 | None) -> Bores:
    """Return the charted bores of a stream between two moments."""
    found = view.session.bores(start=start, end=end, spindle=stream.spindle, bore=stream.bore, charted=True)
    mine = np.isin(found.part_number.astype(str), view.sheet.charted_numbers(stream.part_number))
    if stream.fixture is not None:
        mine &= found.fixture == stream.fixture
    return found.select(mine)


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
    )


def stream_events(
    view: View, stream: Stream, start: np.datetime64, end: np.datetime64
) -> tuple[EventMark, ...]:
    """Return what happened to a stream's spindle and to its gauge between two moments."""
    events = view.session.rows(Kind.EVENTS, start=start, end=end)
    gauges = np.isin(events.gauge.astype(str), list(view.sheet.stream_gauges))
    mine = events.select((events.spindle == stream.spindle) | gauges)
    marks = [
        EventMark(at=view.local(mine.at[i]), kind=mine.event[i], words=event_words(mine, i))
        for i in range(len(mine))
    ]
    limit = view.sheet.checks.as_found_limit_um if view.sheet.checks else None
    checks = view.session.rows(Kind.GAUGE_CHECKS, start=start, end=end)
    for i in range(len(checks)):
        off = round((checks.reading_mm[i] - checks.master_mm[i]) * 1000.0, 4)
        if limit is not None and abs(off) > limit and checks.gauge[i] in view.sheet.stream_gauges:
            words = f"{checks.gauge[i]} found {off:+.1f} µm off"
            marks.append(EventMark(at=view.local(checks.at[i]), kind="gauge-check", words=words))
    return tuple(sorted(marks, key=lambda m: m.at))


def event_words(events: Events, i: int) -> str:
    """Return what one event says, in a few words."""
    kind, value, by = events.event[i], events.value[i], events.by[i]
    figure = "" if np.isnan(value) else f" {value:+.1f} µm"
    words = {
        EventKind.FEED_OFFSET: f"offset{figure}, {by or 'by hand'}",
        EventKind.STONES_FITTED: f"stones {events.stone_set[i]} fitted",
        EventKind.STONES_REMOVED: f"stones {events.stone_set[i] or ''} removed".replace("  ", " "),
        EventKind.STONES_DRESSED: "stones dressed",
        EventKind.GAUGE_ZEROED: f"{events.gauge[i]} zeroed{figure}",
        EventKind.REROUTED: f"hones {events.bores[i]}" if events.bores[i] else "back to its own bores",
        EventKind.SETUP_CHANGED: events.note[i] or "set-up changed",
    }
    return words[EventKind(kind)]
