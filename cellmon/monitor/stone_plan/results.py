"""What a plan of stones holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from cellmon.monitor.answers import Answer
from cellmon.monitor.stone_plan.ahead import PlanRequest
from cellmon.monitor.stones.dressing import DressingAdvice


@dataclass(frozen=True, kw_only=True)
class Dates:
    """A date with its range; 1 of 20 lies before `p05` and 1 of 20 after `p95`; None: beyond the horizon."""

    p05: datetime | None
    p50: datetime | None
    p95: datetime | None


@dataclass(frozen=True, kw_only=True)
class PlannedChange:
    """One change to come; `stone_set` is the set that comes off, None where it is not fitted yet.

    `number` counts the changes of its place from 1, `after_set` is what is fitted there now.
    """

    spindle: str
    stage: str
    kind: str
    number: int
    after_set: str | None
    stone_set: str | None
    at: datetime
    earliest: datetime
    latest: datetime | None
    bores: float
    """Of the spindle, from now."""
    with_spindle: str | None
    """Whose stop serves this change too."""
    early_bores: float
    """Bores it comes earlier for that."""


@dataclass(frozen=True, kw_only=True)
class Needed:
    """Sets used up by the end of the horizon."""

    p05: int
    p50: int
    p95: int
    at_service_level: int
    """So many suffice with the chance wanted."""


@dataclass(frozen=True, kw_only=True)
class StockLot:
    """Sets on the shelf that came together."""

    lot: str | None
    sets: float
    use_by: datetime | None


@dataclass(frozen=True, kw_only=True)
class StockOrder:
    """Sets on order."""

    order: str | None
    sets: float
    due: datetime
    overdue: bool


@dataclass(frozen=True, kw_only=True)
class Stock:
    """The stock of one kind."""

    usable: float
    ordered: float
    past_use: float
    lots: tuple[StockLot, ...]
    orders: tuple[StockOrder, ...]


@dataclass(frozen=True, kw_only=True)
class CostSplit:
    """Cost of a bore, in the sheet's currency."""

    stones: float
    downtime: float
    scrap: float
    total: float


@dataclass(frozen=True, kw_only=True)
class ChangeChoices:
    """What changes alone cost a bore in the long run, by how it is decided when; chips left out."""

    looked_ahead: float
    """Looked at every stop, as advised."""
    age_bores: float
    """The fixed age that costs least, where nothing but the age is known."""
    at_that_age: float
    ended_first: float
    """Share of sets that run to their end before it."""
    run_to_the_end: float


@dataclass(frozen=True, kw_only=True)
class KindPlan:
    """The plan of one kind of sets."""

    kind: str
    life_bores: Mapping[str, float]
    """Of a new set: p05, p50, p95."""
    changed_at_bores: float
    """Bores a set hones on average until it is changed or chips."""
    chips_per_1000_bores: float
    change_minutes: float | None
    stock: Stock | None
    sets_needed: Needed
    first_shortage_at: Dates | None
    """If nothing more is ordered; None: not inside the horizon, or no stock is known (`why_not`)."""
    shortage_chance: float | None
    """Of a shortage inside the horizon, if nothing more is ordered."""
    order_by: datetime | None
    order_sets: int | None
    """What to order then, to last for one more lead time."""
    chance_if_ordered_now: float | None
    """Of no shortage before the sets come."""
    cost: CostSplit | None
    notes: tuple[str, ...]
    why_not: Mapping[str, str]
    choices: ChangeChoices | None = None
    """None where no price is known."""


@dataclass(frozen=True, kw_only=True)
class OrderLine:
    """One line of the order list."""

    kind: str
    sets: int
    order_by: datetime
    late: bool
    """Whether that moment has passed."""
    cost: float | None


@dataclass(frozen=True, kw_only=True)
class StonePlan(Answer):
    """Changes, order dates and costs over a horizon; its first sentence says whether to order."""

    sentence: str
    caution: str
    horizon_days: float
    until: datetime
    service_level: float
    lead_time_days: float | None
    lead_time_sd_days: float | None
    changes: tuple[PlannedChange, ...]
    order_by: datetime | None
    first_shortage_at: datetime | None
    sets_needed: int | None
    """Over all kinds, by the middle of what may come."""
    cost: CostSplit | None
    """Of a bore that passes every stage planned."""
    order_list: tuple[OrderLine, ...]
    kinds: tuple[KindPlan, ...]
    dressing: tuple[DressingAdvice, ...]
    asked: PlanRequest
    notes: tuple[str, ...] = ()
