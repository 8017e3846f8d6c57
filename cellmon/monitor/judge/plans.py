"""What is watched in a unit: its subgroups in order of time, and the streams that have limits, as columns."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

import numpy as np

from cellmon.drift.baselines import Baselines
from cellmon.drift.columns import State
from cellmon.drift.wear import Learned
from cellmon.judged import Limit, Subgroups
from cellmon.monitor.judge.columns import Laid
from cellmon.monitor.judge.inputs import Spans
from cellmon.monitor.judge.limits import StreamLimits
from cellmon.monitor.judge.places import Place, gathered
from cellmon.records import Stream, Times, Whole
from cellmon.store.joining import streams_of

NEVER = np.datetime64("2200-01-01", "us")


@dataclass(frozen=True, kw_only=True, eq=False)
class InTime:
    """Rows of some subgroups unit after unit, each unit's in the order of time, with the stream of each."""

    subgroups: Subgroups
    """As they were cut."""
    rows: Whole
    streams: tuple[Stream, ...]
    """In their own order."""
    stream: Whole
    """The place of each row's stream among them."""

    @classmethod
    def of(cls, subgroups: Subgroups) -> InTime:
        """Put subgroups of one or several units into order."""
        times = (subgroups.first_at, subgroups.at, subgroups.unit_start)
        order = np.lexsort([at.view(np.int64) for at in times])  # moments are slower to compare
        streams, number = streams_of(subgroups)
        sorted_ = sorted(range(len(streams)), key=lambda i: streams[i])
        rank = np.empty(len(streams), dtype=np.int64)
        rank[sorted_] = np.arange(len(streams))
        return cls(
            subgroups=subgroups,
            rows=order,
            streams=tuple(streams[i] for i in sorted_),
            stream=rank[number[order]] if len(streams) else number,
        )

    def __len__(self) -> int:
        return len(self.stream)

    def by_unit(self) -> Iterator[tuple[np.datetime64, InTime]]:
        """Yield each unit by its start; nothing is copied."""
        starts = self.subgroups.unit_start[self.rows]
        edges = [0, *(np.flatnonzero(starts[1:] != starts[:-1]) + 1).tolist(), len(self)]
        for begin, end in itertools.pairwise(edges) if len(self) else ():
            piece = slice(begin, end)
            yield starts[begin], replace(self, rows=self.rows[piece], stream=self.stream[piece])


@dataclass(frozen=True, kw_only=True, eq=False)
class Version:
    """One version of a stream's limits: what it taught the watch, and of which moments it tells."""

    number: int
    learned: Learned
    learned_until: np.datetime64
    """When the last bore was measured that it was learned from."""
    begins: int
    """The moment after which it watches, microseconds; `ends` the last that it does."""
    ends: int


def versions_of(limits: StreamLimits | None) -> tuple[Version, ...]:
    """Return each version of a stream's limits that watches."""
    found: list[tuple[Limit, np.datetime64]] = []
    if limits is None:
        return ()
    if limits.provisional is not None and limits.provisional.subgroups >= 25:
        found.append((limits.provisional, limits.provisional.window_to))
    for frozen in limits.frozen:
        begins = frozen.window_to if frozen.since is None else frozen.since - np.timedelta64(1, "us")
        found = [(limit, start) for limit, start in found if start < begins]
        found.append((frozen, begins))
    ends = [*(start for _, start in found[1:]), NEVER]
    return tuple(
        Version(
            number=limit.version,
            learned=learned_of(limit.learned),
            learned_until=limit.window_to,
            begins=int(start.astype(np.int64)),
            ends=int(end.astype(np.int64)),
        )
        for (limit, start), end in zip(found, ends, strict=False)
        if limit.learned is not None
    )


def learned_of(figures: Mapping[str, Any]) -> Learned:
    """Return what a window taught, as the store keeps it, as the watch takes it."""
    return Learned(**{**figures, "size": int(figures["size"])})


@dataclass(frozen=True, kw_only=True, eq=False)
class Lanes:
    """The columns that units of some streams may have: one for each version of each one's limits."""

    streams: tuple[Stream, ...]
    """As `InTime` numbers them."""
    versions: tuple[Version, ...]
    stream: Whole
    """The number of each lane's stream, ascending; `begins` and `ends` are those of its version."""
    begins: Whole
    ends: Whole
    chosen: dict[bytes, Chosen] = field(default_factory=dict)
    """Those that units watched up to now."""

    @classmethod
    def of(cls, streams: tuple[Stream, ...], versions: Mapping[Stream, Sequence[Version]]) -> Lanes:
        """Lay out the versions that watch each of some streams."""
        found = [
            (i, version)
            for i, stream in enumerate(streams)
            for version in sorted(versions.get(stream, ()), key=lambda v: v.number)
        ]
        return cls(
            streams=streams,
            versions=tuple(v for _, v in found),
            stream=np.array([i for i, _ in found], dtype=np.int64),
            begins=np.array([v.begins for _, v in found], dtype=np.int64),
            ends=np.array([v.ends for _, v in found], dtype=np.int64),
        )

    def choose(self, lanes: Whole) -> Chosen:
        """Return some of the lanes, the same ones each time they are asked for."""
        key = lanes.tobytes()
        if key not in self.chosen:
            self.chosen[key] = Chosen(
                streams=tuple(self.streams[self.stream[i]] for i in lanes),
                versions=tuple(self.versions[i] for i in lanes),
            )
        return self.chosen[key]


@dataclass(frozen=True, kw_only=True, eq=False)
class Chosen:
    """Streams that are watched together, in a fixed order: one for each version of each one's limits."""

    streams: tuple[Stream, ...]
    versions: tuple[Version, ...]

    @cached_property
    def learned(self) -> Baselines:
        """What the baseline of each taught."""
        return Baselines(version.learned for version in self.versions)

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        """The version of each one's limits."""
        return tuple(version.number for version in self.versions)

    @cached_property
    def learned_until(self) -> Times:
        """When the last bore was measured that each was learned from."""
        return np.array([version.learned_until for version in self.versions], dtype="datetime64[us]")


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """The streams watched in a unit, a column each, and the subgroups that stand in it."""

    chosen: Chosen
    laid: Laid

    @classmethod
    def of(cls, unit: InTime, lanes: Lanes) -> Plan:
        """Plan a unit: each stream's subgroups after its baseline, where it is watched at all."""
        order = np.argsort(unit.stream, kind="stable")
        rows, number = unit.rows[order], unit.stream[order]
        at = unit.subgroups.at.view(np.int64)[rows]
        begin, end = (np.searchsorted(number, lanes.stream, side) for side in ("left", "right"))
        there = np.flatnonzero(end > begin)
        outside = (at[begin[there]] <= lanes.begins[there]) | (at[end[there] - 1] > lanes.ends[there])
        for i in there[outside]:
            mine = at[begin[i] : end[i]]
            begin[i], end[i] = begin[i] + np.searchsorted(mine, (lanes.begins[i], lanes.ends[i]), "right")
        chosen = np.flatnonzero(end > begin)
        return cls(chosen=lanes.choose(chosen), laid=Laid.of(rows, begin[chosen], end[chosen]))

    def begin(self, subgroups: Subgroups, place: Place | None, state: State) -> Spans:
        """Return the span of each column's last subgroup before this unit, and take its detectors' place.

        Before the first subgroup after a baseline stands the end of its window.
        """
        first_rows = self.laid.first
        first = np.minimum(self.chosen.learned_until, subgroups.honed_first[first_rows])
        spans = Spans(first=first, last=first.copy(), thermal=subgroups.thermal[first_rows])
        if place is None:
            return spans
        here, there = self._standing(place)
        for mine, its in ((state, place.state), (spans, place.spans)):
            for f in fields(mine):
                getattr(mine, f.name)[..., here] = getattr(its, f.name)[..., there]
        return spans

    def _standing(self, place: Place) -> tuple[Whole | slice, Whole | slice]:
        """Return the columns of which a place tells, and which of its own they are."""
        mine = self.chosen
        if place.streams == mine.streams and place.versions == mine.numbers:
            return slice(None), slice(None)
        known = {key: i for i, key in enumerate(zip(place.streams, place.versions, strict=True))}
        found = [known.get(key) for key in zip(mine.streams, mine.numbers, strict=True)]
        here = np.array([i for i, j in enumerate(found) if j is not None], dtype=np.int64)
        return here, np.array([j for j in found if j is not None], dtype=np.int64)

    def place_after(self, subgroups: Subgroups, state: State, before: Place | None) -> Place:
        """Return where every stream stands after a unit; those without a subgroup stay as they were."""
        after, mine = Spans.of(subgroups).select(self.laid.last), self.chosen
        if before is not None and before.streams == mine.streams:
            return Place(streams=mine.streams, versions=mine.numbers, state=state, spans=after)
        newest = {stream: i for i, stream in enumerate(mine.streams)}
        keys = [(stream, mine.numbers[i], i) for stream, i in newest.items()]
        if before is not None:
            behind = len(mine.streams)
            keys += [
                (stream, before.versions[j], behind + j)
                for j, stream in enumerate(before.streams)
                if stream not in newest
            ]
        keys.sort(key=lambda key: key[0])
        columns = np.array([column for _, _, column in keys], dtype=np.int64)
        return Place(
            streams=tuple(stream for stream, _, _ in keys),
            versions=tuple(version for _, version, _ in keys),
            state=gathered([state] if before is None else [state, before.state], columns),
            spans=gathered([after] if before is None else [after, before.spans], columns),
        )
