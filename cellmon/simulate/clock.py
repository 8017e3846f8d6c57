"""When each block is honed, on which stones, and how long since they were dressed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Times, Whole
from cellmon.simulate import incidents as plant
from cellmon.simulate.moments import SECOND, moment, seconds, utc, worked_shifts
from cellmon.simulate.scenario import Scenario
from cellmon.simulate.sources import Sources


@dataclass(frozen=True, kw_only=True)
class Dressing:
    """Stones of one spindle dressed before a block was honed."""

    spindle: int
    block: int
    at_s: int
    since_blocks: int


@dataclass(frozen=True, kw_only=True)
class Change:
    """A set taken out and another put in before a block was honed."""

    spindle: int
    block: int
    removed_s: int
    fitted_s: int
    removed: str
    fitted: str
    honed_blocks: int
    why: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Clock:
    """The course of a run, one row per block, one column per spindle where two-dimensional."""

    start: np.datetime64
    start_s: Whole
    since_dress: NDArray[np.int64]
    since_fit: NDArray[np.int64]
    """Blocks the set had honed before this one, in this run or before it."""
    since_change: NDArray[np.int64]
    """The same, but a set that was in use at the start counts as long broken in."""
    set_index: NDArray[np.int64]
    sets: tuple[str, ...]
    wear_um_per_block: NDArray[np.float64]
    """Radial wear of each set, shape (sets,), for a block of two bores."""
    dressings: tuple[Dressing, ...]
    changes: tuple[Change, ...]

    @property
    def times(self) -> Times:
        """When honing of each block starts, UTC."""
        found: Times = self.start + self.start_s * SECOND
        return found

    @property
    def blocks(self) -> int:
        """How many blocks were honed."""
        return len(self.start_s)


@dataclass(kw_only=True)
class _Spindle:
    """What one spindle carries while the clock runs."""

    stone_set: int
    used: int
    since_dress: int
    since_change: int = 10_000


@dataclass(frozen=True, kw_only=True)
class _Stop:
    """A time in which nothing is honed; with a change, a spindle comes back with another set."""

    starts_s: int
    ends_s: int
    spindle: int | None = None
    new_set: str | None = None
    why: str = ""


@dataclass(kw_only=True)
class _Course:
    """The clock while it runs: everything written so far."""

    scenario: Scenario
    factors: NDArray[np.float64]
    sets: list[str]
    spindles: list[_Spindle]
    planned: list[int]  # changes still planned, by spindle
    missed: list[tuple[int, int, int]]
    rerouted: list[tuple[int, int, int]]
    rows: list[tuple[int, ...]] = field(default_factory=list)
    dressings: list[Dressing] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    now_s: int = 0
    next_number: int = 0

    def wear(self, index: int) -> float:
        stones = self.scenario.stones
        return 2 * stones.wear_um_per_bore * float(self.factors[index])

    def change(self, spindle: int, *, starts_s: int, ends_s: int, new_set: str | None, why: str) -> None:
        """Take a set out and put the next one in; the clock stands at the end of it."""
        stones = self.spindles[spindle]
        name = new_set or f"FS-{self.next_number}"
        self.next_number = max(self.next_number, int(name.split("-")[1]) + 1)
        self.changes.append(
            Change(
                spindle=spindle,
                block=len(self.rows),
                removed_s=starts_s,
                fitted_s=ends_s,
                removed=self.sets[stones.stone_set],
                fitted=name,
                honed_blocks=stones.used,
                why=why,
            )
        )
        self.sets.append(name)
        self.spindles[spindle] = _Spindle(stone_set=len(self.sets) - 1, used=0, since_dress=0, since_change=0)
        self.now_s = ends_s

    def care(self) -> None:
        """Change what is worn out and dress what is dull before the next block."""
        rules = self.scenario.stones
        depth_um = (rules.new_mm - rules.least_mm) * 1000
        dressed = False
        for index, spindle in enumerate(self.spindles):
            worn = (spindle.used + 1) * self.wear(spindle.stone_set) > depth_um
            if worn and not self.planned[index]:
                back_s = self.now_s + rules.change_s
                self.change(index, starts_s=self.now_s, ends_s=back_s, new_set=None, why="worn")
            elif spindle.since_dress >= rules.dress_every_blocks and not self._skipped(index):
                found = Dressing(
                    spindle=index, block=len(self.rows), at_s=self.now_s, since_blocks=spindle.since_dress
                )
                self.dressings.append(found)
                spindle.since_dress = 0
                dressed = True
        if dressed:
            self.now_s += rules.dress_s

    def _skipped(self, spindle: int) -> bool:
        return any(s == spindle and a <= self.now_s < b for s, a, b in self.missed)

    def hone(self) -> None:
        """Write one block and count it on every set that honed it."""
        one, two = self.spindles
        self.rows.append(
            (
                self.now_s,
                one.since_dress,
                two.since_dress,
                one.used,
                two.used,
                one.since_change,
                two.since_change,
                one.stone_set,
                two.stone_set,
            )
        )
        shares = [1, 1]
        for spindle, a, b in self.rerouted:
            if a <= self.now_s < b:
                shares = [2 if i == spindle else 0 for i in range(2)]
        for spindle_, share in zip(self.spindles, shares, strict=True):
            spindle_.since_dress += share
            spindle_.used += share
            spindle_.since_change += share
        self.now_s += self.scenario.cycle_s


def run_clock(scenario: Scenario, *, sources: Sources) -> Clock:
    """Lay out every block of a run: the working hours less stops, dressings and stone changes.

    Parameters
    ----------
    scenario : Scenario
        With two spindles.
    sources : Sources
        Its stream 'sets' gives the wear of each set that is fitted during the run.
    """
    start = utc(scenario.starts, scenario.zone)
    course = _course(scenario, start, sources)
    for stop in _stops(scenario, start):
        if stop.ends_s <= course.now_s and stop.new_set is None:
            continue
        while True:
            course.care()
            if course.now_s >= stop.starts_s:  # what is begun is finished
                break
            course.hone()
        begins_s = max(course.now_s, stop.starts_s)
        course.now_s = max(course.now_s, stop.ends_s)
        if stop.spindle is not None:
            course.planned[stop.spindle] -= 1
            course.change(
                stop.spindle,
                starts_s=begins_s,
                ends_s=stop.ends_s,
                new_set=stop.new_set,
                why=stop.why,
            )
    return _clock(course, start)


def _course(scenario: Scenario, start: np.datetime64, sources: Sources) -> _Course:
    rules = scenario.stones
    z = sources.of("sets").standard_normal(20 + 4 * scenario.weeks)
    factors = np.clip(1 + rules.wear_sd_between_sets * z, 0.6, 1.5)
    planned = [c.spindle for c in rules.changes] + [c.spindle for c in scenario.every(plant.ChippedStone)]
    known = len(rules.in_use)
    factors[:known] = 1.0
    factors[known : known + len(planned)] = np.clip(factors[known : known + len(planned)], 0.8, 1.2)
    return _Course(
        scenario=scenario,
        factors=factors,
        sets=[s.stone_set for s in rules.in_use],
        spindles=[
            _Spindle(stone_set=i, used=s.used_blocks, since_dress=s.since_dress)
            for i, s in enumerate(rules.in_use)
        ],
        planned=[planned.count(name) for name in scenario.spindles],
        missed=_windows(scenario, plant.MissedDressing, start),
        rerouted=_windows(scenario, plant.Reroute, start),
        next_number=rules.next_number,
    )


def _windows(
    scenario: Scenario, kind: type[plant.MissedDressing] | type[plant.Reroute], start: np.datetime64
) -> list[tuple[int, int, int]]:
    found = scenario.every(kind)
    return [(scenario.spindles.index(i.spindle), *_span(scenario, i.starts, i.ends, start)) for i in found]


def _span(scenario: Scenario, starts: datetime, ends: datetime, start: np.datetime64) -> tuple[int, int]:
    edges = np.array([utc(at, scenario.zone) for at in (starts, ends)])
    a, b = seconds(edges, start)
    return int(a), int(b)


def _stops(scenario: Scenario, start: np.datetime64) -> list[_Stop]:
    shifts = worked_shifts(scenario)
    a, middle, b = (seconds(t, start).tolist() for t in (shifts.starts, shifts.middles, shifts.ends))
    stops = [_Stop(starts_s=s, ends_s=s + scenario.start_stop_s) for s in a]
    stops += [_Stop(starts_s=s, ends_s=s + scenario.middle_stop_s) for s in middle]
    following = [*a[1:], b[-1]]
    stops += [_Stop(starts_s=e, ends_s=n) for e, n in zip(b, following, strict=True) if n > e or n == b[-1]]
    stops += [
        _change_stop(scenario, start, c.spindle, (c.starts, c.back_at), new_set=c.new_set, why="worn")
        for c in scenario.stones.changes
    ]
    stops += [
        _change_stop(scenario, start, c.spindle, (c.ends, c.back_at), new_set=c.new_set, why="chipped")
        for c in scenario.every(plant.ChippedStone)
    ]
    return sorted(stops, key=lambda s: (s.starts_s, s.ends_s))


def _change_stop(
    scenario: Scenario,
    start: np.datetime64,
    spindle: str,
    span: tuple[datetime, datetime],
    *,
    new_set: str,
    why: str,
) -> _Stop:
    starts_s, ends_s = _span(scenario, *span, start)
    index = scenario.spindles.index(spindle)
    return _Stop(starts_s=starts_s, ends_s=ends_s, spindle=index, new_set=new_set, why=why)


def _clock(course: _Course, start: np.datetime64) -> Clock:
    table = np.array(course.rows, dtype=np.int64)
    wear = np.array([course.wear(i) for i in range(len(course.sets))])
    return Clock(
        start=start,
        start_s=table[:, 0],
        since_dress=table[:, 1:3],
        since_fit=table[:, 3:5],
        since_change=table[:, 5:7],
        set_index=table[:, 7:9],
        sets=tuple(course.sets),
        wear_um_per_block=wear,
        dressings=tuple(course.dressings),
        changes=tuple(course.changes),
    )


def end_of(scenario: Scenario, start: np.datetime64) -> np.datetime64:
    """Return when the last shift of a run ends, UTC."""
    return moment(start, float(seconds(worked_shifts(scenario).ends, start)[-1]))
