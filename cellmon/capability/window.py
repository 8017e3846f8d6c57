"""What in a window of bores forbids speaking for the bores to come: trend, sorting, repeats, memory."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr, stdtr

from cellmon.errors import NoSpread
from cellmon.stats.summary import as_series, summarise

ALPHA = 0.01
LARGE_TREND = 1.0
"""Way of a trend over the window, in standard deviations about it, below which it does not matter."""
NOTED_CORRELATION = 0.1
"""Correlation of neighbours above which the effective number of bores is stated."""
CLIFF_GAIN = math.log(1000.0)
"""Gain in log-likelihood from cutting the distribution off, from which a cliff is told."""
NEAR = 0.25
"""Standard deviations within which values must come to a limit to be cut off by it."""


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A straight line through the window."""

    way: float
    """From the first bore to the last, in the unit of the values."""
    way_in_sd: float
    """In standard deviations about the line."""
    p_value: float
    matters: bool


@dataclass(frozen=True, kw_only=True)
class Cliff:
    """Bores that end at a limit as no process does."""

    limit: float
    missing: float
    """Bores beyond the limit for every one inside, by the distribution that was cut off."""
    gain: float
    """In log-likelihood, from cutting the distribution off at the limit."""
    found: bool


@dataclass(frozen=True, kw_only=True)
class EffectiveBores:
    """What correlated bores are worth beside independent ones."""

    correlation: float
    """Of neighbours."""
    for_mean: float
    for_spread: float
    noted: bool
    """The correlation is above `NOTED_CORRELATION`, and the numbers are less than the count."""


def effective_bores(values: ArrayLike) -> EffectiveBores:
    """Return how many independent bores the bores in making order are worth.

    References
    ----------
    Bayley and Hammersley, Journal of the Royal Statistical Society Supplement 8 (1946), 184-197, for
    neighbours whose correlation dies out by powers: n (1 - r) / (1 + r) for the mean,
    n (1 - r^2) / (1 + r^2) for the spread.

    >>> effective_bores([1.0, 3.0, 2.0, 4.0, 1.5, 3.5]).noted
    False
    """
    found = summarise(values)
    r = found.r1 if math.isfinite(found.r1) else 0.0
    if r <= NOTED_CORRELATION:
        return EffectiveBores(correlation=r, for_mean=found.n, for_spread=found.n, noted=False)
    r_used = min(r, 0.99)
    return EffectiveBores(
        correlation=r,
        for_mean=max(found.n * (1 - r_used) / (1 + r_used), 2.0),
        for_spread=max(found.n * (1 - r_used**2) / (1 + r_used**2), 2.0),
        noted=True,
    )


def find_trend(values: ArrayLike) -> Trend:
    """Test for a straight trend over the window; correlation of what is left over is allowed for.

    Parameters
    ----------
    values : array_like, shape (n,)
        At least ten bores in making order.

    References
    ----------
    Least squares with the effective number of bores in place of their count (see `effective_bores`).
    """
    x = as_series(values, need=10, what="bores for a trend")
    time = np.linspace(-0.5, 0.5, x.size)
    slope = float(time @ (x - x.mean())) / float(time @ time)
    left = x - x.mean() - slope * time
    squares = float(left @ left)
    if squares <= 1e-20 * float(x @ x):
        raise NoSpread("bores about a trend")
    worth = effective_bores(left).for_mean
    df = max(worth - 2, 1.0)
    sd = math.sqrt(squares / (x.size - 2))
    error = sd / math.sqrt(float(time @ time) * worth / x.size)
    p_value = 2 * float(stdtr(df, -abs(slope) / error))
    return Trend(
        way=slope,
        way_in_sd=slope / sd,
        p_value=p_value,
        matters=p_value < ALPHA and abs(slope) / sd >= LARGE_TREND,
    )


def find_cliff(values: ArrayLike, *, limit: float, side: str) -> Cliff:
    """Test whether bores were sorted at a limit: the distribution ends there as if cut off.

    The normal distribution cut off at the limit is held against the whole one. Values beyond the
    limit, or none near it, mean no cliff.

    Parameters
    ----------
    values : array_like, shape (n,)
    limit : float
        A tolerance limit, or the limit inside it at which bores are accepted.
    side : str
        `upper` or `lower`.

    References
    ----------
    Cohen, Annals of Mathematical Statistics 21 (1950), 557-569 (truncated normal samples). A gain of
    log 1000 has a chance near 1 in 1000 where nothing was sorted.
    """
    if side not in ("upper", "lower"):
        raise ValueError(f"upper or lower, not {side}")
    x = as_series(values, need=10, what="bores for a cliff")
    sign = 1.0 if side == "upper" else -1.0
    sd, mean = float(x.std()), float(x.mean())
    if sd <= 0:
        raise NoSpread("bores for a cliff")
    z, end = sign * (x - mean) / sd, sign * (limit - mean) / sd
    if z.max() > end or z.max() < end - NEAR:
        return Cliff(limit=limit, missing=0.0, gain=0.0, found=False)
    centre, log_sd, loss = _cut_normal(end)
    inside = float(log_ndtr((end - centre) / math.exp(log_sd)))
    gain = x.size * (0.5 - loss)
    return Cliff(limit=limit, missing=math.expm1(-inside), gain=gain, found=gain >= CLIFF_GAIN)


def count_repeats(names: ArrayLike) -> int:
    """Return how many rows are of a bore that was measured before.

    >>> count_repeats(["a", "b", "a", "a"])
    2
    """
    found = np.asarray(names).tolist()
    return len(found) - len(set(found))


def distinct_steps(values: ArrayLike) -> int:
    """Return how many different values lie within three standard deviations of the mean.

    Few mean a gauge too coarse for the spread. *Common practice, no source*: at least five.
    """
    x = as_series(values, what="bores for their steps")
    return int(np.unique(x[np.abs(x - x.mean()) <= 3 * x.std(ddof=1)]).size)


def _cut_normal(end: float) -> tuple[float, float, float]:
    """Return centre, log of spread and loss a value of the cut normal nearest to standardised values.

    The loss needs their mean of 0 and mean square of 1 only; found on a grid drawn closer four times.
    """
    middle, reach = np.array([0.5, 0.3]), np.array([6.0, 1.5])
    loss = np.inf
    for _ in range(5):
        steps = np.linspace(-1.0, 1.0, 41)
        centre = middle[0] + reach[0] * steps[:, None]
        log_sd = middle[1] + reach[1] * steps[None, :]
        sd = np.exp(log_sd)
        found = (1 + centre**2) / (2 * sd**2) + log_sd + log_ndtr((end - centre) / sd)
        at = np.unravel_index(int(found.argmin()), found.shape)
        middle = np.array([float(centre[at[0], 0]), float(log_sd[0, at[1]])])
        loss, reach = float(found[at]), reach / 8
    return float(middle[0]), float(middle[1]), loss
