"""Run, dress or replace: what the stones of a spindle call for, and why, in one sentence."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.monitor.dressings import Plan
from cellmon.monitor.stones.dull import FaceOf
from cellmon.monitor.stones.kinds import SetLife, new_life
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.now import StonesNow
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.stones.dullness import Face
from cellmon.stones.replacement import ChangeCosts, look_ahead
from cellmon.stones.wear import Jump

STEP = 500.0
"""Bores to the next stop where neither a dressing nor a shift is planned."""
ENDS_FIRST = 0.05
"""Replace where the chance to end before the next stop is above this, without a life of new sets to weigh."""
FAILED = 5.0
"""What a set run to its end costs against a planned change: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do with a set: `run`, `dress`, `replace`, or None where it is on no spindle."""

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
    """Return what to do with a fitted set; what cannot wait comes first."""
    step = next_stop(now, stay)
    if wear is Jump.CHIP:
        why = "One place lost far more than the others since the round before, as of a chip: stop and look."
        return Advice(advice="replace", why=why)
    if life is not None:
        ends = float(life.life.cdf(step))
        if ends >= 1 or _pays_to_change(now, stay, life, step):
            chance = f"{100 * ends:.0f} % chance" if ends < 0.995 else "Sure"
            return Advice(
                advice="replace",
                why=f"{chance} that it reaches its least thickness within {step:.0f} bores, the next stop.",
            )
    if good is not None and good.p05 < step:
        return Advice(
            advice="replace",
            why=f"The {good.feature} of bore {good.bore} may leave its tolerance within {good.p05:,} bores.",
        )
    if face is not None and face.face in (Face.GLAZED, Face.LOADED):
        return Advice(advice="dress", why=f"It seems {face.face}: {face.why}.")
    plan = now.view.dressing_plan(stay.spindle)
    if isinstance(plan, Plan) and since is not None and since >= plan.every_bores:
        whence = "the sheet" if plan.from_ == "sheet" else "its last intervals"
        return Advice(
            advice="dress",
            why=f"{since} bores since it was dressed, {plan.every_bores:.0f} by {whence}.",
        )
    return Advice(advice="run", why=_runs(life, face))


def next_stop(now: StonesNow, stay: Stay) -> float:
    """Return the bores to the next stop at which stones could be changed: the next dressing, else a shift."""
    plan = now.view.dressing_plan(stay.spindle)
    if isinstance(plan, Plan):
        return float(plan.in_bores if plan.in_bores >= 1 else plan.every_bores)
    planning = now.view.sheet.planning
    shift = None if planning is None else planning.bores_per_shift.get(stay.spindle)
    return float(shift) if shift else STEP


def _pays_to_change(now: StonesNow, stay: Stay, life: SetLife, step: float) -> bool:
    """Return whether running on to the next stop costs more than its bores are worth."""
    known = now.known(stay.stone_set)
    new = None if known is None else new_life(known)
    if new is None:
        return bool(life.life.cdf(step) > ENDS_FIRST)
    costs = ChangeCosts(planned=1.0, failed=FAILED)
    return look_ahead(life.life, costs, cost_per_bore=1.0 / new.mean, step=step).replace


def _runs(life: SetLife | None, face: FaceOf | None) -> str:
    if life is None:
        return "Nothing speaks against it, but what is left is not known."
    least = life.life.p05
    sharp = "" if face is None or face.face != Face.SHARP else " and it cuts as freshly dressed"
    return f"19 of 20 such sets have {least:,.0f} bores left or more{sharp}."
