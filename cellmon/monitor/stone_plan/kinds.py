"""The plan of one kind of sets: how many, when the stock runs out, by when to order, what a bore costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cellmon.local import number, significant
from cellmon.monitor.stone_plan.ahead import KindAhead
from cellmon.monitor.stone_plan.results import (
    ChangeChoices,
    CostSplit,
    Dates,
    KindPlan,
    Needed,
    Stock,
    StockLot,
    StockOrder,
)
from cellmon.monitor.stone_plan.stock import fittings_words, movements_of, shelf_of
from cellmon.monitor.stone_plan.terms import Places, Terms
from cellmon.monitor.stones.worth import RUN_OUT, STOP_SHARE, changing_of, stop_bores, usual_stop
from cellmon.stones.cost import BoreCost, StonePrices, cost_per_bore
from cellmon.stones.ordering import (
    DAY_US,
    LeadTime,
    OrderBy,
    demand_times,
    expected,
    order_arrivals,
    order_by,
    order_quantity,
    shortages,
)
from cellmon.stones.planning import mean_bores
from cellmon.stones.replacement import age_policy
from cellmon.stones.stock import Lot, Shelf
from cellmon.words import say, to_say

NO_STOCK = to_say("no stock is known: [planning] opening_stock, or a movement with what was counted")
NO_LEAD = to_say("no lead time is known: [planning] lead_time_days")
NO_PRICE = to_say("no price of a set is known: the kind's set_cost")

Floats = NDArray[np.float64]


def kind_plan(terms: Terms, one: Places) -> KindPlan:
    kind, ahead = one.ahead.kind, one.ahead
    needed = demand_times(one.ways, one.clocks, now=terms.now) if one.ways else np.full((1, 1), np.inf)
    bores = mean_bores(ahead.new, margin=one.margin, chips_per_bore=ahead.chips_per_bore)
    why_not: dict[str, str] = {}
    held = _held(terms, one)
    if one.prices is None:
        why_not["cost"] = say(NO_PRICE)
    found = KindPlan(
        kind=kind.id,
        life_bores={"p05": ahead.new.p05, "p50": ahead.new.p50, "p95": ahead.new.p95},
        changed_at_bores=bores,
        chips_per_1000_bores=1000 * ahead.chips_per_bore,
        change_minutes=kind.change_minutes,
        stock=None if held is None else _stock(terms, held),
        sets_needed=_needed(terms, needed),
        first_shortage_at=None,
        shortage_chance=None,
        order_by=None,
        order_sets=None,
        chance_if_ordered_now=None,
        cost=None if one.prices is None else _cost(terms, one, one.prices, bores),
        choices=None if one.prices is None else _choices(terms, one, one.prices),
        notes=_kind_notes(terms, ahead, held),
        why_not=why_not,
    )
    if held is None:
        names = ("stock", "first_shortage_at", "order_by")
        return replace(found, why_not={**why_not, **dict.fromkeys(names, say(NO_STOCK))})
    return _with_order(terms, found, held, needed, ahead)


def _held(terms: Terms, one: Places) -> Shelf | None:
    """Return the stock: as counted, or as asked, with the orders that are open."""
    held, asked = shelf_of(terms.view, one.ahead.kind), terms.asked.stock
    if asked is None:
        return held
    lots = (Lot(name=None, sets=asked),)
    return Shelf(lots=lots, past_use=(), orders=() if held is None else held.orders)


def _with_order(terms: Terms, plan: KindPlan, held: Shelf, needed: Floats, ahead: KindAhead) -> KindPlan:
    """Return the plan with the first shortage and the order that prevents it."""
    lead = terms.lead or LeadTime(days=0.0)
    arrivals = order_arrivals(held.orders, now=terms.now, lead=lead, ways=len(needed), random=terms.random)
    short = shortages(needed, held, now=terms.now, arrivals=arrivals)
    inside = short <= terms.horizon_days * DAY_US
    plan = replace(
        plan,
        first_shortage_at=_dates(terms, short) if inside.mean() >= 0.05 else None,
        shortage_chance=float(inside.mean()),
    )
    if inside.mean() < 0.05:
        words = say("not inside the horizon in 19 of 20 cases")
        plan = replace(plan, why_not={**plan.why_not, "first_shortage_at": words})
    if terms.lead is None:
        return replace(plan, why_not={**plan.why_not, "order_by": say(NO_LEAD)})
    when = order_by(short, terms.lead, service_level=terms.service, horizon_days=terms.horizon_days)
    if when.in_days is None:
        words = say("nothing to order within {days} days", days=significant(terms.horizon_days))
        return replace(
            plan, chance_if_ordered_now=when.chance_now, why_not={**plan.why_not, "order_by": words}
        )
    return replace(
        plan,
        order_by=terms.moment(when.in_days),
        order_sets=_quantity(terms, held, needed, when, ahead),
        chance_if_ordered_now=when.chance_now,
    )


def _quantity(terms: Terms, held: Shelf, needed: Floats, when: OrderBy, ahead: KindAhead) -> int:
    """Return how many to order: to last from their coming for one more lead time, at the chance wanted."""
    assert terms.lead is not None and when.in_days is not None
    lead = terms.lead
    until = max(when.in_days, 0.0) + 2 * lead.days
    least = ahead.kind.order_multiple
    there = held.usable + held.ordered
    found = order_quantity(needed, there=there, until_days=until, service_level=terms.service, least=least)
    return max(found, least)


def _dates(terms: Terms, short: Floats) -> Dates:
    days = np.quantile(short / DAY_US, [0.05, 0.5, 0.95], method="higher")
    at = [terms.moment(float(d)) if d <= terms.horizon_days else None for d in days]
    return Dates(p05=at[0], p50=at[1], p95=at[2])


def _needed(terms: Terms, needed: Floats) -> Needed:
    used = (needed <= terms.horizon_days * DAY_US).sum(axis=1)
    shares = [0.05, 0.5, 0.95, terms.service]
    low, middle, high, enough = (int(q) for q in np.quantile(used, shares, method="inverted_cdf"))
    return Needed(p05=low, p50=middle, p95=high, at_service_level=enough)


def _stock(terms: Terms, held: Shelf) -> Stock:
    local, lead = terms.view.local, terms.lead or LeadTime(days=0.0)
    return Stock(
        usable=held.usable,
        ordered=held.ordered,
        past_use=sum(lot.sets for lot in held.past_use),
        lots=tuple(
            StockLot(lot=lot.name, sets=lot.sets, use_by=None if np.isnat(lot.use_by) else local(lot.use_by))
            for lot in held.lots
        ),
        orders=tuple(
            StockOrder(
                order=o.order,
                sets=o.sets,
                due=local(expected(o, lead)),
                overdue=bool(expected(o, lead) < terms.now),
            )
            for o in held.orders
        ),
    )


def _kind_notes(terms: Terms, ahead: KindAhead, held: Shelf | None) -> tuple[str, ...]:
    kind, said = ahead.kind, list(held.notes) if held is not None else []
    if held is not None and held.past_use:
        gone = sum(lot.sets for lot in held.past_use)
        said.append(say("{sets} on the shelf past their shelf life, not counted", sets=significant(gone)))
    odd = fittings_words(movements_of(terms.view, kind.id), ahead.fitted)
    if odd is not None and terms.asked.stock is None:
        said.append(odd)
    if ahead.taught_by == 0:
        said.append(
            say("no set has told how long one lasts: the sheet's guess is taken (expected_life_bores)")
        )
    if kind.chips_per_1000_bores is None:
        said.append(
            say(
                "{chipped} chipped in {bores} bores logged: about 1 set in {sets} is planned to chip",
                chipped=ahead.chipped,
                bores=number(ahead.bores_seen),
                sets=f"{1 / max(ahead.chips_per_bore * ahead.new.mean, 1e-9):.0f}",
            )
        )
    return tuple(f"{kind.id}: {words}" for words in said)


def _cost(terms: Terms, one: Places, prices: StonePrices, bores: float) -> CostSplit:
    step = [stop_bores(terms.view, s.spindle) for s in one.sets.values()]
    every = float(np.mean(step)) if step and one.ahead.kind.dress_minutes else None
    failed = min(one.ahead.chips_per_bore * bores + RUN_OUT, 1.0)
    return _split(cost_per_bore(prices, bores_per_set=bores, bores_per_dressing=every, failed=failed))


def _choices(terms: Terms, one: Places, prices: StonePrices) -> ChangeChoices | None:
    """Return what changing as advised, at a fixed age and at the end of each set costs."""
    new, spindles = one.ahead.new, [s.spindle for s in one.sets.values()]
    step = usual_stop(terms.view, spindles, mean_life=new.mean) or STOP_SHARE * new.mean
    changing = changing_of(prices, new, step=step)
    if changing.prices is None:
        return None
    fixed = age_policy(new, changing.costs)
    return ChangeChoices(
        looked_ahead=changing.cost_per_bore,
        age_bores=fixed.age,
        at_that_age=fixed.cost_per_bore,
        ended_first=fixed.failed,
        run_to_the_end=changing.costs.failed / new.mean,
    )


def _split(cost: BoreCost) -> CostSplit:
    return CostSplit(stones=cost.stones, downtime=cost.downtime, scrap=cost.scrap, total=cost.total)
