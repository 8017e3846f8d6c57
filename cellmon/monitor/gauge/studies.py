"""What the gauge studies say, feature by feature, each by the design its shape shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.designs import Design, Laid, laid_out
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
from cellmon.monitor.gauge.checks import Linearity, linearity
from cellmon.monitor.gauge.figures import forms, items_of, joined
from cellmon.monitor.view import View
from cellmon.records import Kind, Numbers, StudyReadings
from cellmon.sheet import Part, Sheet

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


@dataclass(frozen=True, kw_only=True)
class StudyAnswer:
    """One study of one gauge."""

    study: str
    gauge: str
    design: str
    readings: int
    sigmas: float
    features: tuple[StudyFeature, ...]
    linearity: Linearity | None
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)

    def of(self, feature: str) -> StudyFeature | None:
        """Return what it says of one feature."""
        return next((f for f in self.features if f.feature == feature), None)


def study_rows(view: View) -> StudyReadings:
    """Return the study readings known at the moment of the view."""
    rows: StudyReadings = view.session.rows(Kind.GAUGE_STUDY)
    return rows.select(np.isnat(rows.at) | (rows.at <= view.as_of))


def rows_aside(view: View) -> int:
    """Return how many rows of study files wait aside."""
    return sum(a.kind == Kind.GAUGE_STUDY and not a.retried for a in view.session.aside())


def studies(view: View, *, study: str | None = None) -> tuple[StudyAnswer, ...]:
    """Return every study, or those of one name, newest last."""
    rows = study_rows(view)
    gauge = np.where(rows.gauge == np.array(None, dtype=object), view.sheet.measuring.gauge, rows.gauge)
    pairs = dict.fromkeys(zip(rows.study.tolist(), gauge.tolist(), strict=True))
    chosen = [(s, g) for s, g in pairs if study in (None, s)]
    return tuple(_one(view, rows.select((rows.study == s) & (gauge == g)), s, g) for s, g in chosen)


def _one(view: View, rows: StudyReadings, study: str, gauge: str) -> StudyAnswer:
    part = view.sheet.part()
    nominal = part.diameter.nominal
    master = np.isfinite(rows.master_mm)
    on_master = bool(master.all())
    base = rows.master_mm if on_master else np.full(len(rows), nominal)
    um = np.round((rows.reading_mm - base) * 1000.0, 4)
    items = joined([rows.part]) if on_master else items_of(rows)
    notes = [] if on_master or not master.any() else ["masters beside parts: their sizes were not used"]
    features: list[StudyFeature] = []
    said: dict[str, None] = {}
    left: dict[str, None] = {}
    design, line = None, None
    figures = [(ONE_READING, um, items, rows.operator, rows.trial)]
    figures += [] if on_master else forms(rows, um, view.sheet, part)
    for name, values, item, operator, trial in figures:
        try:
            laid = laid_out(values, part=item, operator=operator, trial=trial, master=on_master)
        except NotEnoughData as refused:
            features.append(_unknown(name, str(refused), view.sheet))
            continue
        design = design or laid.design
        said.update(dict.fromkeys(laid.notes))
        left.update(dict.fromkeys(laid.left_out))
        features.append(_feature(name, laid, view.sheet, part, on_master=on_master))
    if on_master:
        line = _line(view, rows.master_mm, um)
    return StudyAnswer(
        study=study,
        gauge=gauge,
        design=design.value if design else "not told",
        readings=len(rows),
        sigmas=SIGMAS,
        features=tuple(features),
        linearity=line,
        left_out=tuple(left),
        notes=(*notes, *said),
        why_not={} if design else {"design": features[0].verdict if features else "no readings"},
    )


def _line(view: View, master_mm: Numbers, error_um: Numbers) -> Linearity | None:
    try:
        return linearity(view, master_mm, error_um)
    except (NotEnoughData, NoSpread):
        return None


def tolerance_um(feature: str, sheet: Sheet) -> tuple[float | None, str | None]:
    """Return the width of a feature's tolerance, or why there is none.

    A feature that cannot be below nought has the room from nought to its upper limit.
    """
    name = "diameter" if feature == ONE_READING else feature
    limits = sheet.part().features.get(name)
    if limits is None:
        return None, f"the sheet has no {name}"
    if limits.upper_um is None or (limits.lower_um is None and name not in ZERO_BOUNDED):
        return None, f"{name} has no two limits on the sheet"
    return limits.upper_um - (limits.lower_um or 0.0), None


def _unknown(feature: str, why: str, sheet: Sheet) -> StudyFeature:
    width, _ = tolerance_um(feature, sheet)
    names = ("repeatability_um", "gauge_um", "of_tolerance", "of_study", "categories")
    return _blank(feature, width, verdict=f"not known: {why}", why_not=dict.fromkeys(names, why))


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


def _feature(name: str, laid: Laid, sheet: Sheet, part: Part, *, on_master: bool) -> StudyFeature:
    width, no_width = tolerance_um(name, sheet)
    shape = {
        "parts": len(laid.parts),
        "operators": len(laid.operators),
        "trials": laid.values.shape[2],
    }
    why_not = {} if no_width is None else {"of_tolerance": no_width}
    try:
        known = _of_master(laid, on_master=on_master) if laid.design is Design.MASTER else _of_parts(laid)
    except (NoSpread, NotEnoughData) as refused:
        unknown = _unknown(name, str(refused), sheet)
        return _blank(name, width, **shape, verdict=unknown.verdict, why_not=unknown.why_not)
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
        why_not = dict.fromkeys(("reproducibility_um", "interaction_um"), "no two operators in the study")
    elif found.pooled:
        why_not["interaction_um"] = (
            f"not told from chance (p {found.p_interaction:.2f}), pooled into what repeats"
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
    why_not = dict.fromkeys(missing, "one master: no parts to tell apart")
    if bias is None:
        why_not["bias_um"] = "the master's size is not in the file (master_mm)"
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
        return "not known: no tolerance on the sheet and no parts in the study"
    if share.value > LIMITED:
        return "not good enough"
    if share.value > ENOUGH:
        return "use with care"
    return "good enough"


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
