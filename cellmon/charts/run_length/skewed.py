"""Limits by probability for features that are skewed or cannot fall below nought, and what 3 sigma do there.

A distribution is anything with cdf and ppf, such as one of scipy.stats with its parameters given.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from cellmon.charts.run_length.operators import gauss
from cellmon.stats.constants import chart_factors

Floats = NDArray[np.float64]
_CELLS = 2**14
_BEYOND = 1e-10


class Distribution(Protocol):
    """A continuous distribution."""

    def cdf(self, x: Any, /) -> Any:
        """Return the share at most x."""

    def ppf(self, q: Any, /) -> Any:
        """Return the value that a share q is at most."""


@dataclass(frozen=True, kw_only=True)
class ProbabilityLimits:
    """Limits in the unit of the feature."""

    lower: float | None
    """None for a feature that is judged on its upper side only."""
    centre: float
    """Median: as many points above as below."""
    upper: float


@dataclass(frozen=True, kw_only=True)
class SkewedCharts:
    """Chances of a false alarm of three-sigma charts with limits from mean and mean range."""

    mean_chance: float
    range_chance: float


@dataclass(frozen=True, kw_only=True, eq=False)
class LatticeDistribution:
    """A distribution as shares of narrow cells, straight between their borders."""

    borders: Floats
    below: Floats
    """Share below each border."""

    def cdf(self, x: Any, /) -> Any:
        """Return the share at most x."""
        return np.interp(x, self.borders, self.below)

    def ppf(self, q: Any, /) -> Any:
        """Return the value that a share q is at most."""
        rising = np.concatenate([[True], np.diff(self.below) > 0])
        return np.interp(q, self.below[rising], self.borders[rising])


def probability_limits(
    dist: Distribution, *, arl: float = 370.4, upper_only: bool = False
) -> ProbabilityLimits:
    """Return limits beyond which an unmoved process lies once in `arl` points, half of it either side.

    Parameters
    ----------
    dist : Distribution
        Of a point; of means of n see `mean_of`.
    arl : float
        Up to 1e8.
    upper_only : bool
        True for a feature whose low values are good, such as roundness: all of the chance above.

    References
    ----------
    ISO 7870-1 names limits by probability beside limits by sigma (from memory).

    Examples
    --------
    >>> from scipy.stats import rayleigh
    >>> round(probability_limits(rayleigh(), arl=1000.0, upper_only=True).upper, 4)
    3.7169
    """
    if not 1 < arl <= 1e8:
        raise ValueError(f"a mean run length above 1 and up to 1e8, not {arl}")
    share = 1 / arl if upper_only else 0.5 / arl
    return ProbabilityLimits(
        lower=None if upper_only else float(dist.ppf(share)),
        centre=float(dist.ppf(0.5)),
        upper=float(dist.ppf(1 - share)),
    )


def beyond_chance(dist: Distribution, lower: float | None, upper: float) -> float:
    """Return the chance that a point lies beyond limits."""
    below = 0.0 if lower is None else float(dist.cdf(lower))
    return below + 1 - float(dist.cdf(upper))


def mean_of(dist: Distribution, n: int) -> LatticeDistribution:
    """Return the distribution of means of n independent values, by Fourier transform of narrow cells.

    What lies beyond one in 1e10 is put into the last cells, so tails are known to about that.
    """
    if n < 1:
        raise ValueError(f"at least one value, not {n}")
    low, high = float(dist.ppf(_BEYOND)), float(dist.ppf(1 - _BEYOND))
    if not math.isfinite(low) or not math.isfinite(high):
        raise ValueError("a distribution without quantiles at 1e-10")
    cell = (high - low) / _CELLS
    edges = low + cell * np.arange(_CELLS + 1)
    below = np.asarray(dist.cdf(edges), dtype=np.float64)
    below[0], below[-1] = 0.0, 1.0
    size = 2 ** math.ceil(math.log2(n * _CELLS))
    masses = np.fft.irfft(np.fft.rfft(np.diff(below), size) ** n, size)[: n * (_CELLS - 1) + 1]
    total = np.concatenate([[0.0], np.cumsum(np.maximum(masses, 0.0))])
    # a sum of n cell middles: its own cell lies half a cell about it
    borders = (n * (low + cell / 2) + cell * (np.arange(total.size) - 0.5)) / n
    return LatticeDistribution(borders=borders, below=np.minimum(total / total[-1], 1.0))


def range_share(dist: Distribution, w: float, n: int) -> float:
    """Return the chance that the range of n values is at most w.

    n times the integral over a value's own share u of (F(x(u) + w) - u)^(n - 1).
    """
    rule = gauss(0.0, 1.0, 200)
    u = rule.at**2 * (3 - 2 * rule.at)  # nodes crowd at both ends, where x(u) runs off
    weight = rule.weights * 6 * rule.at * (1 - rule.at)
    inside = np.asarray(dist.cdf(np.asarray(dist.ppf(u)) + w), dtype=np.float64) - u
    return float(n * (np.maximum(inside, 0.0) ** (n - 1) @ weight))


def skewed_charts(dist: Distribution, n: int) -> SkewedCharts:
    """Return what three-sigma charts of means and ranges of n do when nothing moves.

    Limits as set from a very long baseline: grand mean, and mean range with the factors for normal bores.

    Examples
    --------
    >>> from scipy.stats import halfnorm
    >>> found = skewed_charts(halfnorm(), 5)
    >>> round(1 / found.mean_chance), round(1 / found.range_chance)
    (177, 92)
    """
    factors = chart_factors(n)
    sigma = _mean_range(dist, n) / factors.d2
    mean = mean_of(dist, n)
    middles = (mean.borders[:-1] + mean.borders[1:]) / 2
    centre = float(np.diff(mean.below) @ middles)
    half = 3 * sigma / math.sqrt(n)
    return SkewedCharts(
        mean_chance=beyond_chance(mean, centre - half, centre + half),
        range_chance=range_share(dist, factors.D1 * sigma, n) + 1 - range_share(dist, factors.D2 * sigma, n),
    )


def _mean_range(dist: Distribution, n: int) -> float:
    """Return the integral of the chance that the range is beyond w."""
    longest = float(dist.ppf(1 - _BEYOND)) - float(dist.ppf(_BEYOND))
    rule = gauss(0.0, 1.0, 60)
    w, weight = longest * rule.at**2, 2 * longest * rule.at * rule.weights
    return float(weight @ np.array([1 - range_share(dist, float(one), n) for one in w]))
