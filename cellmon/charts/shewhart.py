"""Three-sigma limits of means, ranges, standard deviations and single values, for any sizes.

The spread inside subgroups of unequal size is the mean of the estimates of each, weighted by how
sure each is; for equal sizes that is the mean range over d2. Single values are subgroups of one, their
moving ranges those of two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.constants import c4, chart_factors, d2, d3, df_of_spread, per_size
from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
LEAST_SUBGROUPS = 20
"""Below this nothing is called a limit."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """Limits of a chart, in the unit of its readings; one entry a size where sizes differ."""

    lower: Floats
    centre: Floats
    upper: Floats


@dataclass(frozen=True, kw_only=True)
class Spread:
    """An estimate of the standard deviation inside subgroups, and what it is worth."""

    sigma: float
    df: float
    """Degrees of freedom of a standard deviation that is as sure."""


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """What later subgroups are held against, micrometres from nominal."""

    centre_um: float
    sigma_um: float
    """Standard deviation inside a subgroup, not of its mean."""
    df: float
    """Degrees of freedom behind `sigma_um`."""
    n: int
    """Bores."""
    subgroups: int


def mean_limits(centre_um: ArrayLike, sigma_um: ArrayLike, n: ArrayLike, *, width: float = 3.0) -> Limits:
    """Return the limits of means of n bores: centre -+ width sigma / sqrt(n).

    References
    ----------
    ISO 7870-2; NIST/SEMATECH e-Handbook, section 6.3.2.1.

    Examples
    --------
    >>> float(mean_limits(12.0, 2.0, 4).upper)
    15.0
    """
    centre = np.asarray(centre_um, dtype=np.float64)
    half = width * np.asarray(sigma_um, dtype=np.float64) / np.sqrt(np.asarray(n, dtype=np.float64))
    return Limits(lower=centre - half, centre=centre + 0 * half, upper=centre + half)


def range_limits(sigma_um: ArrayLike, n: ArrayLike) -> Limits:
    """Return the three-sigma limits of ranges of n bores: D1, d2, D2 times sigma."""
    sigma = np.asarray(sigma_um, dtype=np.float64)
    return Limits(
        lower=per_size(lambda k: chart_factors(k).D1, n) * sigma,
        centre=per_size(d2, n) * sigma,
        upper=per_size(lambda k: chart_factors(k).D2, n) * sigma,
    )


def sd_limits(sigma_um: ArrayLike, n: ArrayLike) -> Limits:
    """Return the three-sigma limits of standard deviations of n bores: B5, c4, B6 times sigma."""
    sigma = np.asarray(sigma_um, dtype=np.float64)
    return Limits(
        lower=per_size(lambda k: chart_factors(k).B5, n) * sigma,
        centre=per_size(c4, n) * sigma,
        upper=per_size(lambda k: chart_factors(k).B6, n) * sigma,
    )


def moving_range(x: ArrayLike, *, span: int = 2) -> Floats:
    """Return the range of each value and the span - 1 before it; nan where there are too few.

    >>> moving_range([1.0, 4.0, 2.0])
    array([nan,  3.,  2.])
    """
    values = np.asarray(x, dtype=np.float64)
    if values.ndim != 1:
        raise TypeError(f"expected one dimension, got {values.ndim}")
    if span < 2:
        raise NotEnoughData("values in a moving range", need=2, got=span)
    result = np.full(values.size, np.nan)
    if values.size >= span:
        windows = np.lib.stride_tricks.sliding_window_view(values, span)
        result[span - 1 :] = windows.max(axis=1) - windows.min(axis=1)
    return result


def sigma_from_ranges(ranges: ArrayLike, n: ArrayLike) -> Spread:
    """Estimate sigma from ranges of subgroups of any sizes, with least variance.

    Each range over its d2 estimates sigma with a variance of d3^2 / d2^2; the weights are the
    inverse of that. With equal sizes this is the mean range over d2.

    Parameters
    ----------
    ranges : array_like, shape (k,)
    n : int or array_like of int
        Bores in each subgroup, at least 2.

    References
    ----------
    Burr, Control charts for measurements with varying sample sizes, Journal of Quality Technology 1
    (1969), 163-167 (from memory; for equal sizes ISO 7870-2).
    """
    r = as_series(ranges, need=1, what="ranges")
    sizes = np.broadcast_to(np.asarray(n), r.shape)
    if int(sizes.min()) < 2:
        raise NotEnoughData("bores in each subgroup", need=2, got=int(sizes.min()))
    mean, sd = per_size(d2, sizes), per_size(d3, sizes)
    weights = 1 / (sd / mean) ** 2
    sigma = float((weights * (r / mean)).sum() / weights.sum())
    return Spread(sigma=sigma, df=df_of_spread(1 / float(weights.sum())))


def baseline_from_ranges(means: ArrayLike, ranges: ArrayLike, n: ArrayLike) -> Baseline:
    """Set a baseline from means and ranges of subgroups; those of fewer than 2 bores are left out.

    Parameters
    ----------
    means, ranges : array_like, shape (k,)
        Micrometres; nan where a subgroup has none, such a subgroup is left out.
    n : int or array_like of int
        Measured bores in each.

    Raises
    ------
    NotEnoughData
        With fewer than 20 subgroups that can be used.
    NoSpread
        When all ranges are zero.
    """
    m, r = np.asarray(means, dtype=np.float64), np.asarray(ranges, dtype=np.float64)
    sizes = np.broadcast_to(np.asarray(n), m.shape)
    use = np.isfinite(m) & np.isfinite(r) & (sizes >= 2)
    if int(use.sum()) < LEAST_SUBGROUPS:
        raise NotEnoughData("subgroups for a baseline", need=LEAST_SUBGROUPS, got=int(use.sum()))
    spread = sigma_from_ranges(r[use], sizes[use])
    if not spread.sigma > 0:
        raise NoSpread("subgroups for a baseline")
    return Baseline(
        centre_um=float(np.average(m[use], weights=sizes[use])),
        sigma_um=spread.sigma,
        df=spread.df,
        n=int(sizes[use].sum()),
        subgroups=int(use.sum()),
    )


def beyond(values: ArrayLike, limits: Limits) -> Whole:
    """Return for each value -1 below its lower limit, +1 above its upper, else 0: on a limit, or nan.

    >>> beyond([2.0, 15.0, 15.1], mean_limits(12.0, 2.0, [4, 4, 4]))
    array([-1,  0,  1])
    """
    x = np.asarray(values, dtype=np.float64)
    return np.asarray((x > limits.upper).astype(np.int64) - (x < limits.lower).astype(np.int64))
