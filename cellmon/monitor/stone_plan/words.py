"""The sentences of a stone plan: what to order first, then the next change, then what runs out."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from cellmon.local import number, significant, spoken_day
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor.stone_plan.results import OrderLine, PlannedChange, StonePlan

NEAR = 0.1
"""A chance that falls short by more asks for a quicker delivery."""


def plan_sentence(plan: StonePlan) -> str:
    """Return the sentence that answers first, and the two that say why."""
    said = [order_words(plan), change_words(plan), shortage_words(plan)]
    return " ".join(words for words in said if words)


def order_words(plan: StonePlan) -> str:
    """Return whether to order, what and by when: the sentence that answers first."""
    if plan.order_list:
        return _first_order(plan, plan.order_list[0])
    if "order_by" in plan.why_not and any(p.stock is None or plan.lead_time_days is None for p in plan.kinds):
        return say("When to order is not known: {why}.", why=plan.why_not["order_by"])
    return say("Nothing to order within {days} days.", days=significant(plan.horizon_days))


def _first_order(plan: StonePlan, line: OrderLine) -> str:
    what = f"{line.sets} {line.kind}"
    if not line.late:
        for other in plan.order_list[1:]:
            what = say(
                "{what}, and {sets} {kind} by {day}",
                what=what,
                sets=other.sets,
                kind=other.kind,
                day=day(other.order_by),
            )
        first = day(line.order_by, plan.as_of)
        return say("Nothing to order until {day}; then {what}.", day=first, what=what)
    one = next(p for p in plan.kinds if p.kind == line.kind)
    chance, days = one.chance_if_ordered_now, plan.lead_time_days
    if chance is None or days is None:
        return say("Order {what} now.", what=what)
    figures = {"days": significant(days), "chance": percent(chance), "wanted": percent(plan.service_level)}
    if chance < plan.service_level - NEAR:
        return say(
            "Order {what} now, and ask for them sooner than usual: with the usual {days} days the chance "
            "that they come before a shortage is {chance}, and {wanted} is wanted.",
            what=what,
            **figures,
        )
    return say(
        "Order {what} now: with the usual {days} days the chance that they come before a shortage is "
        "{chance}, and {wanted} is wanted.",
        what=what,
        **figures,
    )


def change_words(plan: StonePlan) -> str:
    """Return when stones are changed next."""
    if not plan.changes:
        return say("No change of stones is likely before then.")
    first = plan.changes[0]
    beside = [c.spindle for c in plan.changes[1:] if c.at == first.at and c.with_spindle == first.spindle]
    known = {"change": _named(first), "when": _when(first, plan.as_of)}
    if not beside:
        return say("The next change is {change} {when}.", **known)
    spindles = say(" and ").join(beside)
    return say("The next change is {change} {when}, and {beside} in the same stop.", **known, beside=spindles)


def _named(change: PlannedChange) -> str:
    if change.stone_set is None:
        return change.spindle
    return say("{stone_set} on {spindle}", stone_set=change.stone_set, spindle=change.spindle)


def _when(change: PlannedChange, now: datetime) -> str:
    if change.at <= now:
        return say("at the next stop")
    between = _between(change.earliest, change.at, change.latest, now)
    return say("on {day}{between}", day=day(change.at, now), between=between)


def _between(early: datetime | None, at: datetime, late: datetime | None, now: datetime) -> str:
    """Return a range in brackets; nothing where it is a single day."""
    if early is None or (late is not None and early.date() == at.date() == late.date()):
        return ""
    last = say("later than looked at") if late is None else day(late, now)
    return say(" (between {early} and {late})", early=day(early, now), late=last)


def shortage_words(plan: StonePlan) -> str:
    """Return when the stock runs out; nothing where that is not expected."""
    found = [(p.first_shortage_at.p50, p) for p in plan.kinds if p.first_shortage_at]
    known = [(at, p) for at, p in found if at is not None]
    if not known:
        return ""
    at, one = min(known, key=lambda pair: pair[0])
    dates = one.first_shortage_at
    assert dates is not None
    between = _between(dates.p05, at, dates.p95, plan.as_of)
    return say(
        "With what is there and on order, {kind} runs out about {day}{between}.",
        kind=one.kind,
        day=day(at, plan.as_of),
        between=between,
    )


def day(at: datetime, now: datetime | None = None) -> str:
    """Return a date as people say it, the year where it is another.

    >>> day(datetime(2026, 11, 5, 14, 0))
    'Thursday 5 Nov'
    """
    said = spoken_day(at)
    if now is None or at.year == now.year:
        return said
    return say("{day} {year}", day=said, year=at.year)


def percent(share: float) -> str:
    """Return a chance in percent, never 100 or 0 unless it is.

    >>> percent(0.98), percent(0.995), percent(0.0238), percent(0.99995), percent(0.0004)
    ('98 %', '99.5 %', '2.4 %', 'over 99.9 %', 'under 0.1 %')
    """
    if 0.999 < share < 1:
        return say("over {share} %", share=number(99.9, 1))
    if 0 < share < 0.001:
        return say("under {share} %", share=number(0.1, 1))
    whole = 0.1 <= share <= 0.99 or share in (0, 1)
    return f"{number(100 * share, 0 if whole else 1)} %"
