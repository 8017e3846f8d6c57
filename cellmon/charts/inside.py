"""What the bores inside subgroups say of one another: correlation of neighbours, skewness, the gauge's steps.

All of it looks inside subgroups only, so wear and offsets between them change nothing. Intervals come
from leaving out one subgroup at a time (jackknife): they assume no distribution of the bores.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from cellmon.charts.run_length.correlated import within_variance_factor
from cellmon.charts.subgroups import as_subgroups
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.intervals import Interval

Floats = NDArray[np.float64]
LEAST_SUBGROUPS = 10
_FARTHEST = 0.99


@dataclass(frozen=True, kw_only=True)
class Sure:
    """A figure with its interval."""

    value: float
    interval: Interval


def neighbour_correlation(x: ArrayLike, *, confidence: float = 0.95) -> Sure:
    """Return the correlation of neighbouring bores, from squared differences of those in one subgroup.

    Their mean over twice the variance inside subgroups is (1 - r) / (within-subgroup factor of r),
    for a first-order autoregression; that is solved for r.

    Parameters
    ----------
    x : array_like, shape (k, n)
        k subgroups of n bores in making order.

    Raises
    ------
    NotEnoughData
        With fewer than 10 subgroups, or 3 bores in each: of two, difference and spread are one figure.
    NoSpread, GapInReadings
        Where nothing differs, or a value is missing.

    References
    ----------
    von Neumann, Annals of Mathematical Statistics 12 (1941), 367-395, for the ratio (from memory).

    Examples
    --------
    >>> rng = np.random.default_rng(2)
    >>> found = neighbour_correlation(rng.normal(size=(100, 5)))
    >>> found.interval.low < 0 < found.interval.high
    True
    """
    values = _enough(x, bores=3)
    n = values.shape[1]
    squares = (np.diff(values, axis=1) ** 2).sum(axis=1) / (2 * (n - 1))
    spread = values.var(axis=1, ddof=1)

    left_out = (squares.sum() - squares) / (spread.sum() - spread)
    ratio = _jackknife(float(squares.sum() / spread.sum()), left_out, confidence)
    low, high = (_from_ratio(q, n) for q in (ratio.interval.high, ratio.interval.low))
    return Sure(
        value=_from_ratio(ratio.value, n), interval=Interval(low=low, high=high, confidence=confidence)
    )


def skewness_inside(x: ArrayLike, *, confidence: float = 0.95) -> Sure:
    """Return the skewness of single bores about the level of their subgroup.

    Fisher's third k-statistic of each subgroup has the third cumulant as its mean whatever n; the mean
    of those is divided by the pooled standard deviation cubed. Parameters and refusals as
    `neighbour_correlation`.

    References
    ----------
    Fisher, Proceedings of the London Mathematical Society 30 (1929), 199-238, for k-statistics (from memory).

    Examples
    --------
    >>> found = skewness_inside(np.random.default_rng(2).gamma(4.0, size=(400, 5)))
    >>> found.interval.low < 2 / 4.0**0.5 < found.interval.high
    True
    """
    values = _enough(x, bores=3)
    k, n = values.shape
    cubes = ((values - values.mean(axis=1, keepdims=True)) ** 3).sum(axis=1) * n / ((n - 1) * (n - 2))
    spread = values.var(axis=1, ddof=1)

    def of(cube: Floats, variance: Floats) -> Floats:
        return np.asarray(cube / variance**1.5, dtype=np.float64)

    left_out = of((cubes.sum() - cubes) / (k - 1), (spread.sum() - spread) / (k - 1))
    return _jackknife(float(of(cubes.mean(), spread.mean())), left_out, confidence)


def step_of(x: ArrayLike) -> float:
    """Return the smallest step between values that differ: that of the gauge, or of a mean of its readings.

    Raises
    ------
    NoSpread
        When all are the same.

    Examples
    --------
    >>> step_of([1.0, 1.5, 3.0, 1.5])
    0.5
    """
    steps = np.diff(np.unique(np.round(np.asarray(x, dtype=np.float64), 6)))
    if not len(steps):
        raise NoSpread("bores")
    return float(steps.min())


def _from_ratio(ratio: float, n: int) -> float:
    """Return the correlation at which squared differences stand so to the spread; it falls as r rises."""
    from scipy.optimize import brentq  # late: slow to import

    def beyond(r1: float) -> float:
        return (1 - r1) / within_variance_factor(n, r1) - ratio

    if beyond(_FARTHEST) >= 0:
        return _FARTHEST
    return -_FARTHEST if beyond(-_FARTHEST) <= 0 else float(brentq(beyond, -_FARTHEST, _FARTHEST))


def _enough(x: ArrayLike, *, bores: int) -> Floats:
    values = as_subgroups(x)
    if len(values) < LEAST_SUBGROUPS:
        raise NotEnoughData("subgroups", need=LEAST_SUBGROUPS, got=len(values))
    if values.shape[1] < bores:
        raise NotEnoughData("bores in a subgroup", need=bores, got=values.shape[1])
    if not (np.ptp(values, axis=1) > 0).sum() > 1:
        raise NoSpread("bores inside their subgroups")
    return values


def _jackknife(value: float, left_out: ArrayLike, confidence: float) -> Sure:
    others = np.asarray(left_out, dtype=np.float64)
    k = len(others)
    error = math.sqrt((k - 1) / k * float(((others - others.mean()) ** 2).sum()))
    half = float(stdtrit(k - 1, (1 + confidence) / 2)) * error
    around = Interval(low=value - half, high=value + half, confidence=confidence)
    return Sure(value=value, interval=around)
