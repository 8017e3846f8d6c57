"""What one gauge study says of one feature: spreads, shares of the tolerance, and whether that is enough."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon import local
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.designs import Design, Laid
from cellmon.gauge.resolution import ResolutionTest, resolution_test, step_seen
from cellmon.gauge.study import (
    MasterStudy,
    Ratio,
    Spread,
    Study,
    against_parts,
    automatic_study,
    crossed_study,
    master_study,
    share_of_tolerance,
)
from cellmon.monitor.answers import Estimate
from cellmon.sheet import Part
from cellmon.words import say

ONE_READING = "one reading"
"""The local diameter at one place, in the name of a feature."""
SIGMAS = 6.0
SEED = 20261019
ENOUGH, LIMITED = 10.0, 30.0
"""Per cent of the tolerance up to which a gauge is good enough, and usable with care."""
ZERO_BOUNDED = ("roundness", "size_range")


@dataclass(frozen=True, kw_only=True)
class VarianceLine:
    """One line of the table of variance."""

    source: str
    df: int
    ss: float
    ms: float


@dataclass(frozen=True, kw_only=True)
class StudyFeature:
    """What a study says of one feature; spreads are standard deviations in micrometres, shares per cent."""

    feature: str
    parts: int
    operators: int
    trials: int
    tolerance_um: float | None
    repeatability_um: Estimate | None
    reproducibility_um: Estimate | None
    interaction_um: Estimate | None
    gauge_um: Estimate | None
    part_um: Estimate | None
    total_um: Estimate | None
    p_interaction: float | None
    pooled: bool
    table: tuple[VarianceLine, ...]
    of_tolerance: Estimate | None
    of_study: Estimate | None
    categories: Estimate | None
    categories_claimed: int | None
    bias_um: Estimate | None
    resolution: ResolutionTest | None
    gauge_df: float | None
    verdict: str
    why_not: Mapping[str, str] = field(default_factory=dict)


def tolerance_um(feature: str, part: Part) -> tuple[float | None, str | None]:
    """Return the width of a feature's tolerance, or why there is none.

    A feature that cannot be below nought has the room from nought to its upper limit.
    """
    name = "diameter" if feature == ONE_READING else feature
    limits = part.features.get(name)
    if limits is None:
        return None, say("the sheet has no {feature}", feature=name)
    if limits.upper_um is None or (limits.lower_um is None and name not in ZERO_BOUNDED):
        return None, say("{feature} has no two limits on the sheet", feature=name)
    return limits.upper_um - (limits.lower_um or 0.0), None


def unknown(feature: str, why: str, part: Part) -> StudyFeature:
    """Return a feature of which nothing can be said, and why."""
    width, _ = tolerance_um(feature, part)
    names = ("repeatability_um", "gauge_um", "of_tolerance", "of_study", "categories")
    said = say("not known: {why}", why=why)
    return _blank(feature, width, verdict=said, why_not=dict.fromkeys(names, why))


def _blank(feature: str, width: float | None, **known: Any) -> StudyFeature:
    nothing: dict[str, Any] = dict.fromkeys(
        (
            "repeatability_um", "reproducibility_um", "interaction_um", "gauge_um", "part_um", "total_um",
            "p_interaction", "of_tolerance", "of_study", "categories", "categories_claimed", "bias_um",
            "resolution", "gauge_df",
        )
    )  # fmt: skip
    shape = {"parts": 0, "operators": 0, "trials": 0, "pooled": False, "table": ()}
    given = {**nothing, **shape, "feature": feature, "tolerance_um": width, **known}
    return StudyFeature(**given)


def study_feature(name: str, laid: Laid, part: Part, *, on_master: bool) -> StudyFeature:
    """Return what readings laid out by part, operator and trial say of one feature of a drawing."""
    width, no_width = tolerance_um(name, part)
    shape = {
        "parts": len(laid.parts),
        "operators": len(laid.operators),
        "trials": laid.values.shape[2],
    }
    why_not = {} if no_width is None else {"of_tolerance": no_width}
    try:
        known = _of_master(laid, on_master=on_master) if laid.design is Design.MASTER else _of_parts(laid)
    except (NoSpread, NotEnoughData) as refused:
        nothing = unknown(name, str(refused), part)
        return _blank(name, width, **shape, verdict=nothing.verdict, why_not=nothing.why_not)
    spread: Spread = known.pop("spread")
    why_not |= known.pop("why_not")
    share = None if width is None else _percent(share_of_tolerance(spread, width, sigmas=SIGMAS))
    resolution = None
    if name == ONE_READING:
        resolution = resolution_test(step_seen(laid.values), sigma=spread.sd, tolerance=width)
    return _blank(
        name,
        width,
        **shape,
        **known,
        of_tolerance=share,
        resolution=resolution,
        verdict=verdict(share, known.get("of_study")),
        why_not=why_not,
    )


def _of_parts(laid: Laid) -> dict[str, Any]:
    crossed = laid.design is Design.CROSSED
    found: Study = crossed_study(laid.values) if crossed else automatic_study(laid.values[:, 0, :])
    against = against_parts(found, generator=np.random.default_rng(SEED))
    why_not = {}
    if not crossed:
        why = say("no two operators in the study")
        why_not = dict.fromkeys(("reproducibility_um", "interaction_um"), why)
    elif found.pooled:
        why_not["interaction_um"] = say(
            "not told from chance (p {p}), pooled into what repeats",
            p=local.number(found.p_interaction or 0.0, 2),
        )
    return {
        "spread": found.gauge,
        "repeatability_um": _estimate(found.repeatability),
        "reproducibility_um": _estimate(found.reproducibility),
        "interaction_um": _estimate(found.interaction),
        "gauge_um": _estimate(found.gauge),
        "part_um": _estimate(found.part),
        "total_um": _estimate(found.total),
        "p_interaction": found.p_interaction,
        "pooled": found.pooled,
        "table": tuple(VarianceLine(source=n, df=s.df, ss=s.ss, ms=s.ms) for n, s in found.table),
        "of_study": _percent(against.of_study),
        "categories": _ratio(against.categories),
        "categories_claimed": int(against.categories.value),
        "gauge_df": found.gauge_df,
        "why_not": why_not,
    }


def _of_master(laid: Laid, *, on_master: bool) -> dict[str, Any]:
    found: MasterStudy = master_study(laid.values.ravel(), master=0.0 if on_master else None)
    bias = None
    if found.bias is not None:
        bias = Estimate(
            value=found.bias, low=found.bias_low, high=found.bias_high, confidence=found.confidence
        )
    missing = ("reproducibility_um", "interaction_um", "part_um", "total_um", "of_study", "categories")
    why_not = dict.fromkeys(missing, say("one master: no parts to tell apart"))
    if bias is None:
        why_not["bias_um"] = say("the master's size is not in the file (master_mm)")
    return {
        "spread": found.repeatability,
        "repeatability_um": _estimate(found.repeatability),
        "gauge_um": _estimate(found.repeatability),
        "bias_um": bias,
        "gauge_df": float(found.n - 1),
        "why_not": why_not,
    }


def verdict(of_tolerance: Estimate | None, of_study: Estimate | None) -> str:
    """Return what a share says of the gauge, in words; of the tolerance where there is one."""
    share = of_tolerance or of_study
    if share is None or share.value is None:
        return say("not known: no tolerance on the sheet and no parts in the study")
    if share.value > LIMITED:
        return say("not good enough")
    if share.value > ENOUGH:
        return say("use with care")
    return say("good enough")


def _estimate(spread: Spread | None) -> Estimate | None:
    if spread is None:
        return None
    return Estimate(value=spread.sd, low=spread.low, high=spread.high, confidence=spread.confidence)


def _ratio(ratio: Ratio, factor: float = 1.0) -> Estimate:
    return Estimate(
        value=factor * ratio.value,
        low=factor * ratio.low,
        high=factor * ratio.high,
        confidence=ratio.confidence,
    )


def _percent(ratio: Ratio) -> Estimate:
    return _ratio(ratio, 100.0)
