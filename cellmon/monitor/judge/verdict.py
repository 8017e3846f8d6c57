"""The verdict of each measured bore: every judged feature against its limits, with guard bands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from cellmon.gauge.decision import feature_uncertainty, verdicts
from cellmon.judged import SIZE_COLUMNS, Bores
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.records import Numbers, Whole
from cellmon.sheet import SIZES_OF_TRACES, DiameterFeature, Part, Sheet

JUDGED_COLUMNS = {"ovality": "ovality_worst"}
"""Features that are judged on another column than the one charted."""
BORE_COLUMNS = frozenset(column.name for column in Bores.columns())


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
    for figure in judged_figures(bores, sheet, part):
        codes = np.minimum(codes, figure.codes)
    return codes


@dataclass(frozen=True, kw_only=True, eq=False)
class JudgedFigure:
    """One figure of some bores held against limits; the worst of a bore's figures is its verdict."""

    feature: str
    column: str
    """Which figure of the bore is judged: a column of `Bores`."""
    values: Numbers
    lower: float | None
    upper: float | None
    u: float
    """Standard uncertainty of the figure, micrometres; 0 where the sheet states none."""
    codes: Whole


def judged_figures(bores: Bores, sheet: Sheet, part: Part) -> Iterator[JudgedFigure]:
    """Yield every figure that the verdict on some bores of one part rests on.

    Under `judge = "every-reading"` the least size is held against the lower limit, the greatest against
    the upper one.
    """
    for name, feature in part.features.items():
        lower, upper = feature.lower_um, feature.upper_um
        if isinstance(feature, DiameterFeature) and feature.judge == "every-reading":
            yield _one(bores, "least", sheet, name, lower, None)
            yield _one(bores, "greatest", sheet, name, None, upper)
        else:
            column = judged_column(name, feature)
            if column is not None:
                yield _one(bores, column, sheet, name, lower, upper)


def judged_column(name: str, feature: object) -> str | None:
    """Return the column of `Bores` that a feature is judged on; None where readings give none."""
    if isinstance(feature, DiameterFeature):
        column = "trace_size" if feature.size in SIZES_OF_TRACES else SIZE_COLUMNS.get(feature.size)
    else:
        column = JUDGED_COLUMNS.get(name, name)
    return column if column in BORE_COLUMNS else None


def _one(
    bores: Bores, column: str, sheet: Sheet, name: str, lower: float | None, upper: float | None
) -> JudgedFigure:
    values: Numbers = getattr(bores, column)
    u = _of_trace_gauges(bores, sheet) if column == "trace_size" else standard_uncertainty(sheet, name)
    codes: Whole = np.ones(len(values), dtype=np.int64)
    if lower is not None or upper is not None:
        decision = sheet.decision
        codes = verdicts(
            values, lower=lower, upper=upper, u=u, rule=decision.rule, conformance=decision.conformance
        ).astype(np.int64)
    return JudgedFigure(
        feature=name, column=column, values=values, lower=lower, upper=upper, u=u, codes=codes
    )


def _of_trace_gauges(bores: Bores, sheet: Sheet) -> float:
    """Return the largest standard uncertainty of those that traced; 0 where the sheet states none."""
    gauges = set(bores.trace_gauge.tolist()) & set(sheet.gauge_ids)
    return max((sheet.gauge(g).uncertainty_reading_um or 0.0 for g in gauges), default=0.0)


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
