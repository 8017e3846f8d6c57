"""How often dressing pays on each spindle: what dull stones cost there, against the minutes of a dressing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cellmon import lengths
from cellmon.errors import NotEnoughData
from cellmon.local import number, significant
from cellmon.monitor.answers import Estimate
from cellmon.monitor.stones.dulling import Intervals, Learned, learn
from cellmon.monitor.stones.worth import stop_bores
from cellmon.monitor.view import View
from cellmon.sheet import StoneKind
from cellmon.stones.cost import StonePrices
from cellmon.stones.dressing_cost import (
    NEAR,
    DressingInterval,
    DressingPrices,
    Dulling,
    Growth,
    cheapest_interval,
    dullness_cost,
)
from cellmon.words import say, to_say, voice

CURVE = 100
"""Points of a curve that is drawn."""
FARTHEST = 2.0
"""Intervals drawn reach so many times as far as the longest that was run."""
TRUSTED = 1.5
"""An interval longer than the longest that was run by more than this is not advised."""
NO_PRICE = to_say("[planning] machine_cost_per_hour and the kind's dress_minutes say what a dressing costs")
NO_INTERVALS = to_say("{got} of the 3 dressing intervals in the last 30 days that would tell how stones dull")
NO_CYCLE = to_say("no honing times (cycle_s) of this spindle in the last 30 days")
ALL_WAITS = to_say(
    "every second of longer honing is taken as machine time lost; where the hone waits for the line, "
    "free_cycle_s in [planning] says up to which honing time nothing is"
)
TOO_FAR = to_say("the interval that costs least lies beyond those that were run")
SHARP = to_say("neither the honing time nor the spread of sizes grows clearly until the stones are dressed")

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class DressingAdvice:
    """The dressing interval that costs least on one spindle, with its curve.

    Costs are per bore, of dressing and of what dull stones cost; `now_bores` is the interval in use.
    """

    spindle: str
    kind: str
    bores: float | None
    low: float | None
    high: float | None
    """Of the interval, 90 %, by what is not known of the growth."""
    near_low: float | None
    near_high: float | None
    """Intervals between these cost at most 5 % more."""
    cost: float | None
    now_bores: float | None
    now_cost: float | None
    cycle_s_per_1000_bores: Estimate | None
    sd_um_per_1000_bores: Estimate | None
    intervals: int | None
    sentence: str
    pays_at: float | None = None
    """Bores at which dressing surely pays, where that is sooner than is usual; else None."""
    assumed: str | None = None
    curve_bores: Floats = field(default_factory=lambda: np.empty(0))
    curve_cost: Floats = field(default_factory=lambda: np.empty(0))
    why_not: Mapping[str, str] = field(default_factory=dict)


def dressing_advice(view: View, spindle: str, kind: StoneKind, prices: StonePrices) -> DressingAdvice:
    """Return how often dressing pays on one spindle, or why that is not known.

    How stones dull is learned of the shifts that are over: it is the same until another is.
    """
    now = stop_bores(view, spindle) or None
    if prices.dressing <= 0 or prices.machine_per_hour <= 0:
        return _not_known(spindle, kind.id, now, say(NO_PRICE))
    found = view.whole_intervals(spindle)
    spoken = f"dressing of {spindle} for {kind.id} {voice()} {lengths.shown()}"
    rests_on = (found, prices, now, view.rules.now.version, view.running(spindle).number)
    return view.carry(spoken, rests_on, lambda: _learned(view, spindle, kind, prices, found))


def _learned(
    view: View, spindle: str, kind: StoneKind, prices: StonePrices, found: Intervals
) -> DressingAdvice:
    now = stop_bores(view, spindle) or None
    try:
        learned = learn(view, spindle, found)
    except NotEnoughData as few:
        none = not len(found.bores) or not np.isfinite(found.bores.cycle_s).any()
        return _not_known(spindle, kind.id, now, say(NO_CYCLE) if none else say(NO_INTERVALS, got=few.got))
    longest = FARTHEST * max(found.longest, now or 0.0, 2.0)
    return _advice(spindle, kind, prices, learned, now=now, longest=longest, run=found.longest)


def _dulling(learned: Learned, which: str) -> Dulling:
    """Return what dullness does by the middle, low or high growth; what does not clearly grow does not."""
    spread = learned.spread
    clear = spread is not None and spread.low > 0
    return Dulling(
        cycle_s_per_bore=_lost(learned, which),
        waiting_s=0.0 if learned.free_s is None else max(learned.free_s - learned.cycle.start, 0.0),
        sd_um=None if spread is None else spread.start,
        sd_um_per_bore=getattr(spread, which) if clear else 0.0,
        room_um=learned.room_um,
    )


def _lost(learned: Learned, which: str) -> float:
    """Return the machine time that each bore since dressing loses, seconds: by the pace where that tells."""
    if learned.keeps_pace or learned.waits:
        assert learned.pace is not None
        lost = learned.pace
    else:
        lost = learned.cycle
    return float(getattr(lost, which)) if lost.low > 0 else 0.0


def _advice(
    spindle: str,
    kind: StoneKind,
    prices: StonePrices,
    learned: Learned,
    *,
    now: float | None,
    longest: float,
    run: float,
) -> DressingAdvice:
    costs = DressingPrices(
        dressing=prices.dressing + _stone_off(kind, prices),
        machine_per_hour=prices.machine_per_hour,
        scrap_per_bore=prices.scrap_per_bore,
    )

    def best(which: str) -> DressingInterval:
        extra = dullness_cost(_dulling(learned, which), costs)
        return cheapest_interval(extra, dressing=costs.dressing, longest=longest)

    found, soon, late = best("per_bore"), best("high"), best("low")
    found = replace(found, shows=found.shows and found.bores <= TRUSTED * run)
    now_cost = None if now is None else found.cost_at(now)
    return DressingAdvice(
        spindle=spindle,
        kind=kind.id,
        bores=found.bores if found.shows else None,
        low=soon.bores if found.shows else None,
        high=late.bores if found.shows and late.shows else None,
        near_low=found.near_low if found.shows else None,
        near_high=found.near_high if found.shows else None,
        cost=found.cost_per_bore if found.shows else None,
        now_bores=now,
        now_cost=now_cost,
        cycle_s_per_1000_bores=_per_1000(learned.cycle),
        sd_um_per_1000_bores=None if learned.spread is None else _per_1000(learned.spread),
        intervals=learned.cycle.intervals,
        sentence=_sentence(spindle, learned, found, now, now_cost, run=run),
        pays_at=_pays_at(learned, found, late, now),
        assumed=say(ALL_WAITS) if learned.assumed else None,
        curve_bores=(drawn := np.geomspace(1.0, longest, CURVE)),
        curve_cost=np.interp(drawn, found.curve_bores, found.curve_cost),
        why_not={} if found.shows else {"bores": say(SHARP) if learned.sharp else say(TOO_FAR)},
    )


def _stone_off(kind: StoneKind, prices: StonePrices) -> float:
    """Return what the thickness that a dressing takes off is worth."""
    depth = 1000 * (kind.new_thickness_mm - kind.least_thickness_mm)
    return prices.set_price * kind.dress_off_um / depth


def _per_1000(found: Growth) -> Estimate:
    return Estimate(
        value=1000 * found.per_bore, low=1000 * found.low, high=1000 * found.high, confidence=0.90
    )


def _pays_at(
    learned: Learned, found: DressingInterval, late: DressingInterval, now: float | None
) -> float | None:
    """Return when dressing surely pays sooner than is usual: what is assumed or unsure changes no habit."""
    if now is None or learned.assumed or not (found.shows and late.shows) or late.bores >= now:
        return None
    return found.bores if found.cost_at(now) > NEAR * found.cost_per_bore else None


def _sentence(
    spindle: str,
    learned: Learned,
    found: DressingInterval,
    now: float | None,
    now_cost: float | None,
    *,
    run: float,
) -> str:
    keep = [] if now is None else [say("Keep the usual {bores}.", bores=number(now))]
    pace = _pace_words(learned)
    if not found.shows:
        why = say(SHARP)
        if not learned.sharp:
            why = say(
                "no interval that was run, up to {bores} bores, is so long that it costs more",
                bores=number(run),
            )
        sooner = say("Finish and form may ask for dressing sooner.")
        return " ".join([f"{spindle}: {pace}{why}.", *keep, sooner])
    if learned.assumed:
        assumed = say(
            "{spindle}: whether longer honing holds the line up is not known; if every second of it is lost, "
            "dressing every {bores} bores costs least.",
            spindle=spindle,
            bores=_round(found.bores),
        )
        return " ".join([assumed, *keep])
    words = say(
        "dressing every {bores} bores costs least; every {low} to {high} costs at most 5 % more.",
        bores=_round(found.bores),
        low=_round(found.near_low),
        high=_round(found.near_high),
    )
    words = f"{spindle}: {pace}{words}"
    if now is None or now_cost is None:
        return words
    return f"{words} {_usual_words(now, now_cost / found.cost_per_bore - 1)}"


def _pace_words(learned: Learned) -> str:
    """Return that longer honing holds nothing up, to stand before the rest; nothing where it may."""
    if not learned.keeps_pace:
        return ""
    assert learned.pace_s is not None
    return say(
        "honing takes {longer} s longer after 1,000 bores, yet a bore comes every {pace} s as before: "
        "nothing waits for the hone; ",
        longer=significant(1000 * learned.cycle.per_bore, 2),
        pace=significant(learned.pace_s, 3),
    )


def _usual_words(now: float, more: float) -> str:
    """Return what the interval in use costs more than the one that costs least."""
    if more <= 0.05:
        return say("Now it is every {bores}, which is as good.", bores=number(now))
    return say(
        "Now it is every {bores}, {share} % more than the least.", bores=number(now), share=number(100 * more)
    )


def _round(bores: float) -> str:
    """Return bores to two figures: more is not known."""
    step = 10 ** max(len(str(int(bores))) - 2, 0)
    return number(round(bores / step) * step)


def _not_known(spindle: str, kind: str, now: float | None, why_not: str) -> DressingAdvice:
    return DressingAdvice(
        spindle=spindle,
        kind=kind,
        bores=None,
        low=None,
        high=None,
        near_low=None,
        near_high=None,
        cost=None,
        now_bores=now,
        now_cost=None,
        cycle_s_per_1000_bores=None,
        sd_um_per_1000_bores=None,
        intervals=None,
        sentence=say(
            "{spindle}: how often dressing pays is not known: {why_not}.", spindle=spindle, why_not=why_not
        ),
        why_not={"bores": why_not},
    )
