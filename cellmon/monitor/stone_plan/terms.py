"""What holds for a whole plan, and where the sets of one kind stand in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.monitor.stone_plan.ahead import (
    MOST_SETS,
    KindAhead,
    PlanRequest,
    SetAhead,
    prices_of,
    stop_bores,
)
from cellmon.monitor.view import View
from cellmon.stones.cost import StonePrices
from cellmon.stones.life import Life
from cellmon.stones.ordering import DAY_US, LeadTime
from cellmon.stones.output import Output
from cellmon.stones.planning import Ways, change_ways, margin_bores
from cellmon.stones.replacement import ChangeCosts, change_in

STOP_SHARE = 0.1
"""Of a life: stones that last less than ten stops are stopped for when they are due."""
MOST_WAYS, LEAST_WAYS, DRAWS = 2000, 300, 200_000
"""Ways drawn: fewer where each holds many sets, since then they differ less."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """What holds for every kind of one plan."""

    view: View
    asked: PlanRequest
    horizon_days: float
    lead: LeadTime | None
    service: float
    clocks: Mapping[str, Output]
    random: np.random.Generator

    @property
    def now(self) -> np.datetime64:
        """The moment the plan starts from."""
        return self.view.as_of

    def moment(self, days: float) -> datetime:
        """Return local time so many days from now."""
        return self.local(self.now + np.timedelta64(round(days * DAY_US), "us"))

    def local(self, at: np.datetime64) -> datetime:
        """Return a moment of the plan as local time, to the minute: more is not known."""
        return self.view.local(at.astype("datetime64[m]").astype("datetime64[us]"))

    @property
    def seen(self) -> Mapping[str, Output]:
        """The clocks up to the horizon."""
        end = self.now + np.timedelta64(round(self.horizon_days * DAY_US), "us")
        return {name: _until(clock, end) for name, clock in self.clocks.items()}


@dataclass(frozen=True, kw_only=True, eq=False)
class Places:
    """Where sets of one kind stand, with what was drawn for each, by a name of the place."""

    ahead: KindAhead
    sets: Mapping[str, SetAhead]
    ways: Mapping[str, Ways]
    clocks: Mapping[str, Output]
    margin: float
    prices: StonePrices | None


def _until(clock: Output, end: np.datetime64) -> Output:
    kept = clock.starts < end
    starts, ends = clock.starts[kept], clock.ends[kept]
    cut = np.minimum(ends, end)
    share = (cut - starts) / np.where(ends > starts, ends - starts, np.timedelta64(1, "us"))
    return Output(starts=starts, ends=cut, bores=clock.bores[kept] * share)


def places(terms: Terms, ahead: KindAhead, sets: Sequence[SetAhead]) -> Places:
    """Draw the changes of every place that sets of one kind stand in."""
    prices = prices_of(ahead.kind, terms.view.sheet.planning, price=terms.asked.price)
    mine = [s for s in sets if s.kind == ahead.kind.id and s.spindle in terms.clocks]
    stops = [stop_bores(terms.view, s.spindle) for s in mine]
    step = min(float(np.median(stops)) if stops else 0.0, STOP_SHARE * ahead.new.mean)
    margin = margin_bores(ahead.new.mean, step=step)
    named = {f"{s.spindle} {s.stage}": s for s in mine}
    alike = terms.random.standard_normal(_ways(terms, ahead, mine, each=ahead.new.mean - margin))
    ways = {
        name: change_ways(
            s.life,
            ahead.new,
            bores=terms.clocks[s.spindle].total,
            margin=margin,
            first_margin=_first_margin(s.life, ahead, prices, most=margin, step=step),
            chips_per_bore=ahead.chips_per_bore,
            alike=alike,
            alike_share=ahead.alike_share,
            first_share=0.0 if s.measured else ahead.alike_share,
            random=terms.random,
        )
        for name, s in named.items()
    }
    return Places(
        ahead=ahead,
        sets=named,
        ways=ways,
        clocks={name: terms.clocks[s.spindle] for name, s in named.items()},
        margin=margin,
        prices=prices,
    )


def _ways(terms: Terms, ahead: KindAhead, sets: Sequence[SetAhead], *, each: float) -> int:
    """Return how many ways to draw for sets that hone so many bores each."""
    many = [terms.clocks[s.spindle].total / max(each, 1.0) for s in sets]
    if max(many, default=0.0) > MOST_SETS:
        raise WrongUsage(
            f"about {max(many):,.0f} sets of {ahead.kind.id} on one spindle in the time looked at: "
            "choose a shorter horizon"
        )
    return int(np.clip(DRAWS / max(sum(many), 1.0), LEAST_WAYS, MOST_WAYS))


def _first_margin(
    life: Life | None, ahead: KindAhead, prices: StonePrices | None, *, most: float, step: float
) -> float:
    """Return how long before its end the set that is fitted is changed: less where that is well known."""
    if life is None or prices is None or step <= 0 or prices.planned_change <= 0:
        return most
    costs = ChangeCosts(planned=prices.planned_change, failed=prices.failed_change)
    stop = change_in(life, costs, cost_per_bore=costs.planned / ahead.new.mean, step=step)
    return min(most, max(life.p50 - stop, 0.0))
