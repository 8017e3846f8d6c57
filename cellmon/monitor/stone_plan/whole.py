"""The plan of stones: dated changes, sets needed, by when to order how many, and what a bore costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.local import significant
from cellmon.monitor.stone_plan.ahead import KindAhead, PlanRequest, SetAhead, clocks_of, kind_named
from cellmon.monitor.stone_plan.changes import planned_changes
from cellmon.monitor.stone_plan.kinds import kind_plan
from cellmon.monitor.stone_plan.known import Dressed, Known, known_sets
from cellmon.monitor.stone_plan.results import CostSplit, KindPlan, OrderLine, PlannedChange, StonePlan
from cellmon.monitor.stone_plan.terms import Places, Terms, places
from cellmon.monitor.stone_plan.words import plan_sentence
from cellmon.monitor.stones import StonesAnswer, stones
from cellmon.monitor.stones.dressing import DressingAdvice
from cellmon.monitor.stones.now import StonesNow, stones_now
from cellmon.monitor.view import View
from cellmon.stones.ordering import DAY_US, LeadTime
from cellmon.words import say, to_say

SEED = 20
"""Always the same ways are drawn: the same facts give the same answer."""
LEAST_HORIZON, SPREADS = 28.0, 4.0
USUAL_SERVICE, USUAL_LEAD_SD = 0.95, 0.2
CAUTION = to_say(
    "A plan is a forecast. Stones are looked at before they are trusted, a chipped or cracked one is never "
    "run, and changing them follows the machine's manual and the site's procedures, with the spindle locked "
    "out."
)


def plan_of_view(
    view: View,
    request: PlanRequest | None = None,
    *,
    now: StonesNow | None = None,
    known: Known | None = None,
) -> StonePlan:
    """Answer with the plan of the stones as they stand; refusals as of `stone_plan`."""
    known = known or known_sets(stones_now(view) if now is None else now)
    view.take_dressings(known.plans, known.intervals)
    asked = request or PlanRequest()
    return stone_plan(view, asked, sets=known.sets, kinds=known.kinds, dressed=known.dressed)


def with_plan(view: View, *, now: StonesNow | None = None) -> StonesAnswer:
    """Answer with all stones and their plan; `why_not` says why there is none."""
    now = stones_now(view) if now is None else now
    answer = stones(view, now=now)
    try:
        plan = plan_of_view(view, now=now)
    except WrongUsage as refusal:
        return replace(answer, why_not={**answer.why_not, "plan": str(refusal)})
    return replace(answer, plan=plan)


def stone_plan(
    view: View,
    asked: PlanRequest,
    *,
    sets: Sequence[SetAhead],
    kinds: Mapping[str, KindAhead],
    dressed: dict[Dressed, DressingAdvice] | None = None,
) -> StonePlan:
    """Answer with the plan of the sets that run, or what it would be otherwise.

    Raises
    ------
    WrongUsage
        Without bores planned, a shift that is worked, a set that wears as something known, or with a
        request that no cell could have.
    """
    asked.check()
    kinds = {name: kinds[name] for name in sorted({s.kind for s in sets} & set(kinds))}
    only = kind_named(view, asked.kind)
    kinds = {name: kind for name, kind in kinds.items() if only is None or name == only.id}
    if not kinds:
        raise WrongUsage(say("nothing to plan: of no stones is it known how long a set lasts"))
    if asked.asks_of_a_kind and len(kinds) > 1:
        names = ", ".join(kinds)
        raise WrongUsage(say("a life, price or stock is of one kind: name it, one of {kinds}", kinds=names))
    terms, notes = _terms(view, asked, {} if dressed is None else dressed)
    placed = [places(terms, ahead.lasting(asked.life), sets) for ahead in kinds.values()]
    notes += _left_out(terms, sets, kinds)
    plans = [kind_plan(terms, one) for one in placed]
    changes = planned_changes(terms, placed)
    return _answer(terms, placed, plans, changes, tuple(notes))


def _terms(view: View, asked: PlanRequest, dressed: dict[Dressed, DressingAdvice]) -> tuple[Terms, list[str]]:
    planning, notes = view.sheet.planning, []
    days = None if planning is None else planning.lead_time_days
    lead = None
    if planning is not None and days is not None:
        sd = planning.lead_time_sd_days
        if sd is None:
            sd = USUAL_LEAD_SD * days
            notes.append(
                say(
                    "no lead_time_sd_days: the lead time is taken to spread by {days} days",
                    days=significant(sd, 2),
                )
            )
        lead = LeadTime(days=days, sd_days=sd)
    if asked.lead_time_days is not None:
        share = USUAL_LEAD_SD if lead is None or lead.days <= 0 else lead.sd_days / lead.days
        lead = LeadTime(days=asked.lead_time_days, sd_days=share * asked.lead_time_days)
    service = asked.service_level or (planning.service_level if planning is not None else None)
    if service is None:
        service = USUAL_SERVICE
        chance = significant(100 * service)
        notes.append(
            say("no service_level: a chance of {share} % of no shortage per order is taken", share=chance)
        )
    reach = 0.0 if lead is None else lead.days + SPREADS * lead.sd_days
    horizon = asked.horizon_days or max(LEAST_HORIZON, float(ceil(2 * reach)))
    until = view.as_of + np.timedelta64(round((horizon + reach) * DAY_US), "us")
    terms = Terms(
        view=view,
        asked=asked,
        horizon_days=horizon,
        lead=lead,
        service=service,
        clocks=clocks_of(view, until=until, rate=asked.rate, rates=asked.rates),
        random=np.random.default_rng(SEED),
        dressed=dressed,
    )
    return terms, notes


def _left_out(terms: Terms, sets: Sequence[SetAhead], kinds: Mapping[str, KindAhead]) -> list[str]:
    """Say which sets are not in the plan, and what is planned without one."""
    named = {s.spindle for s in sets}
    idle = sorted(s for s in named if s not in terms.clocks)
    empty = sorted(s for s in terms.clocks if s not in named)
    unknown = sorted({s.kind for s in sets} - set(kinds)) if terms.asked.kind is None else []
    said = []
    if idle:
        said.append(say("no bores are planned for {spindles}: not in the plan", spindles=", ".join(idle)))
    if empty:
        said.append(
            say("no set is logged as fitted to {spindles}: not in the plan", spindles=", ".join(empty))
        )
    if unknown:
        names = ", ".join(unknown)
        said.append(say("how long sets of {kinds} last is not known: not in the plan", kinds=names))
    said += [
        say("{spindle}: no set is logged as fitted; one is taken as fitted at once", spindle=s.spindle)
        for s in sets
        if s.stone_set is None and s.kind in kinds
    ]
    return said


def _answer(
    terms: Terms,
    placed: Sequence[Places],
    plans: Sequence[KindPlan],
    changes: tuple[PlannedChange, ...],
    notes: tuple[str, ...],
) -> StonePlan:
    view, asked = terms.view, terms.asked
    dressing = tuple(
        terms.dressing(s.spindle, one.ahead.kind, one.prices)
        for one in placed
        for s in one.sets.values()
        if one.prices is not None
    )
    orders = _order_list(terms, placed, plans)
    shortages_ = [p.first_shortage_at.p50 for p in plans if p.first_shortage_at and p.first_shortage_at.p50]
    costs = [p.cost for p in plans]
    plan = StonePlan(
        **view.head(),
        sentence="",
        caution=say(CAUTION),
        horizon_days=terms.horizon_days,
        until=terms.moment(terms.horizon_days),
        service_level=terms.service,
        lead_time_days=None if terms.lead is None else terms.lead.days,
        lead_time_sd_days=None if terms.lead is None else terms.lead.sd_days,
        changes=changes,
        order_by=min((o.order_by for o in orders), default=None),
        first_shortage_at=min(shortages_, default=None),
        sets_needed=sum(p.sets_needed.p50 for p in plans),
        cost=_sum_of([c for c in costs if c is not None]) if all(costs) else None,
        order_list=orders,
        kinds=tuple(plans),
        dressing=dressing,
        asked=asked,
        notes=(*notes, *(words for p in plans for words in p.notes)),
        why_not=_why_not(plans),
    )
    return replace(plan, sentence=plan_sentence(plan))


def _why_not(plans: Sequence[KindPlan]) -> dict[str, str]:
    """Return why a figure of the whole plan is missing: the first reason of a kind."""
    found: dict[str, str] = {}
    for plan in plans:
        for name in ("order_by", "first_shortage_at", "cost"):
            if name in plan.why_not:
                found.setdefault(name, plan.why_not[name])
    present = {"order_by": any(p.order_by for p in plans)}
    present["first_shortage_at"] = any(p.first_shortage_at and p.first_shortage_at.p50 for p in plans)
    return {name: words for name, words in found.items() if not present.get(name)}


def _order_list(terms: Terms, placed: Sequence[Places], plans: Sequence[KindPlan]) -> tuple[OrderLine, ...]:
    lines = []
    now = terms.view.local(terms.now)
    for one, plan in zip(placed, plans, strict=True):
        if plan.order_by is None or plan.order_sets is None:
            continue
        price = None if one.prices is None else one.prices.set_price
        lines.append(
            OrderLine(
                kind=plan.kind,
                sets=plan.order_sets,
                order_by=plan.order_by,
                late=plan.order_by <= now,
                cost=None if price is None else price * plan.order_sets,
            )
        )
    return tuple(sorted(lines, key=lambda line: line.order_by))


def _sum_of(costs: Sequence[CostSplit]) -> CostSplit:
    return CostSplit(
        stones=sum(c.stones for c in costs),
        downtime=sum(c.downtime for c in costs),
        scrap=sum(c.scrap for c in costs),
        total=sum(c.total for c in costs),
    )
