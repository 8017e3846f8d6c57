"""Run, dress or replace: what the stones of a spindle call for, and why, in one sentence."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.local import number, significant
from cellmon.monitor.dressings import Plan
from cellmon.monitor.stones.dressing import DressingAdvice, dressing_advice
from cellmon.monitor.stones.dull import FaceOf
from cellmon.monitor.stones.good import sooner_of
from cellmon.monitor.stones.kinds import SetLife
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.now import StonesNow
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.monitor.stones.worth import (
    Changing,
    Stops,
    change_margin,
    changing_of,
    chips_of,
    prices_of,
    stops_of,
    usual_stop,
    weigh,
)
from cellmon.stones.dullness import Face
from cellmon.stones.life import Life
from cellmon.stones.replacement import LookAhead
from cellmon.stones.wear import Jump
from cellmon.words import say, to_say

FEATURES = {
    "cycle_s": to_say("honing time"),
    "size_spread": to_say("spread of sizes"),
    "size_range": to_say("range of sizes"),
}
RUN, DRESS, REPLACE = to_say("run"), to_say("dress"), to_say("replace")
ENDS_FIRST = 0.05
"""Replace where the chance to end before the next stop is above this, without a life of new sets to weigh."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do with a set: `RUN`, `DRESS`, `REPLACE`, or None where it is on no spindle."""

    advice: str | None
    why: str


def advise(
    now: StonesNow,
    stay: Stay,
    *,
    life: SetLife | None,
    good: GoodBores | None,
    face: FaceOf | None,
    since: int | None,
    wear: Jump | None,
) -> Advice:
    """Return what to do with a fitted set; what cannot wait comes first.

    Changing and running on are weighed at the prices of the sheet, as the plan weighs them.
    """
    if wear is Jump.CHIP:
        why = say(
            "One place lost far more than the others since the round before, as of a chip: stop and look."
        )
        return Advice(advice=REPLACE, why=why)
    changing = changing_now(now, stay)
    stops = stops_of(now.view, stay.spindle, mean_life=None if changing is None else changing.mean_life)
    ends = None if life is None else life.life if good is None else sooner_of(life.life, good)
    found = _replace(ends, good, changing, stops)
    if found is None and face is not None and face.face in (Face.GLAZED, Face.LOADED):
        why = face.why + _dressing_costs(changing)
        found = Advice(advice=DRESS, why=say("It seems {face}: {why}.", face=say(face.face), why=why))
    if found is None:
        found = _dress(now, stay, since, changing)
    return found or Advice(advice=RUN, why=_runs(ends, face, changing, stops))


def changing_now(now: StonesNow, stay: Stay) -> Changing | None:
    """Return what changing a fitted set costs, as the plan takes it; None where no life is known."""
    known = now.known(stay.stone_set)
    if known is None or known.new_life is None:
        return None
    new, seen = known.new_life, now.seen(known)
    beside = [one.spindle for one in now.running() if now.is_of(one.stone_set, known)]
    return changing_of(
        prices_of(known.kind, now.view.sheet.planning),
        new,
        step=usual_stop(now.view, beside, mean_life=new.mean),
        chips_per_bore=chips_of(known.kind, new, chipped=seen.chipped, bores=seen.bores),
    )


def _replace(
    ends: Life | None, good: GoodBores | None, changing: Changing | None, stops: Stops
) -> Advice | None:
    """Return that a set is to be changed where waiting for the next stop costs more than its bores."""
    if ends is None:
        if good is None or good.p05 >= stops.first:
            return None
        return Advice(advice=REPLACE, why=_may_pass(good))
    sure = float(ends.cdf(0.0)) >= 1
    weighed = None if changing is None else weigh(ends, changing, stops)
    chance = float(ends.cdf(stops.first)) if weighed is None else weighed.chance
    if not (sure or (chance > ENDS_FIRST if weighed is None else weighed.replace)):
        return None
    what = say("it reaches its least thickness")
    if good is not None and ends.limited_by == "quality":
        what = _passes(good)
    within = say("within {bores} bores, the next stop", bores=number(stops.first))
    if max(stops.late) > stops.first / 10:
        within = say("{within} (dressings that came late counted in)", within=within)
    why = _sure_of(chance, what, within)
    return Advice(advice=REPLACE, why=_weighed(why, weighed, changing))


def _sure_of(chance: float, what: str, within: str) -> str:
    """Return how sure an end is, without its full stop."""
    if chance >= 0.995:
        return say("Sure that {what} {within}", what=what, within=within)
    share = number(100 * chance)
    return say("{share} % chance that {what} {within}", share=share, what=what, within=within)


def _may_pass(good: GoodBores) -> str:
    named = {"feature": _feature(good), "within": number(good.p05)}
    if good.bore is None:
        return say("The {feature} may pass its limit within {within} bores.", **named)
    return say(
        "The {feature} of bore {bore} may pass its limit within {within} bores.", bore=good.bore, **named
    )


def _passes(good: GoodBores) -> str:
    if good.bore is None:
        return say("the {feature} passes its limit", feature=_feature(good))
    return say("the {feature} of bore {bore} passes its limit", feature=_feature(good), bore=good.bore)


def _feature(good: GoodBores) -> str:
    return say(FEATURES[good.feature]) if good.feature in FEATURES else good.feature


def _weighed(why: str, found: LookAhead | None, changing: Changing | None) -> str:
    """Say what running on would cost and what its bores are worth, after why a set is to be changed."""
    if found is None or changing is None:
        return f"{why}."
    cost, worth = found.cost_of_waiting, found.worth_of_waiting
    if changing.prices is None:
        return say(
            "{why}: waiting would cost {cost} of a planned change, more than the {worth} that the bores are "
            "worth (no prices on the sheet: a set run to its end is taken as five planned changes).",
            why=why,
            cost=significant(cost, 2),
            worth=significant(worth, 2),
        )
    return say(
        "{why}: waiting would cost {cost} on average, more than the {worth} that the bores are worth.",
        why=why,
        cost=significant(cost, 3),
        worth=significant(worth, 3),
    )


def _dress(now: StonesNow, stay: Stay, since: int | None, changing: Changing | None) -> Advice | None:
    """Return that stones are to be dressed where it surely pays by now, or by the interval in use."""
    if since is None:
        return None
    sooner = dressing_now(now, stay, changing)
    if sooner is not None and sooner.pays_at is not None and since >= sooner.pays_at:
        return Advice(advice=DRESS, why=_sooner(sooner, since))
    plan = now.view.dressing_plan(stay.spindle)
    if not isinstance(plan, Plan) or since < plan.every_bores:
        return None
    known = {"since": since, "every": f"{plan.every_bores:.0f}"}
    if plan.from_ == "sheet":
        why = say("{since} bores since it was dressed, {every} by the sheet", **known)
    else:
        why = say("{since} bores since it was dressed, {every} by its last intervals", **known)
    return Advice(advice=DRESS, why=f"{why}{_dressing_costs(changing)}.")


def _sooner(found: DressingAdvice, since: int) -> str:
    assert found.cost is not None and found.now_cost is not None and found.now_bores is not None
    return say(
        "{since} bores since it was dressed: every {pays_at} costs least, {cost} a bore with what dull "
        "stones cost, against {now_cost} at the usual {usual}.",
        since=number(since),
        pays_at=number(found.pays_at or 0.0),
        cost=significant(found.cost, 2),
        now_cost=significant(found.now_cost, 2),
        usual=number(found.now_bores),
    )


def dressing_now(now: StonesNow, stay: Stay, changing: Changing | None) -> DressingAdvice | None:
    """Return how often dressing pays on the spindle of a fitted set; None without prices."""
    kind = now.kind_of(stay.stone_set)
    if kind is None or changing is None or changing.prices is None:
        return None
    return dressing_advice(now.view, stay.spindle, kind, changing.prices)


def _dressing_costs(changing: Changing | None) -> str:
    prices = None if changing is None else changing.prices
    if prices is None or prices.dressing <= 0:
        return ""
    return say(
        "; a dressing costs {dressing}, a change {change}",
        dressing=significant(prices.dressing, 2),
        change=number(prices.planned_change),
    )


def _runs(ends: Life | None, face: FaceOf | None, changing: Changing | None, stops: Stops) -> str:
    if ends is None:
        return say("Nothing speaks against it, but what is left is not known.")
    said = say("19 of 20 such sets have {least} bores left or more", least=number(ends.p05))
    if face is not None and face.face == Face.SHARP:
        said = say("{said} and it cuts as freshly dressed", said=said)
    if changing is None:
        return f"{said}."
    ahead = max(ends.p50 - change_margin(ends, changing, stops), stops.first)
    if ahead <= stops.first * 1.001:
        return say(
            "{said}; changing it pays at the next stop, in {bores} bores.", said=said, bores=number(ahead)
        )
    return say("{said}; changing it pays in about {bores} bores.", said=said, bores=number(ahead))
