"""What grows on a spindle as its stones dull: honing time, spread of sizes; does the line wait for it?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cellmon.errors import NotEnoughData
from cellmon.monitor.stones.looked import LOOKED_BACK, Looked, newest_of
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events
from cellmon.stones.dressing_cost import Growth, dull_growth, fresh_growth, growth

SETTLING = 15
"""Bores after a dressing that cut larger and rougher: 5 to 15, common practice."""
STOPPED = 3.0
"""A gap of so many usual ones is a stop, and says nothing of the pace."""
KEEPS_PACE = 0.5
"""The line keeps its pace where it surely loses less than this share of what honing takes longer."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Intervals:
    """Bores of one spindle with the bores since its stones were dressed, and the interval they lie in."""

    bores: Looked
    since: Floats
    interval: NDArray[np.int64]
    stone_set: NDArray[np.int64]
    """Which set, counted from the fittings of the time looked at."""
    age: Floats
    """Bores of that set in the time looked at."""

    @property
    def lengths(self) -> Floats:
        """Bores of every interval that a dressing ended."""
        begun = np.flatnonzero(np.diff(self.interval, prepend=-1))
        whole = self.stone_set[begun[1:]] == self.stone_set[begun[:-1]]
        return np.asarray(np.diff(begun)[whole], dtype=np.float64)

    @property
    def longest(self) -> float:
        """The most bores since a dressing."""
        return float(self.since.max()) if len(self.since) else 0.0


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What grows on one spindle as its stones dull."""

    cycle: Growth
    """Of the honing time, seconds; what grows as the set wears is not in it."""
    pace: Growth | None
    """Of the time from one bore of the spindle to the next, seconds; None: the moments do not tell."""
    pace_s: float | None
    """From one bore of the spindle to the next, where nothing stops."""
    spread: Growth | None
    """Of the standard deviation of sizes, micrometres."""
    room_um: tuple[float, float] | None
    free_s: float | None
    """Honing time up to which nothing waits, as the sheet says."""

    @property
    def keeps_pace(self) -> bool:
        """Whether bores come as quickly with dull stones: then longer honing is no time lost."""
        return (
            self.free_s is None
            and self.cycle.low > 0
            and self.pace is not None
            and self.pace.high < KEEPS_PACE * self.cycle.per_bore
        )

    @property
    def sharp(self) -> bool:
        """Whether neither honing time nor spread clearly grows."""
        return self.cycle.low <= 0 and (self.spread is None or self.spread.low <= 0)

    @property
    def waits(self) -> bool:
        """Whether the time from bore to bore is seen to grow with the honing time."""
        return self.free_s is None and self.pace is not None and not self.keeps_pace and self.pace.low > 0

    @property
    def assumed(self) -> bool:
        """Whether it is not known what longer honing costs."""
        return self.free_s is None and self.cycle.low > 0 and not self.keeps_pace and not self.waits


def intervals_of(view: View, spindle: str) -> Intervals:
    """Return the newest bores of a spindle, in the order they were honed, by dressing interval."""
    looked = view.looked_at(spindle)
    return _intervals(looked.lately, view.logged(looked.since, view.as_of), spindle)


def whole_intervals_of(view: View, spindle: str) -> Intervals:
    """Return the same of the weeks up to the shift that runs; up to now where there was none before it."""
    until = view.whole_until
    if until is None:
        return view.dressed_intervals(spindle)
    looked = view.looked_at(spindle)

    def found() -> Intervals:
        since = until - LOOKED_BACK
        bores = looked.every.select(looked.every.measured_at < until)
        return _intervals(newest_of(bores, since), view.logged(since, until), spindle)

    return view.carry(f"whole intervals of {spindle}", (until, *looked.stored[:-1]), found)


def _intervals(bores: Looked, events: Events, spindle: str) -> Intervals:
    bores = bores.select(np.argsort(bores.honed, kind="stable"))
    honed = bores.honed
    fitted = (events.event == EventKind.STONES_FITTED) & (events.spindle == spindle)
    dressed = (events.event == EventKind.STONES_DRESSED) & (events.spindle == spindle)
    edges, fittings = np.sort(events.at[fitted | dressed]), np.sort(events.at[fitted])
    interval, stone_set = (np.searchsorted(at, honed, side="right") for at in (edges, fittings))
    since, age = _since(interval, len(edges)), _since(stone_set, len(fittings))
    whole = interval > 0  # bores before the first dressing known count from none
    return Intervals(
        bores=bores.select(whole),
        since=since[whole],
        interval=interval[whole],
        stone_set=stone_set[whole],
        age=age[whole],
    )


def learn(view: View, spindle: str, found: Intervals) -> Learned:
    """Learn how honing time, pace and spread grow between dressings; `NotEnoughData` as of `growth`."""
    settled = found.since >= SETTLING
    rows = np.flatnonzero(settled)
    cycle = dulled(found, rows, found.bores.cycle_s[rows])
    planning, diameter = view.sheet.planning, view.running(spindle).diameter
    lower, upper = diameter.lower_um, diameter.upper_um
    pace = _pace(found)
    learned = Learned(
        cycle=cycle,
        pace=None if pace is None else pace.growth,
        pace_s=None if pace is None else pace.usual_s,
        spread=_spread(found, settled),
        room_um=None,
        free_s=None if planning is None else planning.free_cycle_s,
    )
    if lower is None or upper is None or learned.spread is None:
        return learned
    mean = float(np.nanmean(found.bores.average))
    return replace(learned, room_um=(max(mean - lower, 0.0), max(upper - mean, 0.0)))


def _since(stretch: NDArray[np.int64], edges: int) -> Floats:
    """Return the bores of each stretch before each bore."""
    first = np.searchsorted(stretch, np.arange(edges + 1), side="left")
    return np.asarray(np.arange(len(stretch)) - first[stretch], dtype=np.float64)


def dulled(found: Intervals, rows: NDArray[np.int64], values: Floats) -> Growth:
    """Return the growth of a value that a dressing takes away: what the set's wear adds stays.

    `values` belong to `rows` of the bores; `NotEnoughData` as of `growth`.
    """
    since, interval = found.since[rows], found.interval[rows]
    within = growth(since, values, interval)
    age, stone_set = found.age[rows], found.stone_set[rows]
    fresh = fresh_growth(since, values, interval, age=age, stone_set=stone_set, within=within)
    return dull_growth(within, fresh)


@dataclass(frozen=True, kw_only=True)
class _Pace:
    growth: Growth
    usual_s: float


def _pace(found: Intervals) -> _Pace | None:
    """Return how the time from one bore to the next grows; None where the moments do not tell."""
    at, first, count = np.unique(found.bores.honed, return_index=True, return_counts=True)
    if len(at) < 2:
        return None
    gap = np.diff(at) / np.timedelta64(1, "s")
    usual = float(np.median(gap))
    second, before = first[1:], first[:-1]
    running = (found.interval[second] == found.interval[before]) & (gap <= STOPPED * usual)
    running &= found.since[second] >= SETTLING
    each = gap / count[1:]
    try:
        grows = growth(found.since[second][running], each[running], found.interval[second][running])
    except NotEnoughData:
        return None
    return _Pace(growth=grows, usual_s=float(np.median(each)))


def _spread(found: Intervals, settled: NDArray[np.bool_]) -> Growth | None:
    """Return the growth of the standard deviation, from neighbours of one bore: a drift cancels in them."""
    since, squares, interval = [], [], []
    for name in np.unique(found.bores.bore.astype(str)):
        mine = np.flatnonzero((found.bores.bore == name) & settled & np.isfinite(found.bores.average))
        beside = found.interval[mine[1:]] == found.interval[mine[:-1]]
        squares.append((np.diff(found.bores.average[mine]) ** 2 / 2)[beside])
        since.append(found.since[mine[1:]][beside])
        interval.append(found.interval[mine[1:]][beside])
    if not squares:
        return None
    try:
        variance = growth(np.concatenate(since), np.concatenate(squares), np.concatenate(interval))
    except NotEnoughData:
        return None
    sd = float(np.sqrt(max(variance.start, 1e-6)))
    slopes = [v / (2 * sd) for v in (variance.per_bore, variance.low, variance.high)]
    return Growth(start=sd, per_bore=slopes[0], low=slopes[1], high=slopes[2], intervals=variance.intervals)
