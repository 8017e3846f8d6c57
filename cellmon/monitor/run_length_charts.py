"""The charts whose run lengths can be asked for, by name, and what may be asked of each."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import gammainc

from cellmon.charts.run_length.cusum import (
    cusum_limit,
    cusum_run_length,
    two_sided_cusum_limit,
    two_sided_cusum_run_length,
)
from cellmon.charts.run_length.distribution import (
    RunLength,
)
from cellmon.charts.run_length.ewma import ewma_limit, ewma_run_length, general_ewma_run_length
from cellmon.charts.run_length.multivariate import mewma_limit, mewma_run_length, t2_limit, t2_run_length
from cellmon.charts.run_length.rules import rules_run_length
from cellmon.charts.run_length.shewhart import (
    individuals_run_length,
    mean_limit,
    mean_run_length,
    range_limit,
    range_run_length,
    sd_limit,
    sd_run_length,
)
from cellmon.charts.run_length.variance import (
    reference_for_ratio,
    variance_cusum_limit,
    variance_cusum_run_length,
)
from cellmon.monitor.rule_sets import BY_NAME
from cellmon.records import Numbers
from cellmon.words import to_say


@dataclass(frozen=True, kw_only=True)
class ChartAsked:
    """A chart and what is asked of it; lengths in standard deviations of a point.

    `arl` is the run length wanted when nothing moves, for which the limit is solved; else `limit` holds.
    """

    chart: str
    arl: float | None = None
    limit: float | None = None
    shifts: tuple[float, ...] = ()
    """Shifts of a mean, distances of several features, ratios of a spread."""
    size: int = 5
    """Bores in a subgroup."""
    weight: float = 0.1
    """Of the newest point."""
    reference: float = 0.5
    """Of a cumulative sum; of one of the variance, the ratio it is tuned for."""
    one_sided: bool = False
    head_start: float = 0.0
    """As a share of the limit."""
    features: int = 4
    rules: str = "zones-1956"
    charts: int = 1
    """So many independent ones side by side."""
    after: int = 0
    """Quiet points before the change; 0 asks only about one that is there from the first point on."""
    skew: float = 0.0
    """Skewness of the points of a moving average, as of a gamma law; 0 for normal ones."""
    subgroups: int | None = None
    """Subgroups that the limits of means were estimated from, by ranges; None for limits known."""


@dataclass(frozen=True, kw_only=True)
class Chart:
    """How one kind of chart answers."""

    run: Callable[[ChartAsked, float, float], RunLength]
    """The chart asked for, its limit, a shift."""
    solve: Callable[[ChartAsked, float], float] | None
    usual: float | None
    """Limit without a wish; None: the one for `WANTED`."""
    unit: str
    of: str = to_say("shift of the mean, standard deviations of a point")
    lasting: bool = True
    """Whether the steady state is told."""


def _cusum(asked: ChartAsked, h: float, shift: float) -> RunLength:
    run = cusum_run_length if asked.one_sided else two_sided_cusum_run_length
    return run(asked.reference, h, shift=shift, head_start=asked.head_start * h)


def _cusum_limit(asked: ChartAsked, arl: float) -> float:
    solve = cusum_limit if asked.one_sided else two_sided_cusum_limit
    return solve(asked.reference, arl, head_start_share=asked.head_start)


def _ewma(asked: ChartAsked, width: float, shift: float) -> RunLength:
    if asked.skew == 0:
        return ewma_run_length(asked.weight, width, shift=shift)
    shape = 4 / asked.skew**2
    least = -math.sqrt(shape)

    def cdf(x: Numbers) -> Numbers:
        return np.asarray(gammainc(shape, np.maximum((x - shift - least) * -least, 0.0)), dtype=np.float64)

    return general_ewma_run_length(asked.weight, width, cdf, least=least + shift)


def _tuned(asked: ChartAsked) -> float:
    return reference_for_ratio(asked.reference**2)


SPREAD = to_say("true spread over the usual one")
OF_MEANS = to_say("distance of the means, standard deviations of a point")
CHARTS: Mapping[str, Chart] = {
    "mean": Chart(
        run=lambda _, limit, shift: mean_run_length(limit, shift=shift),
        solve=lambda _, arl: mean_limit(arl),
        usual=3.0,
        unit=to_say("standard deviations of a point, either side"),
    ),
    "individuals": Chart(
        run=lambda _, limit, shift: individuals_run_length(limit, moving_range=MOVING_RANGE, shift=shift),
        solve=None,
        usual=3.0,
        unit=to_say("standard deviations of a bore, either side; the moving range of two at 3.686 beside it"),
    ),
    "range": Chart(
        run=lambda a, limit, ratio: range_run_length(a.size, ratio=ratio, limits=(0.0, limit)),
        solve=lambda a, arl: range_limit(a.size, arl),
        usual=None,
        unit=to_say("standard deviations of a bore, upper limit alone"),
        of=SPREAD,
    ),
    "sd": Chart(
        run=lambda a, limit, ratio: sd_run_length(a.size, ratio=ratio, limits=(0.0, limit)),
        solve=lambda a, arl: sd_limit(a.size, arl),
        usual=None,
        unit=to_say("standard deviations of a bore, upper limit alone"),
        of=SPREAD,
    ),
    "ewma": Chart(
        run=_ewma,
        solve=lambda a, arl: ewma_limit(a.weight, arl),
        usual=None,
        unit=to_say("standard deviations of the steady moving average, either side"),
    ),
    "cusum": Chart(run=_cusum, solve=_cusum_limit, usual=None, unit=to_say("standard deviations of a point")),
    "spread-cusum": Chart(
        run=lambda a, limit, ratio: variance_cusum_run_length(_tuned(a), limit, a.size - 1.0, ratio=ratio**2),
        solve=lambda a, arl: variance_cusum_limit(_tuned(a), a.size - 1.0, arl),
        usual=None,
        unit=to_say("variances of a bore"),
        of=SPREAD,
    ),
    "t-squared": Chart(
        run=lambda a, limit, distance: t2_run_length(a.features, limit, distance=distance),
        solve=lambda a, arl: t2_limit(a.features, arl),
        usual=None,
        unit=to_say("of T-squared"),
        of=OF_MEANS,
    ),
    "mewma": Chart(
        run=lambda a, limit, distance: mewma_run_length(a.features, a.weight, limit, distance=distance),
        solve=lambda a, arl: mewma_limit(a.features, a.weight, arl),
        usual=None,
        unit=to_say("of the moving average's T-squared"),
        of=OF_MEANS,
        lasting=False,
    ),
    "rules": Chart(
        run=lambda a, _, shift: rules_run_length(BY_NAME[a.rules].tests, shift=shift),
        solve=None,
        usual=None,
        unit="",
    ),
}
"""The charts that can be asked about, by name."""
MOVING_RANGE = 3.686
