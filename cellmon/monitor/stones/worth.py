"""What sets of a kind cost and when changing one pays: one place for the advice and for the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from cellmon.monitor.dressings import Plan
from cellmon.monitor.view import View
from cellmon.sheet import Planning, StoneKind
from cellmon.stones.cost import StonePrices, cost_per_bore
from cellmon.stones.life import Life
from cellmon.stones.planning import margin_bores, mean_bores
from cellmon.stones.replacement import ChangeCosts, LookAhead, change_in, look_ahead

FAILED_SCRAP = 10.0
"""Bores lost where a set runs to its end before that is seen; no source: the sheet's `failed_scrap_bores`."""
FAILED_TIMES = 2.0
"""An unplanned change takes so many times as long; no source: the sheet's `failed_minutes`."""
FAILED = 5.0
"""Without prices, what a set run to its end costs against a planned change: common practice, no source."""
RUN_OUT = 0.002
"""Share of sets that a look ahead at every stop lets run to their end: docs/planning.md."""
STOP_SHARE = 0.1
"""Of a life: stones that last less than ten stops are stopped for when they are due."""
CHIPS_SEEN, CHIPS_IN_LIVES = 0.5, 10.0
"""Before the log says otherwise: half a set chipped in the lives of ten; no source."""
MISSED = 0.1
"""The latest of dressings, this share, were missed: no stop is planned to come so late."""
STEP = 500.0
"""Bores to the next stop where neither a dressing nor a shift is planned."""


def prices_of(
    kind: StoneKind, planning: Planning | None, *, price: float | None = None
) -> StonePrices | None:
    """Return what sets of a kind cost; None where no price of a set is known."""
    paid = kind.set_cost if price is None else price
    if paid is None:
        return None
    minutes = kind.change_minutes or 0.0
    failed = kind.failed_minutes
    return StonePrices(
        set_price=paid,
        change_minutes=minutes,
        dress_minutes=kind.dress_minutes or 0.0,
        machine_per_hour=(planning.machine_cost_per_hour if planning else None) or 0.0,
        scrap_per_bore=(planning.scrap_cost_per_bore if planning else None) or 0.0,
        failed_minutes=FAILED_TIMES * minutes if failed is None else failed,
        failed_scrap=FAILED_SCRAP if kind.failed_scrap_bores is None else kind.failed_scrap_bores,
        change_scrap=kind.change_scrap_bores,
        dress_scrap=kind.dress_scrap_bores,
    )


def stop_bores(view: View, spindle: str) -> float:
    """Return the bores from one stop where stones could be changed to the next: a dressing, else a shift."""
    named = [s.dress_every_bores for s in view.sheet.spindles if s.id == spindle]
    if named and named[0] is not None:
        return float(named[0])
    plan = view.dressing_plan(spindle)
    if isinstance(plan, Plan) and plan.every_bores > 0:
        return float(plan.every_bores)
    planning = view.sheet.planning
    return float(planning.bores_per_shift.get(spindle, 0.0)) if planning is not None else 0.0


def chips_of(kind: StoneKind, new: Life, *, chipped: int, bores: float) -> float:
    """Return the chance that a bore chips a set: the sheet's, else what the log shows, from a guess on."""
    if kind.chips_per_1000_bores is not None:
        return kind.chips_per_1000_bores / 1000
    return (chipped + CHIPS_SEEN) / (bores + CHIPS_IN_LIVES * new.mean)


def usual_stop(view: View, spindles: Sequence[str], *, mean_life: float) -> float:
    """Return the bores between stops of the spindles that a kind of sets stands on."""
    stops = [stop_bores(view, spindle) for spindle in spindles]
    return min(float(np.median(stops)) if stops else 0.0, STOP_SHARE * mean_life)


@dataclass(frozen=True, kw_only=True)
class Stops:
    """Bores to the next stop at which stones could be changed, and from each to the next."""

    first: float
    every: float
    late: tuple[float, ...] = (0.0,)
    """Bores by which dressings came late of late, each as likely as the others."""


def stops_of(view: View, spindle: str, *, mean_life: float | None = None) -> Stops:
    """Return the stops of a spindle; short-lived sets are stopped for when due, not at a far dressing."""
    every = stop_bores(view, spindle) or STEP
    plan = view.dressing_plan(spindle)
    # at a dressing that is due now the choice is between this stop and the one after it
    first = plan.in_bores if isinstance(plan, Plan) and plan.in_bores >= 1 else every
    most = np.inf if mean_life is None else STOP_SHARE * mean_life
    found = Stops(first=float(min(first, every, most)), every=float(min(every, most)))
    if not isinstance(plan, Plan) or every > most:
        return found
    late = np.sort(np.maximum(view.dressed_intervals(spindle).lengths - every, 0.0))
    kept = late[: len(late) - ceil(MISSED * len(late))]
    return replace(found, late=tuple(kept.tolist()) or (0.0,))


@dataclass(frozen=True, kw_only=True)
class Changing:
    """What changing sets of a kind costs; without prices a planned change counts as 1."""

    costs: ChangeCosts
    cost_per_bore: float
    """Of changes alone, in the long run: what a bore of running on is worth."""
    mean_life: float
    prices: StonePrices | None


def changing_of(
    prices: StonePrices | None, new: Life, *, step: float, chips_per_bore: float = 0.0
) -> Changing:
    """Return what changing costs where sets are changed well.

    The part of chips in the cost of a bore is left out: a new set chips as soon as an old one, so that
    running on neither saves nor adds it.
    """
    if prices is None or prices.planned_change <= 0:
        prices = None
        costs, known = ChangeCosts(planned=1.0, failed=FAILED), StonePrices(set_price=1.0)
        lost = RUN_OUT * costs.extra
    else:
        known, lost = prices, 0.0
        costs = ChangeCosts(planned=prices.planned_change, failed=prices.failed_change)
    margin = margin_bores(new.mean, step=min(step, STOP_SHARE * new.mean))
    bores = mean_bores(new, margin=margin, chips_per_bore=chips_per_bore)
    a_bore = cost_per_bore(known, bores_per_set=bores, failed=RUN_OUT).total + lost / bores
    return Changing(costs=costs, cost_per_bore=a_bore, mean_life=new.mean, prices=prices)


def weigh(life: Life, changing: Changing, stops: Stops) -> LookAhead:
    """Weigh running a fitted set on to its next stop against changing it now."""
    return look_ahead(
        life, changing.costs, cost_per_bore=changing.cost_per_bore, step=stops.first, late=stops.late
    )


def change_margin(life: Life, changing: Changing, stops: Stops) -> float:
    """Return how many bores before the middle of its end a fitted set is expected to be changed.

    What is learned until then makes a change far ahead come later than the look ahead from here has it;
    one that is due now, or at the next stop, is as it says.
    """
    most = margin_bores(changing.mean_life, step=stops.every)
    at = change_in(
        life,
        changing.costs,
        cost_per_bore=changing.cost_per_bore,
        step=stops.every,
        first=stops.first,
        late=stops.late,
    )
    early = max(life.p50 - at, 0.0)
    return early if at <= stops.first else min(most, early)
