"""The watch through time: unit after unit, each from where the one before left every detector.

Where the detectors stand at the end of a unit is kept, so a batch is watched from the unit it falls into,
and a late row until all stand again where they stood.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.change import change_point
from cellmon.drift.spread import spread_change
from cellmon.drift.watch import Call, State, Steps, Watched, watch
from cellmon.drift.wear import Learned
from cellmon.judged import STREAM_COLUMNS, Alarms, Limit, Subgroups
from cellmon.monitor.judge.budget import Budget, budget, detector_limits
from cellmon.monitor.judge.evidence import moved_with
from cellmon.monitor.judge.inputs import (
    UNDONE_WITHIN,
    Column,
    Spans,
    moves,
    side_by_side,
    usual_events,
)
from cellmon.monitor.judge.limits import StreamLimits, all_limits
from cellmon.monitor.judge.patterns import pattern_rows
from cellmon.monitor.rules import Rules
from cellmon.records import Events, Kind, Stream, Times, Whole, no_rows
from cellmon.sheet import Sheet
from cellmon.store import Session
from cellmon.store.chunks import decode, encode
from cellmon.store.derived import by_stream

UNITS_BACK = 3
LONGEST_UNIT = np.timedelta64(366, "D")
POINTS_BACK = 250
"""So far back a change is looked for."""
DETECTORS = {
    "level": "three cumulative sums of the level",
    "spread": "three cumulative sums of the variance",
    "single": "one bore far from its level",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Place:
    """Where the watch stands: one column a stream, and the spans of its last subgroup."""

    streams: tuple[Stream, ...]
    versions: tuple[int, ...]
    state: State
    spans: Spans

    def block(self) -> bytes:
        """Return it as the store keeps it."""
        columns: dict[str, NDArray[Any]] = {}
        for name in STREAM_COLUMNS:
            column = np.empty(len(self.streams), dtype=object)
            column[:] = [getattr(s, name) for s in self.streams]
            columns[name] = column
        columns["version"] = np.array(self.versions, dtype=np.int64)
        for f in fields(State):
            columns[f"state_{f.name}"] = np.ascontiguousarray(getattr(self.state, f.name).T)
        for f in fields(Spans):
            columns[f"spans_{f.name}"] = getattr(self.spans, f.name)
        return encode(columns)

    @classmethod
    def read(cls, block: bytes) -> Place:
        """Read it back."""
        columns = decode(block)
        streams = tuple(
            Stream(**dict(zip(STREAM_COLUMNS, row, strict=True)))
            for row in zip(*(columns[name] for name in STREAM_COLUMNS), strict=True)
        )
        return cls(
            streams=streams,
            versions=tuple(columns["version"].tolist()),
            state=State(**{f.name: columns[f"state_{f.name}"].T.copy() for f in fields(State)}),
            spans=Spans(**{f.name: columns[f"spans_{f.name}"] for f in fields(Spans)}),
        )


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
        rows = _rows(watcher, unit, stretch)
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

    def history(self, unit: np.datetime64, stretch: Stretch, column: int, step: int, *, what: str) -> _Past:
        """Return a stream's surprises (or variance ratios) up to a step, from earlier units too."""
        stream = stretch.streams[column]
        past = [_past_of(stretch, column, step, what)]
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
            past.append(_past_of(found, place, len(found.steps.at), what))
        past.reverse()
        return _Past.joined(past)


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
    return sorted(plan, key=lambda p: (_order(p.stream), p.version))


def _learned(figures: Mapping[str, Any]) -> Learned:
    return Learned(**{**figures, "size": int(figures["size"])})


def _order(stream: Stream) -> tuple[str, ...]:
    return tuple(getattr(stream, name) or "" for name in STREAM_COLUMNS)


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
    columns = sorted(range(len(streams)), key=lambda k: _order(streams[k]))
    return Place(
        streams=tuple(streams[k] for k in columns),
        versions=tuple(versions[k] for k in columns),
        state=_gathered(State, [(parts[k][0], parts[k][2]) for k in columns]),
        spans=_gathered(Spans, [(parts[k][1], parts[k][2]) for k in columns]),
    )


def _gathered(kind: type[Any], parts: Sequence[tuple[Any, int]]) -> Any:
    found = {}
    for f in fields(kind):
        columns = [getattr(one, f.name)[..., i] for one, i in parts]
        if columns:
            found[f.name] = np.stack(columns, axis=-1)
        else:
            found[f.name] = np.zeros(0, dtype="datetime64[us]" if f.name in ("first", "last") else float)
    return kind(**found)


def _copy(state: State) -> State:
    return replace(state, **{f.name: getattr(state, f.name).copy() for f in fields(State)})


@dataclass(frozen=True, kw_only=True, eq=False)
class _Past:
    """Figures of one stream up to a step, with when and of which parts; `broken`: a call cuts it off."""

    values: NDArray[np.float64]
    first_at: Times
    at: Times
    first_part: NDArray[Any]
    last_part: NDArray[Any]
    broken: bool

    @classmethod
    def joined(cls, parts: Sequence[_Past]) -> _Past:
        whole = {
            name: np.concatenate([getattr(p, name) for p in parts])[-POINTS_BACK:]
            for name in ("values", "first_at", "at", "first_part", "last_part")
        }
        return cls(**whole, broken=parts[0].broken)


def _past_of(stretch: Stretch, column: int, until: int, what: str) -> _Past:
    figures = stretch.watched.surprise if what == "level" else stretch.watched.ratio
    values = figures[: until + 1, column]
    rows = stretch.columns[column].rows[: len(values)]
    values = values[: len(rows)]
    earlier = [
        c.step for c in stretch.watched.calls if c.stream == column and c.step < until and c.kind == what
    ]
    start = max(earlier) + 1 if earlier else 0
    fresh = np.flatnonzero(stretch.steps.changed[: until + 1, column])
    start = max(start, int(fresh[-1])) if len(fresh) else start
    there = np.flatnonzero(np.isfinite(values[start:])) + start
    subgroups = stretch.subgroups
    return _Past(
        values=values[there],
        first_at=subgroups.first_at[rows[there]],
        at=subgroups.at[rows[there]],
        first_part=subgroups.first_part[rows[there]],
        last_part=subgroups.last_part[rows[there]],
        broken=bool(earlier) or len(fresh) > 0,
    )


def _rows(watcher: Watcher, unit: np.datetime64, stretch: Stretch) -> Alarms:
    """Return what a unit has of every call: those that begin in it, and those that go on."""
    found: list[dict[str, Any]] = []
    open_calls: dict[tuple[int, str], dict[str, Any]] = {}
    before = stretch.before
    for c in range(len(stretch.streams)):
        for kind, calls in (("level", before.level_call), ("spread", before.spread_call)):
            if calls[c]:
                side = int(before.level_side[c]) if kind == "level" else 1
                open_calls[c, kind] = _row(unit, stretch, c, kind, side, int(calls[c]), step=0)
    for call in stretch.watched.calls:
        key = (call.stream, call.kind)
        if not call.begins:
            row = open_calls.pop(key, None)
            if row is not None:
                found.append(_ended(row, stretch, call.stream, call.step, over=1))
            continue
        row = _row(unit, stretch, call.stream, call.kind, call.side, call.call, step=call.step)
        row |= _change(watcher, unit, stretch, call)
        if call.kind == "single":
            found.append(_ended(row, stretch, call.stream, call.step, over=1))
        else:
            open_calls[key] = row
    for (c, _), row in open_calls.items():
        found.append(_ended(row, stretch, c, len(stretch.columns[c].rows) - 1, over=0))
    for row in found:
        if row["detector"]:  # it begins in this unit
            until = int(row["last_at"].astype(np.int64))
            if row["over"] and row["last_at"] > row["at"]:
                until -= 1  # the last subgroup is the one that was back
            begin, sure = (int(row.pop(n, row["at"]).astype(np.int64)) for n in ("begin", "sure"))
            row["moved"] = moved_with(begin, sure, until, stretch)
    found += pattern_rows(stretch.subgroups, watcher.limits, watcher.rules.at(unit).sheet)
    return _alarms(found)


def _row(
    unit: np.datetime64, stretch: Stretch, c: int, kind: str, side: int, call: int, *, step: int
) -> dict[str, Any]:
    row, stream = stretch.columns[c].rows[step], stretch.streams[c]
    return {
        **{name: getattr(stream, name) for name in STREAM_COLUMNS},
        "call": str(call),
        "kind": kind,
        "detector": "",
        "side": side,
        "unit_start": unit,
        "at": np.datetime64(call, "us"),
        "part": stretch.subgroups.last_part[row],
        "sigma": stretch.learned[c].bore_sd,
    }


def _ended(row: dict[str, Any], stretch: Stretch, c: int, step: int, *, over: int) -> dict[str, Any]:
    last = stretch.columns[c].rows[step]
    return row | {
        "last_at": stretch.subgroups.at[last],
        "last_part": stretch.subgroups.last_part[last],
        "over": over,
    }


def _change(watcher: Watcher, unit: np.datetime64, stretch: Stretch, call: Call) -> dict[str, Any]:
    """Return when what was called began, with its range, and how large it is."""
    learned = stretch.learned[call.stream]
    found: dict[str, Any] = {"detector": DETECTORS[call.kind]}
    if call.kind == "single":
        row = stretch.columns[call.stream].rows[call.step]
        s = stretch.subgroups
        moment, part, last = s.first_at[row], s.first_part[row], s.last_part[row]
        found |= {"begin": moment, "sure": moment}
        return found | _when((moment, part), (moment, part), (s.at[row], last)) | {"size": call.size}
    past = watcher.history(unit, stretch, call.stream, call.step, what=call.kind)
    if call.kind == "level":
        change = change_point(past.values)
        found["kind"] = change.kind
        found["size"] = change.shift * learned.mean_sd
        places = (change.index, change.earliest, change.latest)
    else:
        wider = spread_change(past.values, learned.size - 1)
        found["size"] = wider.ratio
        places = (wider.index, wider.earliest, wider.latest)
    i, early, late = places
    found |= {"begin": past.first_at[i], "sure": past.at[i]}
    return found | _when(
        (past.first_at[i], past.first_part[i]),
        (past.first_at[early], past.first_part[early]),
        (past.at[late], past.last_part[late]),
    )


def _when(*places: tuple[np.datetime64, str]) -> dict[str, Any]:
    names = ("change", "earliest", "latest")
    found: dict[str, Any] = {}
    for name, (at, part) in zip(names, places, strict=True):
        found[f"{name}_at"], found[f"{name}_part"] = at, part
    return found


def _alarms(rows: Sequence[dict[str, Any]]) -> Alarms:
    if not rows:
        return no_rows(Alarms)
    columns: dict[str, NDArray[Any]] = {}
    for column in Alarms.columns():
        values = [row.get(column.name) for row in rows]
        columns[column.name] = _typed(column.name, values)
    return Alarms(**columns)


def _typed(name: str, values: Sequence[Any]) -> NDArray[Any]:
    if name.endswith("at") or name == "unit_start":
        moments = [np.datetime64("NaT", "us") if v is None else v for v in values]
        return np.array(moments, dtype="datetime64[us]")
    if name in ("side", "over"):
        return np.array(values, dtype=np.int64)
    if name in ("size", "sigma"):
        return np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    texts = np.empty(len(values), dtype=object)
    texts[:] = values
    return texts
