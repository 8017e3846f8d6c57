"""Run lengths where limits were estimated: each cell gets its own, and few get the promised one.

From m subgroups of n the centre is off by N(0, 1/m) standard errors of a mean, and the estimated
sigma is the true one times a chi variable over its root of degrees of freedom (exact for pooled
deviations; for mean ranges Patnaik's approximation). Given both, a chart is an ordinary one with a
shift and a spread; what it does on average, and how it scatters, are integrals over the two.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtr, chdtri, gammaln, ndtr, stdtr, stdtrit

from cellmon.charts.run_length.operators import gauss
from cellmon.errors import NotEnoughData
from cellmon.stats.constants import d2, d2_star, d2_star_df

Floats = NDArray[np.float64]
_CENTRES = 40


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """How good an estimate is: the chi variable behind sigma, and the subgroups behind the centre."""

    subgroups: int
    df: float
    scale: float
    """Estimated over true sigma is `scale` sqrt(chi-square / df)."""


@dataclass(frozen=True, kw_only=True)
class EstimatedRun:
    """What means with estimated limits do, over all baselines that could have been."""

    chance: float
    """Of a false alarm at a point, averaged over baselines."""
    mean: float
    """Mean run length, averaged over baselines: a few very lucky ones make it large."""
    known: float
    """Mean run length with known parameters."""


def baseline_of(subgroups: int, n: int, *, from_ranges: bool = True) -> Baseline:
    """Return how good limits from so many subgroups of n bores are.

    Raises
    ------
    NotEnoughData
        Below 2 subgroups or 2 bores.
    """
    if min(subgroups, n) < 2:
        raise NotEnoughData("subgroups, and bores in each", need=2, got=min(subgroups, n))
    if not from_ranges:
        return Baseline(subgroups=subgroups, df=subgroups * (n - 1.0), scale=1.0)
    return Baseline(subgroups=subgroups, df=d2_star_df(n, subgroups), scale=d2_star(n, subgroups) / d2(n))


def estimated_run(base: Baseline, *, width: float = 3.0) -> EstimatedRun:
    """Return what means do whose limits, centre +- width estimated errors, came from a baseline.

    Raises
    ------
    NotEnoughData
        When there are so few degrees of freedom that the mean run length has no bound: not above width^2.

    References
    ----------
    Quesenberry, Journal of Quality Technology 25 (1993), 237-247, for the effect (from memory).

    Examples
    --------
    >>> round(estimated_run(baseline_of(25, 5)).chance, 5)
    0.00404
    """
    if base.df <= width**2 + 1:
        raise NotEnoughData("degrees of freedom behind sigma", need=math.ceil(width**2 + 2), got=int(base.df))
    t = width * base.scale / math.sqrt(1 + 1 / base.subgroups)
    chance = 2 * float(stdtr(base.df, -t))
    off, weight = _centres(base)
    ratio, density = _ratios(base, width)
    alarm = _chance(width, off[:, None], ratio)
    return EstimatedRun(
        chance=chance,
        mean=float(weight @ (1 / alarm) @ density),
        known=1 / float(_chance(width, np.zeros(1), np.ones(1))[0]),
    )


def share_shorter(base: Baseline, points: ArrayLike, *, width: float = 3.0) -> Floats:
    """Return the share of baselines whose mean run length comes out below so many points.

    >>> base = baseline_of(100, 5)
    >>> low, high = share_shorter(base, [0.8 * 370.4, 1.2 * 370.4])
    >>> round(float(high - low), 2)
    0.42
    """
    wanted = np.atleast_1d(np.asarray(points, dtype=np.float64))
    off, weight = _centres(base)
    low, high = np.zeros((off.size, wanted.size)), np.full((off.size, wanted.size), 20.0 / width)
    for _ in range(60):  # the ratio of sigmas at which just this run length results
        middle = (low + high) / 2
        shorter = _chance(width, off[:, None], middle) * wanted > 1
        low, high = np.where(shorter, middle, low), np.where(shorter, high, middle)
    share = weight @ chdtr(base.df, base.df * (low / base.scale) ** 2)
    return np.asarray(share.reshape(np.shape(points)), dtype=np.float64)


def run_length_quantile(base: Baseline, share: float, *, width: float = 3.0) -> float:
    """Return the mean run length that a share of baselines stays below.

    >>> round(run_length_quantile(baseline_of(25, 5), 0.05), -1)
    100.0
    """
    from scipy.optimize import brentq  # late: slow to import

    if not 0 < share < 1:
        raise ValueError(f"a share between 0 and 1, not {share}")
    where = brentq(lambda x: float(share_shorter(base, math.exp(x), width=width)) - share, 0.01, 40.0)
    return math.exp(where)


def widened(base: Baseline, *, chance: float = 0.0026997960632601866) -> float:
    """Return the width at which the chance of a false alarm, over all baselines, is as promised.

    Student's quantile times sqrt(1 + 1 / m): exact for pooled deviations. The usual three sigma are
    its limit for large baselines.

    References
    ----------
    Hillier, Journal of Quality Technology 1 (1969), 17-26, for the principle (from memory).

    Examples
    --------
    >>> round(widened(baseline_of(25, 5)), 3)
    3.137
    """
    _share(chance)
    t = -float(stdtrit(base.df, chance / 2))
    return t * math.sqrt(1 + 1 / base.subgroups) / base.scale


def guarded_width(base: Baseline, *, arl: float = 370.4, confidence: float = 0.9) -> float:
    """Return the width with which that share of baselines runs for at least `arl` points on average.

    >>> width = guarded_width(baseline_of(25, 5))
    >>> round(float(share_shorter(baseline_of(25, 5), 370.4, width=width)), 3)
    0.1
    """
    from scipy.optimize import brentq  # late: slow to import

    _share(confidence)
    return float(
        brentq(lambda width: float(share_shorter(base, arl, width=width)) - (1 - confidence), 0.5, 19.0)
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class ConditionalMeans:
    """Mean run lengths over a grid of baselines; any chart."""

    base: Baseline
    ratio: Floats
    """Estimated over true sigma, rising, shape (r,)."""
    means: Floats
    """Shape (centres, r)."""
    centre_weights: Floats
    ratio_weights: Floats

    @property
    def mean(self) -> float:
        """Averaged over baselines."""
        return float(self.centre_weights @ self.means @ self.ratio_weights)


def over_baselines(
    mean_at: Callable[[float, float], float], base: Baseline, *, nodes: int = 15
) -> ConditionalMeans:
    """Return the mean run lengths of any chart over baselines, centres and sigmas `nodes` each.

    Parameters
    ----------
    mean_at : callable
        (shift, sd) of points as the chart sees them to its mean run length, as `ewma_arl` takes.
    base : Baseline

    Examples
    --------
    >>> from cellmon.charts.run_length.shewhart import mean_run_length
    >>> base = baseline_of(100, 5)
    >>> found = over_baselines(lambda shift, sd: mean_run_length(3.0, shift=shift, sd=sd).mean, base)
    >>> round(found.mean / estimated_run(base).mean, 3)
    1.0
    """
    off, share = _hermite(base, nodes)
    ratio, density = _quantiles(base, nodes)
    means = [[mean_at(float(u / w), float(1 / w)) for w in ratio] for u in off]
    return ConditionalMeans(
        base=base, ratio=ratio, means=np.array(means), centre_weights=share, ratio_weights=density
    )


def _chance(width: float, off: Floats, ratio: Floats) -> Floats:
    return np.asarray(ndtr(-width * ratio - off) + ndtr(off - width * ratio), dtype=np.float64)


def _centres(base: Baseline) -> tuple[Floats, Floats]:
    return _hermite(base, _CENTRES)


def _hermite(base: Baseline, nodes: int) -> tuple[Floats, Floats]:
    x, w = np.polynomial.hermite_e.hermegauss(nodes)
    return x / math.sqrt(base.subgroups), w / math.sqrt(2 * math.pi)


def _ratios(base: Baseline, width: float) -> tuple[Floats, Floats]:
    """Return ratios of sigmas and their weights, far enough out for 1 / chance times density to end."""
    left = base.df - (width * base.scale) ** 2
    peak, spread = math.sqrt(base.df / max(left, 1.0)), 1 / math.sqrt(2 * max(left, 1.0))
    rule = gauss(max(1e-6, 1 - 12 / math.sqrt(2 * base.df)), peak + 12 * spread, 240)
    return base.scale * rule.at, _chi_density(rule.at, base.df) * rule.weights


def _quantiles(base: Baseline, nodes: int) -> tuple[Floats, Floats]:
    low = math.sqrt(float(chdtri(base.df, 1 - 1e-9)) / base.df)
    high = math.sqrt(float(chdtri(base.df, 1e-9)) / base.df)
    rule = gauss(low, high, nodes)
    density = _chi_density(rule.at, base.df) * rule.weights
    return base.scale * rule.at, np.asarray(density / density.sum())


def _chi_density(w: Floats, df: float) -> Floats:
    """Return the density of sqrt(chi-square / df)."""
    log = (df - 1) * np.log(w) - df * w * w / 2 + math.log(2) + df / 2 * math.log(df / 2)
    return np.asarray(np.exp(log - float(gammaln(df / 2))), dtype=np.float64)


def _share(value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"a share between 0 and 1, not {value}")
