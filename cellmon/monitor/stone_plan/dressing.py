"""How often dressing pays on each spindle: what dull stones cost there, against the minutes of a dressing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cellmon.errors import NotEnoughData
from cellmon.judged import Bores
from cellmon.monitor.answers import Estimate
from cellmon.monitor.stone_plan.ahead import stop_bores
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind
from cellmon.sheet import StoneKind
from cellmon.stones.cost import StonePrices
from cellmon.stones.dressing_cost import (
    DressingInterval,
    DressingPrices,
    Dulling,
    Growth,
    cheapest_interval,
    dullness_cost,
    growth,
)

LOOKED_BACK = np.timedelta64(30, "D")
MOST_BORES = 20_000
SETTLING = 15
"""Bores after a dressing that cut larger and rougher: 5 to 15, common practice."""
CURVE = 100
"""Points of a curve that is drawn."""
FARTHEST = 4.0
"""Intervals looked at reach so many times as far as the longest that was run."""
NO_PRICE = "[planning] machine_cost_per_hour and the kind's dress_minutes say what a dressing costs"
NO_INTERVALS = "{got} of the 3 dressing intervals in the last 30 days that would tell how stones dull"
NO_CYCLE = "no honing times (cycle_s) of this spindle in the last 30 days"
ALL_WAITS = (
    "every second of longer honing is taken as machine time lost; where the hone waits for the line, "
    "free_cycle_s in [planning] says up to which honing time nothing is"
)
SHARP = "neither the honing time nor the spread of sizes grows clearly until the stones are dressed"

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class DressingAdvice:
    """The dressing interval that costs least on one spindle, with its curve.

    Costs are per bore, of dressing and of what dull stones cost; `now_bores` is the interval in use.
    """

    spindle: str
    kind: str
    bores: float | None
    low: float | None
    high: float | None
    """Of the interval, 90 %, by what is not known of the growth."""
    near_low: float | None
    near_high: float | None
    """Intervals between these cost at most 5 % more."""
    cost: float | None
    now_bores: float | None
    now_cost: float | None
    cycle_s_per_1000_bores: Estimate | None
    sd_um_per_1000_bores: Estimate | None
    intervals: int | None
    sentence: str
    assumed: str | None = None
    curve_bores: Floats = field(default_factory=lambda: np.empty(0))
    curve_cost: Floats = field(default_factory=lambda: np.empty(0))
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Intervals:
    """Bores of one spindle with the bores since its stones were dressed, and the interval they lie in."""

    bores: Bores
    since: Floats
    interval: NDArray[np.int64]

    @property
    def longest(self) -> float:
        """The most bores since a dressing."""
        return float(self.since.max()) if len(self.since) else 0.0


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What grows on one spindle as its stones dull."""

    cycle: Growth
    spread: Growth | None
    """Of the standard deviation of sizes, micrometres."""
    room_um: tuple[float, float] | None
    free_s: float | None
    """Honing time up to which nothing waits."""


def dressing_advice(view: View, spindle: str, kind: StoneKind, prices: StonePrices) -> DressingAdvice:
    """Return how often dressing pays on one spindle, or why that is not known."""
    now = stop_bores(view, spindle) or None
    if prices.dressing <= 0 or prices.machine_per_hour <= 0:
        return _not_known(spindle, kind.id, now, NO_PRICE)
    found = intervals_of(view, spindle)
    try:
        learned = learn(view, spindle, found)
    except NotEnoughData as few:
        none = not len(found.bores) or not np.isfinite(found.bores.cycle_s).any()
        return _not_known(spindle, kind.id, now, NO_CYCLE if none else NO_INTERVALS.format(got=few.got))
    longest = FARTHEST * max(found.longest, now or 0.0, 2.0)
    return _advice(spindle, kind, prices, learned, now=now, longest=longest)


def intervals_of(view: View, spindle: str) -> Intervals:
    """Return the newest bores of a spindle, in the order they were honed, by dressing interval."""
    start = view.as_of - LOOKED_BACK
    bores = view.session.bores(spindle=spindle, charted=True, start=start, end=view.as_of, last=MOST_BORES)
    honed = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    order = np.argsort(honed, kind="stable")
    bores, honed = bores.select(order), honed[order]
    events: Events = view.session.rows(Kind.EVENTS, start=start, end=view.as_of)
    fresh = (events.event == EventKind.STONES_DRESSED) | (events.event == EventKind.STONES_FITTED)
    edges = np.sort(events.at[fresh & (events.spindle == spindle)])
    interval = np.searchsorted(edges, honed, side="right")
    first = np.searchsorted(interval, np.arange(len(edges) + 1), side="left")
    since = (np.arange(len(honed)) - first[interval]).astype(np.float64)
    whole = interval > 0  # bores before the first dressing known count from none
    return Intervals(bores=bores.select(whole), since=since[whole], interval=interval[whole])


def learn(view: View, spindle: str, found: Intervals) -> Learned:
    """Learn how honing time and spread grow between dressings; `NotEnoughData` as of `growth`."""
    settled = found.since >= SETTLING
    cycle = growth(found.since[settled], found.bores.cycle_s[settled], found.interval[settled])
    planning, diameter = view.sheet.planning, view.running(spindle).diameter
    free = None if planning is None else planning.free_cycle_s
    lower, upper = diameter.lower_um, diameter.upper_um
    spread, sizes = _spread(found, settled), found.bores.average
    if lower is None or upper is None or spread is None:
        return Learned(cycle=cycle, spread=spread, room_um=None, free_s=free)
    mean = float(np.nanmean(sizes))
    room = (max(mean - lower, 0.0), max(upper - mean, 0.0))
    return Learned(cycle=cycle, spread=spread, room_um=room, free_s=free)


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


def _dulling(learned: Learned, which: str) -> Dulling:
    """Return what dullness does by the middle, low or high growth; what does not clearly grow does not."""
    cycle, spread = learned.cycle, learned.spread
    clear = spread is not None and spread.low > 0
    return Dulling(
        cycle_s_per_bore=getattr(cycle, which) if cycle.low > 0 else 0.0,
        waiting_s=0.0 if learned.free_s is None else max(learned.free_s - cycle.start, 0.0),
        sd_um=None if spread is None else spread.start,
        sd_um_per_bore=getattr(spread, which) if clear else 0.0,
        room_um=learned.room_um,
    )


def _advice(
    spindle: str,
    kind: StoneKind,
    prices: StonePrices,
    learned: Learned,
    *,
    now: float | None,
    longest: float,
) -> DressingAdvice:
    costs = DressingPrices(
        dressing=prices.dressing + _stone_off(kind, prices),
        machine_per_hour=prices.machine_per_hour,
        scrap_per_bore=prices.scrap_per_bore,
    )

    def best(which: str) -> DressingInterval:
        extra = dullness_cost(_dulling(learned, which), costs)
        return cheapest_interval(extra, dressing=costs.dressing, longest=longest)

    found, soon, late = best("per_bore"), best("high"), best("low")
    now_cost = None if now is None else found.cost_at(now)
    return DressingAdvice(
        spindle=spindle,
        kind=kind.id,
        bores=found.bores if found.shows else None,
        low=soon.bores if found.shows else None,
        high=late.bores if late.shows else None,
        near_low=found.near_low if found.shows else None,
        near_high=found.near_high if found.shows else None,
        cost=found.cost_per_bore,
        now_bores=now,
        now_cost=now_cost,
        cycle_s_per_1000_bores=_per_1000(learned.cycle),
        sd_um_per_1000_bores=None if learned.spread is None else _per_1000(learned.spread),
        intervals=learned.cycle.intervals,
        sentence=_sentence(spindle, found, now, now_cost),
        assumed=ALL_WAITS if learned.free_s is None and learned.cycle.low > 0 else None,
        curve_bores=(drawn := np.geomspace(1.0, longest, CURVE)),
        curve_cost=np.interp(drawn, found.curve_bores, found.curve_cost),
        why_not={} if found.shows else {"bores": SHARP},
    )


def _stone_off(kind: StoneKind, prices: StonePrices) -> float:
    """Return what the thickness that a dressing takes off is worth."""
    depth = 1000 * (kind.new_thickness_mm - kind.least_thickness_mm)
    return prices.set_price * kind.dress_off_um / depth


def _per_1000(found: Growth) -> Estimate:
    return Estimate(
        value=1000 * found.per_bore, low=1000 * found.low, high=1000 * found.high, confidence=0.90
    )


def _sentence(spindle: str, found: DressingInterval, now: float | None, now_cost: float | None) -> str:
    if not found.shows:
        return (
            f"{spindle}: {SHARP}; dressing less often costs less up to {found.bores:,.0f} bores, the longest "
            "looked at. Finish and form may ask for it sooner."
        )
    words = (
        f"{spindle}: dressing every {_round(found.bores)} bores costs least; "
        f"every {_round(found.near_low)} to {_round(found.near_high)} costs at most 5 % more"
    )
    if now is None or now_cost is None:
        return f"{words}."
    more = now_cost / found.cost_per_bore - 1
    told = "which is as good" if more <= 0.05 else f"{100 * more:.0f} % more than the least"
    return f"{words}. Now it is every {now:,.0f}, {told}."


def _round(bores: float) -> str:
    """Return bores to two figures: more is not known."""
    step = 10 ** max(len(str(int(bores))) - 2, 0)
    return f"{round(bores / step) * step:,.0f}"


def _not_known(spindle: str, kind: str, now: float | None, why_not: str) -> DressingAdvice:
    return DressingAdvice(
        spindle=spindle,
        kind=kind,
        bores=None,
        low=None,
        high=None,
        near_low=None,
        near_high=None,
        cost=None,
        now_bores=now,
        now_cost=None,
        cycle_s_per_1000_bores=None,
        sd_um_per_1000_bores=None,
        intervals=None,
        sentence=f"{spindle}: how often dressing pays is not known: {why_not}.",
        why_not={"bores": why_not},
    )
