"""The verdict of each measured bore: every judged feature against its limits, with guard bands."""

from __future__ import annotations

import numpy as np

from cellmon.gauge.decision import feature_uncertainty, verdicts
from cellmon.judged import SIZE_COLUMNS, Bores
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.records import Numbers, Whole
from cellmon.sheet import DiameterFeature, Part, Sheet

JUDGED_COLUMNS = {"ovality": "ovality_worst"}
"""Features that are judged on another column than the one charted."""


def verdict_codes(bores: Bores, sheet: Sheet) -> Whole:
    """Return for each bore 1 conforms, 0 undecided, -1 does not conform.

    The worst feature decides; a bore whose readings are doubted in value waits for a person.
    """
    codes = np.ones(len(bores), dtype=np.int64)
    for part in sheet.parts:
        here = bores.part_number == part.number
        if here.any():
            codes[here] = _of_part(bores.select(here), sheet, part)
    doubted = (bores.flags & ~CONTEXT_FLAGS) != 0
    return np.where(doubted, 0, codes)


def _of_part(bores: Bores, sheet: Sheet, part: Part) -> Whole:
    codes = np.ones(len(bores), dtype=np.int64)
    for name, feature in part.features.items():
        lower, upper = feature.lower_um, feature.upper_um
        if isinstance(feature, DiameterFeature) and feature.judge == "every-reading":
            codes = np.minimum(codes, _one(bores.least, sheet, name, lower, None))
            codes = np.minimum(codes, _one(bores.greatest, sheet, name, None, upper))
        else:
            values = judged_values(bores, name, feature)
            if values is not None:
                codes = np.minimum(codes, _one(values, sheet, name, lower, upper))
    return codes


def judged_values(bores: Bores, name: str, feature: object) -> Numbers | None:
    """Return the figure of each bore that a feature is judged on; None where readings give none."""
    if isinstance(feature, DiameterFeature):
        column = SIZE_COLUMNS.get(feature.size)
    else:
        column = JUDGED_COLUMNS.get(name, name)
    return getattr(bores, column, None) if column else None


def _one(values: Numbers, sheet: Sheet, name: str, lower: float | None, upper: float | None) -> Whole:
    if lower is None and upper is None:
        return np.ones(len(values), dtype=np.int64)
    found: Whole = verdicts(
        values,
        lower=lower,
        upper=upper,
        u=standard_uncertainty(sheet, name),
        rule=sheet.decision.rule,
        conformance=sheet.decision.conformance,
    ).astype(np.int64)
    return found


def standard_uncertainty(sheet: Sheet, feature: str) -> float:
    """Return the standard uncertainty of a feature, micrometres; 0 where the sheet states none."""
    measuring = sheet.measuring
    if measuring.common_um is None and measuring.reading_um is None:
        return 0.0
    found = feature_uncertainty(
        feature,
        common_um=measuring.common_um or 0.0,
        reading_um=measuring.reading_um or 0.0,
        planes=len(measuring.planes),
        directions=len(measuring.directions),
    )
    return found or 0.0
