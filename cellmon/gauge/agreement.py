"""Whether two gauges agree on the same bores: difference, limits of agreement, and a line where it pays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import nctdtrit, stdtrit

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.intervals import Interval
from cellmon.stats.normal import quantile
from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
ENOUGH_SPREAD = 3.0
"""A line is drawn where the bores spread so many times as far as the gauges repeat."""


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """First gauge less second, in the unit of the readings."""

    n: int
    blocks: int
    """Independent groups of bores; the intervals count these."""
    difference: float
    difference_interval: Interval
    sd: float
    lower: float
    lower_interval: Interval
    upper: float
    upper_interval: Interval
    """The limits hold 95 % of the differences of single bores."""


@dataclass(frozen=True, kw_only=True)
class GaugeLine:
    """Second gauge against first, both with errors; a slope of 1 says they scale alike."""

    slope: float
    slope_interval: Interval
    at: float
    """Mean of the first gauge, where the line passes through `level`."""
    level: float


def agreement(
    first: ArrayLike,
    second: ArrayLike,
    *,
    block: ArrayLike | None = None,
    confidence: float = 0.95,
    holds: float = 0.95,
) -> Agreement:
    """Return difference and limits of agreement of two gauges on the same bores.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        What each read of the same bores, at least three.
    block : array_like, optional
        Which block each bore is of. Bores of one block share temperature and moment, so intervals count
        blocks: the mean of each for the difference, their number for the limits.

    References
    ----------
    Bland and Altman, Lancet 327 (1986), 307-310; Carkeet, Optometry and Vision Science 92 (2015), for
    the exact intervals of the limits. From memory.
    """
    d = as_series(first, need=3, what="bores measured by both gauges")
    d = d - as_series(second, need=3, what="bores measured by both gauges")
    mean, sd = float(d.mean()), float(d.std(ddof=1))
    if d.max() == d.min():
        raise NoSpread("the differences of the two gauges")
    means = d if block is None else _block_means(d, np.asarray(block).astype(str))
    if len(means) < 3:
        raise NotEnoughData("blocks measured by both gauges", need=3, got=len(means))
    n = len(means)
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * float(means.std(ddof=1)) / math.sqrt(n)
    z = float(quantile((1 + holds) / 2))
    upper = _limit(mean, sd, z, n, confidence)
    return Agreement(
        n=len(d),
        blocks=n,
        difference=mean,
        difference_interval=Interval(low=mean - half, high=mean + half, confidence=confidence),
        sd=sd,
        lower=mean - z * sd,
        lower_interval=Interval(low=2 * mean - upper.high, high=2 * mean - upper.low, confidence=confidence),
        upper=mean + z * sd,
        upper_interval=upper,
    )


def _limit(mean: float, sd: float, z: float, n: int, confidence: float) -> Interval:
    """Return the exact interval of mean + z sigma: a quantile of a normal population."""
    root = math.sqrt(n)
    low, high = (float(nctdtrit(n - 1, z * root, p)) for p in ((1 - confidence) / 2, (1 + confidence) / 2))
    return Interval(low=mean + sd * low / root, high=mean + sd * high / root, confidence=confidence)


def _block_means(d: Floats, block: NDArray[np.str_]) -> Floats:
    _, number = np.unique(block, return_inverse=True)
    return np.bincount(number, weights=d) / np.bincount(number)


def spread_allows(first: ArrayLike, second: ArrayLike, *, u_first: float, u_second: float) -> bool:
    """Return whether the bores spread far enough, beside the gauges' own errors, for a line to speak."""
    middle = (as_series(first) + as_series(second)) / 2
    return float(middle.std(ddof=1)) >= ENOUGH_SPREAD * math.hypot(u_first, u_second) / 2


def gauge_line(
    first: ArrayLike,
    second: ArrayLike,
    *,
    u_first: float,
    u_second: float,
    confidence: float = 0.95,
) -> GaugeLine:
    """Return the line between two gauges that both err, its slope with an interval by leaving out one.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        What each read of the same bores, at least five.
    u_first, u_second : float
        Standard uncertainty of one figure of each, above 0; only their ratio matters.

    References
    ----------
    Deming, Statistical Adjustment of Data (1943); Linnet, Clinical Chemistry 39 (1993), for the
    interval. From memory; with equal errors it is the first principal axis, which the tests compute.
    """
    x, y = as_series(first, need=5, what="bores of a line"), as_series(second, need=5, what="bores of a line")
    if not (u_first > 0 and u_second > 0):
        raise ValueError("both standard uncertainties above 0")
    ratio = (u_second / u_first) ** 2
    n = len(x)
    a, b = x - x.mean(), y - y.mean()
    slope = float(_slopes(a, b, ratio, np.zeros((2, 1)), n)[0])
    without = _slopes(a, b, ratio, np.stack((a, b)), n - 1)
    pseudo = n * slope - (n - 1) * without
    half = float(stdtrit(n - 2, (1 + confidence) / 2)) * float(pseudo.std(ddof=1)) / math.sqrt(n)
    return GaugeLine(
        slope=slope,
        slope_interval=Interval(low=slope - half, high=slope + half, confidence=confidence),
        at=float(x.mean()),
        level=float(y.mean()),
    )


def _slopes(a: Floats, b: Floats, ratio: float, taken: Floats, left: int) -> Floats:
    """Return the slope of centred points with each of some points taken out, `taken` of shape (2, k)."""
    u, v = taken
    mean_a, mean_b = -u / left, -v / left  # of the points that stay: all sum to nought
    xx = (a @ a - u * u) / left - mean_a**2
    yy = (b @ b - v * v) / left - mean_b**2
    xy = (a @ b - u * v) / left - mean_a * mean_b
    lean = yy - ratio * xx
    with np.errstate(divide="ignore", invalid="ignore"):
        found = (lean + np.sqrt(lean * lean + 4 * ratio * xy * xy)) / (2 * xy)
    return np.asarray(found, dtype=np.float64)
