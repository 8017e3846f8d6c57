"""The watch through time: unit after unit, each from where the one before left every detector.

Where the detectors stand at the end of a unit is kept, so a batch is watched from the unit it falls into,
and a late row until all stand again where they stood.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from cellmon.drift.columns import State, Steps, Watched
from cellmon.drift.watch import watch
from cellmon.drift.wear import Learned
from cellmon.judged import Limit, Subgroups
from cellmon.monitor.judge.budget import Budget, budget, detector_limits
from cellmon.monitor.judge.calling import POINTS_BACK, Past, alarm_rows, past_of
from cellmon.monitor.judge.inputs import (
    UNDONE_WITHIN,
    Column,
    Spans,
    moves,
    side_by_side,
    usual_events,
)
from cellmon.monitor.judge.limits import StreamLimits, all_limits
from cellmon.monitor.judge.places import Place, gathered
from cellmon.monitor.rules import Rules
from cellmon.records import Events, Kind, Stream, Whole
from cellmon.sheet import Sheet
from cellmon.store import Session
from cellmon.store.joining import by_stream

UNITS_BACK = 3
LONGEST_UNIT = np.timedelta64(366, "D")


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """One unit as it was watched."""

    subgroups: Subgroups
    columns: tuple[Column, ...]
    streams: tuple[Stream, ...]
    learned: tuple[Learned, ...]
    steps: Steps
    before: State
    watched: Watched
    after: Place


def watch_units(
    session: Session,
    rules: Rules,
    *,
    since: np.datetime64,
    must: Collection[np.datetime64],
    fresh: Mapping[np.datetime64, Subgroups] | None = None,
) -> None:
    """Watch every unit from a moment on until the detectors stand where they stood.

    They must have done so over as many units as a change is dated by; units that must be watched in any
    case are, wherever they lie.

    Parameters
    ----------
    since : datetime64
        The start of the first unit that may have changed.
    must : collection of datetime64
        Units that are watched in any case.
    fresh : mapping, optional
        Subgroups of units that were just cut.
    """
    units = session.units_judged(since)
    for gone in set(session.units_watched()[session.units_watched() >= since]) - set(units):
        session.forget_watched(gone)
    if not len(units):
        return
    watcher = Watcher.of(session, rules, since)
    due, alike = set(must), 0
    block, before = session.watched_before(units[0]), None
    for unit in units:
        if alike > UNITS_BACK and unit not in due:
            before = unit
            continue
        if before is not None:
            block, before = session.watched_at(before), None
        subgroups = (fresh or {}).get(unit)
        stretch = watcher.seen[unit] = watcher.unit(unit, block, subgroups)
        rows = alarm_rows(watcher, unit, stretch)
        stood = session.watched_at(unit)
        block = stretch.after.block()
        session.forget_watched(unit)
        session.put_watched(unit, block)
        session.add(rows)
        alike = alike + 1 if block == stood else 0


@dataclass(frozen=True, kw_only=True, eq=False)
class Watcher:
    """What the watch of any unit needs to know."""

    session: Session
    rules: Rules
    limits: Mapping[Stream, StreamLimits]
    events: Events
    events_from: np.datetime64
    """No event before is among them."""
    seen: dict[np.datetime64, Stretch] = field(default_factory=dict)
    """Units watched in this pass, for the past of those after them."""
    budgets: dict[int, Budget] = field(default_factory=dict)

    @classmethod
    def of(cls, session: Session, rules: Rules, since: np.datetime64) -> Watcher:
        """Load limits, and what was logged from some units before a moment on."""
        back = session.units_watched()
        back = back[back < since][-UNITS_BACK:]
        start = (back[0] if len(back) else since) - np.timedelta64(7, "D")
        events = _events(session, start)
        return cls(session=session, rules=rules, limits=all_limits(session), events=events, events_from=start)

    def unit(
        self,
        unit: np.datetime64,
        block: bytes | None,
        subgroups: Subgroups | None = None,
    ) -> Stretch:
        """Watch one unit from where the one before left off."""
        place = Place.read(block) if block else None
        if subgroups is None:
            subgroups = self.session.subgroups_of_unit(unit)
        sheet = self.rules.at(unit).sheet
        order = np.lexsort((subgroups.first_at, subgroups.at))
        subgroups = subgroups.select(order)
        found = self.budget_at(unit)
        plan = _plan(subgroups, self.limits, found)
        state = State.begin([p.learned for p in plan])
        spans = _spans_before(plan, subgroups, place, state)
        before = _copy(state)
        logged = self._logged(subgroups, spans, sheet)
        columns = tuple(_column(p, subgroups, spans, i, logged, sheet) for i, p in enumerate(plan))
        steps = side_by_side(subgroups, columns)
        streams = tuple(p.stream for p in plan)
        learned = tuple(p.learned for p in plan)
        limits = detector_limits(found, streams, [one.size for one in learned])
        watched = watch(state, steps, learned, limits)
        state.rounded()
        return Stretch(
            subgroups=subgroups,
            columns=columns,
            streams=streams,
            learned=learned,
            steps=steps,
            before=before,
            watched=watched,
            after=_place_after(plan, subgroups, spans, state, place),
        )

    def of_stream(self, unit: np.datetime64, stream: Stream) -> Stretch:
        """Watch one unit for one stream alone."""
        subgroups = self.session.subgroups(stream, start=unit, end=unit + LONGEST_UNIT)
        mine = subgroups.select(subgroups.unit_start == unit)
        return self.unit(unit, self.session.watched_before(unit), mine)

    def budget_at(self, unit: np.datetime64) -> Budget:
        """Return what the sheet of a unit gives each stream."""
        version = self.rules.at(unit)
        if version.version not in self.budgets:
            self.budgets[version.version] = budget(version.sheet)
        return self.budgets[version.version]

    def _logged(self, subgroups: Subgroups, before: Spans, sheet: Sheet) -> Events:
        """Return the events that may bear on some subgroups, less offsets that are not taken as known."""
        if not len(subgroups) or not len(before.first):
            return self.events.select(slice(0, 0))
        start, end = before.first.min(), subgroups.honed_last.max() + np.timedelta64(1, "us")
        begin = start - UNDONE_WITHIN
        events = self.events if begin >= self.events_from else _events(self.session, begin)
        reach = np.searchsorted(events.at, [begin, end])  # a spindle may have stood still for weeks
        near = usual_events(events.select(slice(*reach)), sheet)
        return near.select(near.at >= start)

    def history(self, unit: np.datetime64, stretch: Stretch, column: int, step: int, *, what: str) -> Past:
        """Return a stream's surprises (or variance ratios) up to a step, from earlier units too."""
        stream = stretch.streams[column]
        past = [past_of(stretch, column, step, what)]
        back = self.session.units_watched()
        back = back[back < unit][::-1][:UNITS_BACK]
        for earlier in back:
            if past[-1].broken or sum(len(p.values) for p in past) >= POINTS_BACK:
                break
            if earlier not in self.seen:
                self.seen[earlier] = self.unit(earlier, self.session.watched_before(earlier))
            found = self.seen[earlier]
            if stream not in found.streams:
                break
            place = len(found.streams) - 1 - found.streams[::-1].index(stream)
            past.append(past_of(found, place, len(found.steps.at), what))
        past.reverse()
        return Past.joined(past)


def _events(session: Session, start: np.datetime64) -> Events:
    events: Events = session.rows(Kind.EVENTS, start=start)
    return events.select(np.lexsort((events.value, events.at)))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Planned:
    stream: Stream
    version: int
    learned: Learned
    learned_until: np.datetime64
    """When the last bore was measured that it was learned from."""
    rows: Whole


def _plan(
    subgroups: Subgroups,
    limits: Mapping[Stream, StreamLimits],
    found: Budget,
) -> list[_Planned]:
    """Return the streams watched in a unit, in a fixed order, each with the rows after its baseline."""
    plan = []
    for stream, rows in by_stream(subgroups).items():
        if stream not in limits or found.family_of(stream) is None:
            continue
        for version, begins, ends in _versions(limits[stream]):
            at = subgroups.at[rows]
            mine = rows[(at > begins) & (at <= ends)]
            if len(mine) and version.learned is not None:
                learned = _learned(version.learned)
                plan.append(
                    _Planned(
                        stream=stream,
                        version=version.version,
                        learned=learned,
                        learned_until=version.window_to,
                        rows=mine,
                    )
                )
    return sorted(plan, key=lambda p: (p.stream, p.version))


def _learned(figures: Mapping[str, Any]) -> Learned:
    return Learned(**{**figures, "size": int(figures["size"])})


def _versions(limits: StreamLimits) -> list[tuple[Limit, np.datetime64, np.datetime64]]:
    """Return each version of a stream's limits, the moment after which it watches, and until when."""
    found: list[tuple[Limit, np.datetime64]] = []
    if limits.provisional is not None and limits.provisional.subgroups >= 25:
        found.append((limits.provisional, limits.provisional.window_to))
    for frozen in limits.frozen:
        begins = frozen.window_to if frozen.since is None else frozen.since - np.timedelta64(1, "us")
        found = [(limit, start) for limit, start in found if start < begins]
        found.append((frozen, begins))
    if not found:
        return []
    ends = [*(start for _, start in found[1:]), np.datetime64("2200-01-01", "us")]
    return [(limit, start, end) for (limit, start), end in zip(found, ends, strict=True)]


def _spans_before(plan: Sequence[_Planned], subgroups: Subgroups, place: Place | None, state: State) -> Spans:
    """Return the span of each column's last subgroup before this unit, and take its detectors' place.

    Before the first subgroup after a baseline stands the end of its window.
    """
    honed = np.array([subgroups.honed_first[p.rows[0]] for p in plan], dtype="datetime64[us]")
    first = np.minimum(np.array([p.learned_until for p in plan], dtype="datetime64[us]"), honed)
    last, thermal = first.copy(), np.array([subgroups.thermal[p.rows[0]] for p in plan], dtype=np.float64)
    if place is not None:
        known = {(s, v): i for i, (s, v) in enumerate(zip(place.streams, place.versions, strict=True))}
        for i, p in enumerate(plan):
            j = known.get((p.stream, p.version))
            if j is None:
                continue
            for f in fields(State):
                getattr(state, f.name)[..., i] = getattr(place.state, f.name)[..., j]
            first[i], last[i], thermal[i] = place.spans.first[j], place.spans.last[j], place.spans.thermal[j]
    return Spans(first=first, last=last, thermal=thermal)


def _column(p: _Planned, subgroups: Subgroups, before: Spans, i: int, events: Events, sheet: Sheet) -> Column:
    now = Spans(
        first=subgroups.honed_first[p.rows],
        last=subgroups.honed_last[p.rows],
        thermal=subgroups.thermal[p.rows],
    )
    one = Spans(first=before.first[i : i + 1], last=before.last[i : i + 1], thermal=before.thermal[i : i + 1])
    earlier = now.after(one)
    found = moves(p.stream, now, earlier, events, sheet)
    return Column(
        rows=p.rows, moves=found, bore_sd=p.learned.bore_sd, slope=p.learned.slope, spans=now, before=earlier
    )


def _place_after(
    plan: Sequence[_Planned],
    subgroups: Subgroups,
    spans: Spans,
    state: State,
    before: Place | None,
) -> Place:
    """Return where every stream stands after a unit; those without a subgroup stay as they were."""
    newest: dict[Stream, int] = {p.stream: i for i, p in enumerate(plan)}
    streams, versions, columns = [], [], []
    parts: list[tuple[State, Spans, int]] = []
    after = Spans(
        first=np.array([subgroups.honed_first[p.rows[-1]] for p in plan], dtype="datetime64[us]"),
        last=np.array([subgroups.honed_last[p.rows[-1]] for p in plan], dtype="datetime64[us]"),
        thermal=np.array([subgroups.thermal[p.rows[-1]] for p in plan], dtype=np.float64),
    )
    for stream, i in newest.items():
        streams.append(stream)
        versions.append(plan[i].version)
        parts.append((state, after, i))
    if before is not None:
        for j, stream in enumerate(before.streams):
            if stream not in newest:
                streams.append(stream)
                versions.append(before.versions[j])
                parts.append((before.state, before.spans, j))
    columns = sorted(range(len(streams)), key=lambda k: streams[k])
    return Place(
        streams=tuple(streams[k] for k in columns),
        versions=tuple(versions[k] for k in columns),
        state=gathered(State, [(parts[k][0], parts[k][2]) for k in columns]),
        spans=gathered(Spans, [(parts[k][1], parts[k][2]) for k in columns]),
    )


def _copy(state: State) -> State:
    return replace(state, **{f.name: getattr(state, f.name).copy() for f in fields(State)})
