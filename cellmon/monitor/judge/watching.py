"""The watch through time: unit after unit, each from where the one before left every detector.

Where the detectors stand at the end of a unit is kept, so a batch is watched from the unit it falls into,
and a late row until all stand again where they stood.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np

from cellmon.drift.columns import Limits, State, Steps, Watched
from cellmon.drift.watch import watch
from cellmon.drift.wear import Learned
from cellmon.judged import Subgroups
from cellmon.monitor.judge.budget import Budget, budget, detector_limits
from cellmon.monitor.judge.calling import POINTS_BACK, Past, alarm_rows, past_of
from cellmon.monitor.judge.columns import Columns, side_by_side
from cellmon.monitor.judge.inputs import UNDONE_WITHIN, Spans, moves_of, usual_events
from cellmon.monitor.judge.limits import StreamLimits, all_limits
from cellmon.monitor.judge.places import Place, blocks
from cellmon.monitor.judge.plans import Chosen, InTime, Lanes, Plan, Version, versions_of
from cellmon.monitor.rules import END, Rules
from cellmon.records import Events, Kind, Stream
from cellmon.sheet import Sheet
from cellmon.store import Session

UNITS_BACK = 3
PUT_AT_ONCE = 100
"""Units at whose end the detectors' place is packed together."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """One unit as it was watched."""

    cut: InTime
    columns: Columns
    streams: tuple[Stream, ...]
    learned: tuple[Learned, ...]
    steps: Steps
    before: State
    watched: Watched
    after: Place

    @property
    def subgroups(self) -> Subgroups:
        """The subgroups that the rows of columns count, those of other units among them."""
        return self.cut.subgroups


def watch_units(
    session: Session,
    rules: Rules,
    *,
    since: np.datetime64,
    must: Collection[np.datetime64],
    fresh: Mapping[np.datetime64, InTime] | None = None,
) -> tuple[np.datetime64, ...]:
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

    Returns
    -------
    tuple of datetime64
        The units that were watched, and those that are no units any more.
    """
    units = session.units_judged(since)
    stands = set(session.units_watched(since))
    seen = sorted(stands - set(units))
    for gone in seen:
        session.forget_watched(gone)
    if not len(units):
        return tuple(seen)
    watcher, place = Watcher.of(session, rules, since), Place.of(session.watched_before(units[0]))
    going = _Pass(watcher=watcher, fresh=fresh or {}, stands=stands, place=place)
    due = set(must)
    for unit in units:
        if going.alike > UNITS_BACK and unit not in due:
            going.leave(unit)
        else:
            going.watch(unit)
            seen.append(unit)
    going.put()
    return tuple(seen)


@dataclass(kw_only=True, eq=False)
class _Pass:
    """One pass through units in order of time, and where it is."""

    watcher: Watcher
    fresh: Mapping[np.datetime64, InTime]
    stands: Collection[np.datetime64]
    """Units at whose end it is kept where the detectors stood before this pass."""
    place: Place | None
    """Where they stand now."""
    left: np.datetime64 | None = None
    """The unit before, where it was passed over: they stand as they did at its end."""
    alike: int = 0
    """After so many units, one after another, they stood as before."""
    waits: dict[np.datetime64, Place] = field(default_factory=dict)
    """Where they stand at the end of units for which that is still to be kept."""

    def leave(self, unit: np.datetime64) -> None:
        """Pass over a unit that nothing changed."""
        self.left = unit
        if unit in self.stands:
            self.watcher.known.append(unit)

    def watch(self, unit: np.datetime64) -> None:
        """Watch a unit, and keep its calls and where it leaves the detectors."""
        session = self.watcher.session
        if self.left is not None:
            self.place, self.left = Place.of(session.watched_at(self.left)), None
        stretch = self.watcher.unit(unit, self.place, self.fresh.get(unit))
        self.watcher.keep(unit, stretch)
        rows = alarm_rows(self.watcher, unit, stretch)
        self.waits[unit] = self.place = stretch.after
        if unit in self.stands:
            stood = session.watched_at(unit)
            session.forget_watched(unit)
            self.alike = self.alike + 1 if self.put()[unit] == stood else 0
        else:
            self.alike = 0
            if len(self.waits) >= PUT_AT_ONCE:
                self.put()
        if len(rows):
            session.add(rows)
        self.watcher.known.append(unit)

    def put(self) -> dict[np.datetime64, bytes]:
        """Keep where the detectors stand at the end of units that wait for it; return it as it is kept."""
        put = dict(zip(self.waits, blocks(list(self.waits.values())) if self.waits else (), strict=True))
        self.watcher.session.put_watched(put)
        self.waits.clear()
        return put


@dataclass(frozen=True, kw_only=True, eq=False)
class Watcher:
    """What the watch of any unit needs to know."""

    session: Session
    rules: Rules
    limits: Mapping[Stream, StreamLimits]
    events: Events
    events_from: np.datetime64
    """No event before is among them."""
    events_to: np.datetime64
    """Nor one from then on."""
    seen: dict[np.datetime64, Stretch] = field(default_factory=dict)
    """Units watched in this pass, for the past of those after them."""
    known: list[np.datetime64] = field(default_factory=list)
    """The last units that were watched before this pass, and those it went through, oldest first."""
    budgets: dict[int, Budget] = field(default_factory=dict)
    versions: Mapping[Stream, Sequence[Version]] = field(default_factory=dict)
    lanes: dict[int, Lanes] = field(default_factory=dict)
    """Of each version of the sheet those that were asked for last."""
    detectors: dict[Chosen, Limits] = field(default_factory=dict)
    """When those of the streams of a unit call."""

    @classmethod
    def of(
        cls,
        session: Session,
        rules: Rules,
        since: np.datetime64,
        until: np.datetime64 = END,
        *,
        limits: Mapping[Stream, StreamLimits] | None = None,
    ) -> Watcher:
        """Load limits that are not given, and what was logged around some time, from units before it on."""
        back = session.last_watched(since, UNITS_BACK)
        start = (back[0] if len(back) else since) - np.timedelta64(7, "D")
        events = _events(session, start, until)
        limits = all_limits(session) if limits is None else limits
        return cls(
            session=session,
            rules=rules,
            limits=limits,
            events=events,
            events_from=start,
            events_to=until,
            versions={stream: versions_of(its) for stream, its in limits.items()},
            known=list(back),
        )

    def keep(self, unit: np.datetime64, stretch: Stretch) -> None:
        """Keep a unit for the past of those after it, as far as that reaches."""
        self.seen[unit] = stretch
        for far in sorted(self.seen)[: -UNITS_BACK - 1]:
            del self.seen[far]

    def unit(self, unit: np.datetime64, place: Place | None, subgroups: InTime | None = None) -> Stretch:
        """Watch one unit from where the one before left off."""
        if subgroups is None:
            subgroups = InTime.of(self.session.subgroups_of_unit(unit))
        sheet, cut = self.rules.at(unit).sheet, subgroups.subgroups
        plan = Plan.of(subgroups, self._lanes(unit, subgroups.streams))
        learned = plan.chosen.learned
        state = State.begin(learned)
        spans, before = plan.begin(cut, place, state), _copy(state)
        columns = self._columns(plan, subgroups, spans, sheet)
        steps = side_by_side(cut, columns)
        watched = watch(state, steps, learned, self._detectors(unit, plan.chosen))
        state.rounded()
        return Stretch(
            cut=subgroups,
            columns=columns,
            streams=plan.chosen.streams,
            learned=learned,
            steps=steps,
            before=before,
            watched=watched,
            after=plan.place_after(cut, state, place),
        )

    def _columns(self, plan: Plan, unit: InTime, first: Spans, sheet: Sheet) -> Columns:
        """Lay a unit's streams side by side, with what is known to have moved them."""
        now = Spans.of(unit.subgroups).select(plan.laid.rows)
        before = plan.laid.before(now, first)
        logged = self._logged(unit, first, sheet)
        return Columns(
            laid=plan.laid,
            spans=now,
            before=before,
            moves=moves_of(plan.chosen.streams, plan.laid.column, now, before, logged, sheet),
            bore_sd=plan.chosen.learned.figures.bore_sd,
            slope=plan.chosen.learned.figures.slope,
        )

    def _detectors(self, unit: np.datetime64, chosen: Chosen) -> Limits:
        """Return when the detectors of a unit's streams call; worked out once for the same streams."""
        if chosen not in self.detectors:
            sizes = [one.size for one in chosen.learned]
            self.detectors[chosen] = detector_limits(self.budget_at(unit), chosen.streams, sizes)
        return self.detectors[chosen]

    def _lanes(self, unit: np.datetime64, streams: tuple[Stream, ...]) -> Lanes:
        """Return the columns that a unit of some streams may have, by what its sheet watches."""
        version = self.rules.at(unit).version
        known = self.lanes.get(version)
        if known is None or known.streams != streams:
            found = self.budget_at(unit)
            watched = [stream for stream in streams if found.family_of(stream) is not None]
            self.lanes[version] = known = Lanes.of(streams, {s: self.versions.get(s, ()) for s in watched})
        return known

    def budget_at(self, unit: np.datetime64) -> Budget:
        """Return what the sheet of a unit gives each stream."""
        version = self.rules.at(unit)
        if version.version not in self.budgets:
            self.budgets[version.version] = budget(version.sheet)
        return self.budgets[version.version]

    def _logged(self, unit: InTime, before: Spans, sheet: Sheet) -> Events:
        """Return the events that may bear on a unit's subgroups, less offsets that are not taken as known."""
        if not len(unit) or not len(before.first):
            return self.events.select(slice(0, 0))
        last = unit.subgroups.honed_last[unit.rows].max()
        start, end = before.first.min(), last + np.timedelta64(1, "us")
        begin = start - UNDONE_WITHIN
        known = begin >= self.events_from and end <= self.events_to
        events = self.events if known else _events(self.session, begin, end)
        reach = np.searchsorted(events.at, [begin, end])  # a spindle may have stood still for weeks
        if reach[0] == reach[1]:
            return events.select(slice(0, 0))
        near = usual_events(events.select(slice(*reach)), sheet)
        return near.select(near.at >= start)

    def history(self, stretch: Stretch, column: int, step: int, *, what: str) -> Past:
        """Return a stream's surprises (or variance ratios) up to a step, from earlier units too."""
        stream = stretch.streams[column]
        past = [past_of(stretch, column, step, what)]
        for earlier in self.known[: -UNITS_BACK - 1 : -1]:
            if past[-1].broken or sum(len(p.values) for p in past) >= POINTS_BACK:
                break
            if earlier not in self.seen:
                self.seen[earlier] = self.unit(earlier, Place.of(self.session.watched_before(earlier)))
            found = self.seen[earlier]
            if stream not in found.streams:
                break
            place = len(found.streams) - 1 - found.streams[::-1].index(stream)
            past.append(past_of(found, place, len(found.steps.at), what))
        past.reverse()
        return Past.joined(past)


def _events(session: Session, start: np.datetime64, until: np.datetime64) -> Events:
    events: Events = session.rows(Kind.EVENTS, start=start, end=until)
    return events.select(np.lexsort((events.value, events.at)))


def _copy(state: State) -> State:
    return replace(state, **{f.name: getattr(state, f.name).copy() for f in fields(state)})
