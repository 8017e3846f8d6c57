"""The sentences of a stone plan: what to order first, then the next change, then what runs out."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cellmon.monitor.stone_plan.results import OrderLine, PlannedChange, StonePlan

NEAR = 0.1
"""A chance that falls short by more asks for a quicker delivery."""


def plan_sentence(plan: StonePlan) -> str:
    """Return the sentence that answers first, and the two that say why."""
    said = [_order_words(plan), _change_words(plan), _shortage_words(plan)]
    return " ".join(words for words in said if words)


def _order_words(plan: StonePlan) -> str:
    if plan.order_list:
        return _first_order(plan, plan.order_list[0])
    if "order_by" in plan.why_not and any(p.stock is None or plan.lead_time_days is None for p in plan.kinds):
        return f"When to order is not known: {plan.why_not['order_by']}."
    return f"Nothing to order within {plan.horizon_days:g} days."


def _first_order(plan: StonePlan, line: OrderLine) -> str:
    what = f"{line.sets} {line.kind}"
    if not line.late:
        others = "".join(f", and {o.sets} {o.kind} by {day(o.order_by)}" for o in plan.order_list[1:])
        return f"Nothing to order until {day(line.order_by, plan.as_of)}; then {what}{others}."
    one = next(p for p in plan.kinds if p.kind == line.kind)
    chance, days = one.chance_if_ordered_now, plan.lead_time_days
    if chance is None or days is None:
        return f"Order {what} now."
    sooner = ", and ask for them sooner than usual" if chance < plan.service_level - NEAR else ""
    return (
        f"Order {what} now{sooner}: with the usual {days:g} days the chance that they come before a shortage "
        f"is {percent(chance)}, and {percent(plan.service_level)} is wanted."
    )


def _change_words(plan: StonePlan) -> str:
    if not plan.changes:
        return "No change of stones is likely before then."
    first = plan.changes[0]
    beside = [c.spindle for c in plan.changes[1:] if c.at == first.at and c.with_spindle == first.spindle]
    both = f", and {' and '.join(beside)} in the same stop" if beside else ""
    return f"The next change is {_named(first)} {_when(first, plan.as_of)}{both}."


def _named(change: PlannedChange) -> str:
    return f"{change.spindle}" if change.stone_set is None else f"{change.stone_set} on {change.spindle}"


def _when(change: PlannedChange, now: datetime) -> str:
    if change.at <= now:
        return "at the next stop"
    return f"on {day(change.at, now)}{_between(change.earliest, change.at, change.latest, now)}"


def _between(early: datetime | None, at: datetime, late: datetime | None, now: datetime) -> str:
    """Return a range in brackets; nothing where it is a single day."""
    if early is None or (late is not None and early.date() == at.date() == late.date()):
        return ""
    last = "later than looked at" if late is None else day(late, now)
    return f" (between {day(early, now)} and {last})"


def _shortage_words(plan: StonePlan) -> str:
    found = [(p.first_shortage_at.p50, p) for p in plan.kinds if p.first_shortage_at]
    known = [(at, p) for at, p in found if at is not None]
    if not known:
        return ""
    at, one = min(known, key=lambda pair: pair[0])
    dates = one.first_shortage_at
    assert dates is not None
    between = _between(dates.p05, at, dates.p95, plan.as_of)
    return f"With what is there and on order, {one.kind} runs out about {day(at, plan.as_of)}{between}."


def day(at: datetime, now: datetime | None = None) -> str:
    """Return a date as people say it, the year where it is another.

    >>> day(datetime(2026, 11, 5, 14, 0))
    'Thursday 5 Nov'
    """
    year = f" {at.year}" if now is not None and at.year != now.year else ""
    return f"{at:%A} {at.day} {at:%b}{year}"


def percent(share: float) -> str:
    """Return a chance in percent, never 100 or 0 unless it is.

    >>> percent(0.98), percent(0.995), percent(0.0238), percent(0.99995), percent(0.0004)
    ('98 %', '99.5 %', '2.4 %', 'over 99.9 %', 'under 0.1 %')
    """
    if 0.999 < share < 1:
        return "over 99.9 %"
    if 0 < share < 0.001:
        return "under 0.1 %"
    whole = 0.1 <= share <= 0.99 or share in (0, 1)
    return f"{100 * share:.{0 if whole else 1}f} %"
