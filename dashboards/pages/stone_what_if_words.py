"""The answers of a plan of stones beside those of today's, as a table."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dash import html

from cellmon import local
from cellmon.monitor.stone_plan import KindPlan, StonePlan
from cellmon.monitor.stone_plan.words import day, percent
from cellmon.words import say, say_many

UNKNOWN = "–"


def answers_table(today: StonePlan | None, asked: StonePlan | None) -> html.Table:
    """Return what the plan answers today and, where something is asked, then; what moved is marked."""
    now, then = answers_of(today), answers_of(asked)
    days = (asked or today).horizon_days if (asked or today) is not None else None
    head = html.Tr([html.Th(""), html.Th(say("today")), *([html.Th(say("what if"))] if asked else [])])
    rows = []
    for name in labels(days):
        cells: list[Any] = [html.Th(labels(days)[name], scope="row"), html.Td(now.get(name, UNKNOWN))]
        if asked is not None:
            moved = then[name] != now.get(name)
            cells.append(html.Td(then[name], className="moved" if moved else ""))
        rows.append(html.Tr(cells))
    return html.Table([html.Thead(head), html.Tbody(rows)], className="words answers")


def labels(days: float | None) -> dict[str, str]:
    """Return what each answer is called, in their order."""
    until = (
        say("Sets needed")
        if days is None
        else say("Sets needed in {days} days", days=local.significant(days))
    )
    return {
        "shortage": say("First shortage, if nothing is ordered"),
        "order_by": say("Order by"),
        "order": say("Order then"),
        "chance": say("Ordered now, no shortage before they come"),
        "needed": until,
        "cost": say("A bore costs in stones, in the sheet's currency"),
        "stones": say("of it sets"),
        "downtime": say("of it downtime"),
        "scrap": say("of it scrap"),
    }


def answers_of(plan: StonePlan | None) -> dict[str, str]:
    """Return the answers of a plan in words, by name; empty without one."""
    if plan is None:
        return {}
    kind = plan.kinds[0]
    return {
        "shortage": _shortage(plan, kind),
        "order_by": _order_by(plan),
        "order": _order(plan),
        "chance": _chance(kind),
        "needed": _needed(plan),
        **_cost(plan),
    }


def _shortage(plan: StonePlan, kind: KindPlan) -> str:
    dates = kind.first_shortage_at
    if dates is None:
        return (
            UNKNOWN
            if kind.stock is None
            else say("not likely within {days} days", days=local.significant(plan.horizon_days))
        )
    early, middle = _day(dates.p05, plan), _day(dates.p50, plan)
    if dates.p50 is None:
        return say("perhaps from {early}", early=early)
    late = say("later") if dates.p95 is None else _day(dates.p95, plan)
    if early == middle == late:
        return middle
    return say("{middle} ({early} to {late})", middle=middle, early=early, late=late)


def _day(at: datetime | None, plan: StonePlan) -> str:
    return say("later") if at is None else day(at, plan.as_of)


def _order_by(plan: StonePlan) -> str:
    if not plan.order_list:
        return (
            say("not known")
            if _blind(plan)
            else say("nothing within {days} days", days=local.significant(plan.horizon_days))
        )
    first = plan.order_list[0]
    when = day(first.order_by, plan.as_of)
    return say("now; {when} was the last day", when=when) if first.late else when


def _blind(plan: StonePlan) -> bool:
    return plan.lead_time_days is None or any(one.stock is None for one in plan.kinds)


def _order(plan: StonePlan) -> str:
    said = [
        say_many("{count} set of {kind}", "{count} sets of {kind}", line.sets, kind=line.kind)
        for line in plan.order_list
    ]
    return ", ".join(said) or UNKNOWN


def _chance(kind: KindPlan) -> str:
    return UNKNOWN if kind.chance_if_ordered_now is None else percent(kind.chance_if_ordered_now)


def _needed(plan: StonePlan) -> str:
    if len(plan.kinds) > 1:
        return str(plan.sets_needed)
    needed = plan.kinds[0].sets_needed
    return say("{middle} ({low} to {high})", middle=needed.p50, low=needed.p05, high=needed.p95)


def _cost(plan: StonePlan) -> dict[str, str]:
    names = ("stones", "downtime", "scrap")
    if plan.cost is None:
        return dict.fromkeys(("cost", *names), UNKNOWN)
    split = {name: f"{getattr(plan.cost, name):.4f}" for name in names}
    return {"cost": f"{plan.cost.total:.4f}", **split}
