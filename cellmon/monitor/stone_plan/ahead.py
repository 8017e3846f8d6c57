"""What a plan of stones starts from: what is fitted, what it has left, what a new set lasts and costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.monitor.dressings import Plan
from cellmon.monitor.stones.honed import weights
from cellmon.monitor.view import View
from cellmon.sheet import Planning, StoneKind
from cellmon.shifts import ShiftCalendar, to_utc
from cellmon.stones.cost import StonePrices
from cellmon.stones.life import Life
from cellmon.stones.output import Output, output

FAILED_SCRAP = 10.0
"""Bores lost where a set runs to its end before that is seen; no source: the sheet's `failed_scrap_bores`."""
FAILED_TIMES = 2.0
"""An unplanned change takes so many times as long; no source: the sheet's `failed_minutes`."""
MOST_DAYS = 366
"""How far a plan looks ahead."""
MOST_SETS = 1500
"""Sets of one place in the time looked at."""
CHIPS_SEEN, CHIPS_IN_LIVES = 0.5, 10.0
"""Before the log says otherwise: half a set chipped in the lives of ten; no source."""
NO_PLAN = (
    "the sheet plans no bores: [planning] needs bores_per_shift, such as {{ {spindle} = 600 }}; "
    "or give a rate"
)


@dataclass(frozen=True, kw_only=True)
class PlanRequest:
    """What a plan is asked for; None: as the sheet and the facts say."""

    horizon_days: float | None = None
    rate: float | None = None
    """Bores per shift of every spindle."""
    life: float | None = None
    """Bores that half of the new sets outlive."""
    price: float | None = None
    """Of a set."""
    stock: float | None = None
    """Sets on the shelf now."""
    service_level: float | None = None
    """Chance of no shortage per order."""
    kind: str | None = None
    """The kind of sets that the plan is for; needed where a life, price or stock is given and several run."""

    @property
    def asks_of_a_kind(self) -> bool:
        """Whether something is asked that holds for one kind only."""
        return any(value is not None for value in (self.life, self.price, self.stock))

    def check(self) -> None:
        """Refuse what no cell could have."""
        for name in ("horizon_days", "rate", "life"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value > 0):
                raise WrongUsage(f"{name.replace('_', ' ')} must be more than 0, not {value:g}")
        if self.horizon_days is not None and self.horizon_days > MOST_DAYS:
            raise WrongUsage(f"a plan looks at most {MOST_DAYS} days ahead, not {self.horizon_days:g}")
        for name in ("price", "stock"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value >= 0):
                raise WrongUsage(f"{name} cannot be below 0: {value:g}")
        if self.service_level is not None and not 0.5 <= self.service_level <= 0.9999:
            raise WrongUsage(f"the service level is a chance from 0.5 to 0.9999, not {self.service_level:g}")


@dataclass(frozen=True, kw_only=True, eq=False)
class SetAhead:
    """One place for stones and what is fitted there; without a set, one is fitted at once."""

    spindle: str
    stage: str
    kind: str
    stone_set: str | None
    life: Life | None
    measured: bool = False
    """Whether its own wear is in that life, not only what its kind teaches."""


@dataclass(frozen=True, kw_only=True, eq=False)
class KindAhead:
    """One kind of sets: what a new one may last, and what that is known from."""

    kind: StoneKind
    new: Life
    taught_by: int
    """Sets that teach how long one lasts; 0: a person's guess."""
    chipped: int = 0
    bores_seen: float = 0.0
    """Honed by all sets of the kind, while so many chipped."""
    fitted: tuple[np.datetime64, ...] = ()
    """When each set was fitted first, new."""

    @property
    def chips_per_bore(self) -> float:
        """Chance that a bore chips a set: the sheet's, else what the log shows, started from a guess."""
        if self.kind.chips_per_1000_bores is not None:
            return self.kind.chips_per_1000_bores / 1000
        return (self.chipped + CHIPS_SEEN) / (self.bores_seen + CHIPS_IN_LIVES * self.new.mean)

    @property
    def alike_share(self) -> float:
        """Share of the variance of lives that sets to come have in common: their mean is not known better."""
        return 1 / (self.taught_by + 1)

    def lasting(self, bores: float | None) -> KindAhead:
        """Return the same with new sets of which half outlive so many bores."""
        if bores is None:
            return self
        new = replace(self.new, bores=self.new.bores * bores / self.new.p50)
        return replace(self, new=new)


def prices_of(kind: StoneKind, planning: Planning | None, *, price: float | None) -> StonePrices | None:
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


def clocks_of(view: View, *, until: np.datetime64, rate: float | None) -> dict[str, Output]:
    """Return the planned bores of every spindle that has a plan, as a clock from now.

    They count as lives do: by the area of the part the spindle runs, against the sheet's first part.

    Raises
    ------
    WrongUsage
        Where nothing is planned, or no shift is worked until then.
    """
    planning = view.sheet.planning
    named = dict(planning.bores_per_shift) if planning is not None else {}
    spindles = [s.id for s in view.sheet.spindles]
    rates = dict.fromkeys(spindles or named, rate) if rate is not None else named
    if not rates:
        raise WrongUsage(NO_PLAN.format(spindle=spindles[0] if spindles else "S1"))
    shifts = ShiftCalendar.of_sheet(view.sheet).between(view.as_of, until)
    closed = set(planning.closed) if planning is not None else set()
    worked = [s.worked and s.date not in closed for s in shifts]
    if not any(worked):
        day = view.local(until)
        raise WrongUsage(
            f"no shift is worked until {day:%Y-%m-%d}: [[shifts]] and planning.closed leave none"
        )
    starts = np.array([to_utc(s.starts) for s in shifts])
    ends = np.array([to_utc(s.ends) for s in shifts])
    weight = weights(view.sheet)
    return {
        spindle: output(
            starts,
            ends,
            worked,
            bores_per_shift=float(bores or 0.0) * weight.get(view.running(spindle).number, 1.0),
            now=view.as_of,
        )
        for spindle, bores in rates.items()
    }


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


def kind_named(view: View, name: str | None) -> StoneKind | None:
    """Return a kind of the sheet by its name; None for all."""
    if name is None:
        return None
    found: Mapping[str, StoneKind] = {k.id: k for k in view.sheet.stone_kinds}
    if name not in found:
        raise WrongUsage(f"the sheet has no stones called {name}; there are {', '.join(found) or 'none'}")
    return found[name]
