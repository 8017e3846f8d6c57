"""What holds for a whole plan, and where the sets of one kind stand in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.local import number
from cellmon.monitor.stone_plan.ahead import MOST_SETS, KindAhead, PlanRequest, SetAhead
from cellmon.monitor.stone_plan.known import Dressed
from cellmon.monitor.stones.dressing import DressingAdvice, dressing_advice
from cellmon.monitor.stones.worth import (
    Changing,
    change_margin,
    changing_of,
    prices_of,
    stops_of,
    usual_stop,
)
from cellmon.monitor.view import View
from cellmon.sheet import StoneKind
from cellmon.stones.cost import StonePrices
from cellmon.stones.ordering import DAY_US, LeadTime
from cellmon.stones.output import Output
from cellmon.stones.planning import Ways, change_ways, margin_bores
from cellmon.words import say

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
    dressed: dict[Dressed, DressingAdvice]
    """Advice on dressing that other plans of the same state worked out."""

    def dressing(self, spindle: str, kind: StoneKind, prices: StonePrices) -> DressingAdvice:
        """Return how often dressing pays on a spindle, worked out once for all plans of one state."""
        which = (spindle, kind.id, prices)
        if which not in self.dressed:
            self.dressed[which] = dressing_advice(self.view, spindle, kind, prices)
        return self.dressed[which]

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
    step = usual_stop(terms.view, [s.spindle for s in mine], mean_life=ahead.new.mean)
    margin = margin_bores(ahead.new.mean, step=step)
    changing = changing_of(prices, ahead.new, step=step, chips_per_bore=ahead.chips_per_bore)
    named = {f"{s.spindle} {s.stage}": s for s in mine}
    alike = terms.random.standard_normal(_ways(terms, ahead, mine, each=ahead.new.mean - margin))
    ways = {
        name: change_ways(
            s.life,
            ahead.new,
            bores=terms.clocks[s.spindle].total,
            margin=margin,
            first_margin=_first_margin(terms, changing, s, most=margin),
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
            say(
                "about {sets} sets of {kind} on one spindle in the time looked at: choose a shorter horizon",
                sets=number(max(many)),
                kind=ahead.kind.id,
            )
        )
    return int(np.clip(DRAWS / max(sum(many), 1.0), LEAST_WAYS, MOST_WAYS))


def _first_margin(terms: Terms, changing: Changing, one: SetAhead, *, most: float) -> float:
    """Return how long before its end the set that is fitted is changed: less where that is well known."""
    if one.life is None:
        return most
    return change_margin(one.life, changing, stops_of(terms.view, one.spindle, mean_life=changing.mean_life))
