"""What the three-sigma rule costs: false alarms of charts whose process has not moved.

Chances hold for independent normal bores and known limits; serial correlation, skewed features and
limits from few subgroups make more (see docs/limits of the method).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammainc, gammaincc

from cellmon.stats.constants import chart_factors, per_size, range_cdf
from cellmon.stats.normal import share_above

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class FalseAlarmCost:
    """False alarms to expect in a week."""

    xbar: float
    range: float
    total: float


def mean_false_alarm(*, width: float = 3.0) -> float:
    """Return the chance that the mean of an unmoved process lies beyond its limits, either side.

    >>> round(mean_false_alarm(), 7)
    0.0026998
    """
    return 2 * float(share_above(width))


def range_false_alarm(n: ArrayLike) -> Floats:
    """Return the chance that the range of n bores lies beyond its three-sigma limits, either side.

    From the distribution of the range itself, which is far from normal; nan for n below 2.

    >>> round(float(range_false_alarm(5)), 4)
    0.0046
    """
    return per_size(_one_range, n)


def sd_false_alarm(n: ArrayLike) -> Floats:
    """Return the chance that the standard deviation of n bores lies beyond its limits, either side."""
    return per_size(_one_sd, n)


def false_alarms_per_week(points_per_week: ArrayLike, n: ArrayLike) -> FalseAlarmCost:
    """Return the false alarms of X-bar and R charts together, for all charts given.

    Parameters
    ----------
    points_per_week : array_like
        Subgroups a week of each chart.
    n : array_like of int
        Bores in a subgroup of each; broadcast. A chart of single bores (n = 1) has no range.

    Examples
    --------
    >>> cost = false_alarms_per_week([1140.0] * 16, 5)
    >>> round(cost.xbar), round(cost.range)
    (49, 84)
    """
    points, sizes = np.broadcast_arrays(np.asarray(points_per_week, dtype=np.float64), np.asarray(n))
    xbar = float(points.sum()) * mean_false_alarm()
    spread = float((points * np.nan_to_num(range_false_alarm(sizes), nan=0.0)).sum())
    return FalseAlarmCost(xbar=xbar, range=spread, total=xbar + spread)


def _one_range(n: int) -> float:
    factors = chart_factors(n)
    below, until = range_cdf([factors.D1, factors.D2], n)
    return float(below + (1 - until))


def _one_sd(n: int) -> float:
    """(n - 1) s^2 / sigma^2 is chi-square: gamma functions of half of it."""
    factors, half = chart_factors(n), (n - 1) / 2
    below = float(gammainc(half, half * factors.B5**2))
    return below + float(gammaincc(half, half * factors.B6**2))
