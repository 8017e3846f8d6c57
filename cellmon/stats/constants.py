"""Constants of the range and the standard deviation of normal samples, computed for any size.

d2 and d3 are the mean and the standard deviation of the range of n standard normal values (Tippett,
Biometrika 17, 1925), c4 the mean of their standard deviation. The factors of control charts follow
from these three (ISO 7870-2; ASTM Manual 7). Nothing here is typed from a table.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from cellmon.errors import NotEnoughData

Floats = NDArray[np.float64]

# The integrand in x is smooth and dies out at both ends, where the trapezoid rule converges faster
# than any power of its step; 0.05 leaves an error below 1e-14 up to n = 100,000.
_X_STEP = 0.05
_X = np.arange(-10.0, 10.0 + _X_STEP / 2, _X_STEP)
_WIDEST = 24.0  # no range of up to a million normal values reaches this but for one case in 1e30


@dataclass(frozen=True, kw_only=True)
class ChartFactors:
    """Factors of three-sigma charts for samples of `n`; upper case as every text prints them."""

    n: int
    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float
    E2: float


def range_cdf(w: ArrayLike, n: int) -> Floats:
    """Return the probability that the range of n standard normal values is at most w.

    Parameters
    ----------
    w : array_like
        Ranges, in standard deviations of a single value.
    n : int
        Values in the sample, at least 2.

    References
    ----------
    Tippett (1925): F(w) = n times the integral of phi(x) [Phi(x + w) - Phi(x)]^(n - 1).
    """
    _need_two(n)
    widths = np.asarray(w, dtype=np.float64)
    flat = np.clip(widths.ravel(), 0.0, _WIDEST)
    result = np.empty(flat.shape)
    weights = _x_weights()
    for start in range(0, flat.size, 4096):  # bounds the memory of the grid
        part = flat[start : start + 4096]
        inside = ndtr(_X + part[:, None]) - ndtr(_X)
        result[start : start + 4096] = n * (inside ** (n - 1) @ weights)
    result[np.isnan(widths.ravel())] = np.nan
    return np.minimum(result, 1.0).reshape(widths.shape)


def d2(n: int) -> float:
    """Return the mean range of n standard normal values.

    >>> round(d2(5), 6)
    2.325929
    """
    return _range_moments(n)[0]


def d3(n: int) -> float:
    """Return the standard deviation of the range of n standard normal values.

    >>> round(d3(5), 6)
    0.864082
    """
    return _range_moments(n)[1]


def c4(n: int) -> float:
    """Return the mean of the standard deviation (divisor n - 1) of n standard normal values.

    >>> round(c4(5), 6)
    0.939986
    """
    _need_two(n)
    return mean_of_chi(n - 1)


def mean_of_chi(df: float) -> float:
    """Return the mean of sqrt(chi-square / df): sqrt(2 / df) Gamma((df + 1) / 2) / Gamma(df / 2).

    From 60 degrees of freedom by Stirling's series, where the gamma functions would cancel.
    """
    if df < 60:
        return math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2) - math.log(df / 2) / 2)
    return math.exp(-1 / (4 * df) + 1 / (24 * df**3) - 1 / (20 * df**5))


@lru_cache(maxsize=1024)
def chart_factors(n: int) -> ChartFactors:
    """Return all three-sigma factors for samples of n.

    A2, D3, D4 take the mean range, A3, B3, B4 the mean standard deviation, B5, B6, D1, D2 a known
    sigma; E2 = 3 / d2 takes the mean of moving ranges of n successive single values.

    Raises
    ------
    NotEnoughData
        For n below 2.

    >>> round(chart_factors(5).A2, 4), round(chart_factors(5).D4, 4)
    (0.5768, 2.1145)
    """
    mean_range, sd_range, mean_sd = d2(n), d3(n), c4(n)
    sd_sd = math.sqrt(_one_minus_square(n - 1))
    lowest_range, lowest_sd = max(0.0, mean_range - 3 * sd_range), max(0.0, mean_sd - 3 * sd_sd)
    highest_range, highest_sd = mean_range + 3 * sd_range, mean_sd + 3 * sd_sd
    return ChartFactors(
        n=n,
        d2=mean_range,
        d3=sd_range,
        c4=mean_sd,
        A2=3 / (mean_range * math.sqrt(n)),
        A3=3 / (mean_sd * math.sqrt(n)),
        B3=lowest_sd / mean_sd,
        B4=highest_sd / mean_sd,
        B5=lowest_sd,
        B6=highest_sd,
        D1=lowest_range,
        D2=highest_range,
        D3=lowest_range / mean_range,
        D4=highest_range / mean_range,
        E2=3 / mean_range,
    )


def d2_star(m: int, g: int) -> float:
    """Return the divisor that makes the square of a mean of g ranges of m values unbiased.

    References
    ----------
    Duncan, Quality Control and Industrial Statistics: sqrt(d2^2 + d3^2 / g).
    """
    if g < 1:
        raise NotEnoughData("ranges", need=1, got=g)
    return math.hypot(d2(m), d3(m) / math.sqrt(g))


def d2_star_df(m: int, g: int) -> float:
    """Return the effective degrees of freedom of a mean of g ranges of m values.

    Those of the chi variable with the same coefficient of variation (Patnaik, Biometrika 37, 1950).
    """
    if g < 1:
        raise NotEnoughData("ranges", need=1, got=g)
    return df_of_spread((d3(m) / d2(m)) ** 2 / g)


def df_of_spread(relative_variance: float) -> float:
    """Return the degrees of freedom of the chi variable whose variance over squared mean is given.

    Turns any estimate of sigma with a known coefficient of variation into degrees of freedom for
    an interval.
    """
    if not relative_variance > 0:
        raise ValueError(f"a relative variance above 0, not {relative_variance}")
    low, high = 1e-3, 1e12
    for _ in range(200):
        middle = math.sqrt(low * high)
        mean = mean_of_chi(middle)
        if _one_minus_square(middle) / mean**2 > relative_variance:
            low = middle
        else:
            high = middle
        if high / low < 1 + 1e-14:
            break
    return math.sqrt(low * high)


def per_size(constant: Callable[[int], float], n: ArrayLike) -> Floats:
    """Return a constant for each of an array of sample sizes, nan where a size is below 2."""
    sizes = np.asarray(n)
    if sizes.size and (sizes == sizes.flat[0]).all():  # as subgroups mostly are
        found, where = sizes.ravel()[:1], np.zeros(sizes.shape, dtype=np.int64)
    else:
        found, where = np.unique(sizes, return_inverse=True)
    values = np.array([constant(int(size)) if size >= 2 else np.nan for size in found], dtype=np.float64)
    return np.asarray(values[where.reshape(sizes.shape)], dtype=np.float64)


def _need_two(n: int) -> None:
    if n < 2:
        raise NotEnoughData("values in a sample", need=2, got=int(n))


def _one_minus_square(df: float) -> float:
    """Return 1 - mean_of_chi(df)^2 without loss of digits at many degrees of freedom."""
    if df < 60:
        return 1 - mean_of_chi(df) ** 2
    return -math.expm1(-1 / (2 * df) + 1 / (12 * df**3) - 1 / (10 * df**5))


@lru_cache(maxsize=1)
def _x_weights() -> Floats:
    return np.asarray(_X_STEP * np.exp(-(_X**2) / 2) / math.sqrt(2 * math.pi), dtype=np.float64)


@lru_cache(maxsize=1)
def _grid() -> tuple[Floats, Floats, Floats]:
    """Return range nodes, their weights, and the chance of one value to fall inside each range."""
    nodes, weights = np.polynomial.legendre.leggauss(160)
    w = _WIDEST / 2 * (nodes + 1)
    return w, _WIDEST / 2 * weights, ndtr(_X + w[:, None]) - ndtr(_X)


@lru_cache(maxsize=1024)
def _range_moments(n: int) -> tuple[float, float]:
    """Return mean and standard deviation of the range: E W = int 1-F, E W^2 = 2 int w (1-F)."""
    _need_two(n)
    w, weights, inside = _grid()
    beyond = 1 - n * (inside ** (n - 1) @ _x_weights())
    mean = float(weights @ beyond)
    square = 2 * float((weights * w) @ beyond)
    return mean, math.sqrt(square - mean**2)
