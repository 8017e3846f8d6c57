"""What a plan of stones starts from: what is fitted, what it has left, what a new set lasts and costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.local import significant
from cellmon.monitor.stones.honed import weights
from cellmon.monitor.stones.worth import chips_of
from cellmon.monitor.view import View
from cellmon.sheet import StoneKind
from cellmon.shifts import ShiftCalendar
from cellmon.stones.life import Life
from cellmon.stones.output import Output, output
from cellmon.words import say, to_say

MOST_DAYS = 366
"""How far a plan looks ahead."""
MOST_SETS = 1500
"""Sets of one place in the time looked at."""
NOT_MORE = {
    "horizon_days": to_say("horizon days must be more than 0, not {value}"),
    "rate": to_say("rate must be more than 0, not {value}"),
    "life": to_say("life must be more than 0, not {value}"),
    "lead_time_days": to_say("lead time days must be more than 0, not {value}"),
}
BELOW = {
    "price": to_say("price cannot be below 0: {value}"),
    "stock": to_say("stock cannot be below 0: {value}"),
}
NO_PLAN = to_say(
    "the sheet plans no bores: [planning] needs bores_per_shift, such as {{ {spindle} = 600 }}; "
    "or give a rate"
)


@dataclass(frozen=True, kw_only=True)
class SpindleRate:
    """Bores per shift of one spindle."""

    spindle: str
    bores: float


@dataclass(frozen=True, kw_only=True)
class PlanRequest:
    """What a plan is asked for; None: as the sheet and the facts say."""

    horizon_days: float | None = None
    rate: float | None = None
    """Bores per shift of every spindle."""
    rates: tuple[SpindleRate, ...] = ()
    """Of single spindles; they come before `rate`."""
    life: float | None = None
    """Bores that half of the new sets outlive."""
    price: float | None = None
    """Of a set."""
    stock: float | None = None
    """Sets on the shelf now."""
    lead_time_days: float | None = None
    """From order to shelf; its spread grows and shrinks with it."""
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
        for one in self.rates:
            if not (np.isfinite(one.bores) and one.bores >= 0):
                rate = {"spindle": one.spindle, "value": f"{one.bores:g}"}
                raise WrongUsage(say("the rate of {spindle} cannot be below 0: {value}", **rate))
        for name, words in NOT_MORE.items():
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value > 0):
                raise WrongUsage(say(words, value=f"{value:g}"))
        if self.horizon_days is not None and self.horizon_days > MOST_DAYS:
            days = {"most": MOST_DAYS, "days": significant(self.horizon_days)}
            raise WrongUsage(say("a plan looks at most {most} days ahead, not {days}", **days))
        for name, words in BELOW.items():
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value >= 0):
                raise WrongUsage(say(words, value=f"{value:g}"))
        if self.service_level is not None and not 0.5 <= self.service_level <= 0.9999:
            wrong = f"{self.service_level:g}"
            raise WrongUsage(
                say("the service level is a chance from 0.5 to 0.9999, not {value}", value=wrong)
            )


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
        return chips_of(self.kind, self.new, chipped=self.chipped, bores=self.bores_seen)

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


def clocks_of(
    view: View, *, until: np.datetime64, rate: float | None, rates: Sequence[SpindleRate] = ()
) -> dict[str, Output]:
    """Return the planned bores of every spindle that has a plan, as a clock from now.

    They count as lives do: by the area of the part the spindle runs, against the sheet's first part.

    Raises
    ------
    WrongUsage
        Where nothing is planned, no shift is worked until then, or there is no such spindle.
    """
    planning = view.sheet.planning
    named = dict(planning.bores_per_shift) if planning is not None else {}
    spindles = [s.id for s in view.sheet.spindles]
    planned = dict.fromkeys(spindles or named, rate) if rate is not None else named
    strange = [one.spindle for one in rates if one.spindle not in (*spindles, *named)]
    if strange:
        raise WrongUsage(
            say(
                "the sheet has no spindle {spindle}; there are {known}",
                spindle=strange[0],
                known=", ".join(spindles),
            )
        )
    planned |= {one.spindle: one.bores for one in rates}
    planned = {spindle: bores for spindle, bores in planned.items() if bores}  # at 0 it stands still
    if not planned:
        raise WrongUsage(say(NO_PLAN, spindle=spindles[0] if spindles else "S1"))
    ahead = ShiftCalendar.of_sheet(view.sheet).spans(view.as_of, until)
    closed = set(planning.closed) if planning is not None else set()
    worked = [s.worked and s.date not in closed for s in ahead.shifts]
    if not any(worked):
        day = f"{view.local(until):%Y-%m-%d}"
        raise WrongUsage(
            say("no shift is worked until {day}: [[shifts]] and planning.closed leave none", day=day)
        )
    weight = weights(view.sheet)
    return {
        spindle: output(
            ahead.starts,
            ahead.ends,
            worked,
            bores_per_shift=float(bores or 0.0) * weight.get(view.running(spindle).number, 1.0),
            now=view.as_of,
        )
        for spindle, bores in planned.items()
    }


def kind_named(view: View, name: str | None) -> StoneKind | None:
    """Return a kind of the sheet by its name; None for all."""
    if name is None:
        return None
    found: Mapping[str, StoneKind] = {k.id: k for k in view.sheet.stone_kinds}
    if name not in found:
        known = ", ".join(found) or say("none")
        raise WrongUsage(
            say("the sheet has no stones called {name}; there are {known}", name=name, known=known)
        )
    return found[name]
