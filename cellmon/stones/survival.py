"""Lives of sets compared: how many last how long, with sets that still run counted as such."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, gammaincinv, ndtri

from cellmon.errors import NotEnoughData

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Survival:
    """Share of sets that outlast each age at which one ended, with its interval.

    Attributes
    ----------
    bores, share, low, high : ndarray, shape (k,)
        Just after each end.
    at_risk, ended : ndarray, shape (k,)
        Sets that had come so far, and those that ended there.
    """

    bores: Floats
    share: Floats
    low: Floats
    high: Floats
    at_risk: Floats
    ended: Floats

    @property
    def median(self) -> float | None:
        """Bores that half of the sets do not outlast; None while more than half do."""
        reached = np.flatnonzero(self.share <= 0.5)
        return float(self.bores[reached[0]]) if len(reached) else None


def survival(bores: ArrayLike, ended: ArrayLike, *, confidence: float = 0.9) -> Survival:
    """Estimate the share of sets that outlast each age, by Kaplan and Meier's product.

    Parameters
    ----------
    bores : array_like, shape (n,)
        Bores honed by each set so far.
    ended : array_like of bool, shape (n,)
        True where it ended by wear or a chip; False where it still runs or was taken out for another reason.
    confidence : float
        Of the pointwise interval: Greenwood's variance on the scale log(-log S).

    References
    ----------
    Kaplan and Meier, Journal of the American Statistical Association 53 (1958); Kalbfleisch and
    Prentice, The Statistical Analysis of Failure Time Data (1980), section 1.3 (from memory).

    Examples
    --------
    >>> survival([100, 200, 300, 400], [True, True, False, True]).share.round(3).tolist()
    [0.75, 0.5, 0.0]
    """
    known = _Lives.of(bores, ended)
    t, d = known.bores, known.ended
    if not d.any():
        raise NotEnoughData("sets that ended", need=1, got=0)
    ages = np.unique(t[d])
    at_risk = np.array([(t >= age).sum() for age in ages], dtype=np.float64)
    ends = np.array([(d & (t == age)).sum() for age in ages], dtype=np.float64)
    share = np.asarray(np.cumprod(1 - ends / at_risk), dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(ends / (at_risk * (at_risk - ends)))
        half = float(ndtri((1 + confidence) / 2)) * np.sqrt(greenwood) / np.abs(np.log(share))
        low, high = share ** np.exp(half), share ** np.exp(-half)
    inside = (share > 0) & (share < 1)
    return Survival(
        bores=ages,
        share=share,
        low=np.where(inside, low, share),
        high=np.where(inside, high, share),
        at_risk=at_risk,
        ended=ends,
    )


@dataclass(frozen=True, kw_only=True)
class LogRank:
    """Ends of the first group against those expected if both last alike."""

    ended: float
    expected: float
    variance: float
    p_value: float

    @property
    def statistic(self) -> float:
        """Chi-squared with one degree of freedom."""
        return (self.ended - self.expected) ** 2 / self.variance


def log_rank(bores: ArrayLike, ended: ArrayLike, other_bores: ArrayLike, other_ended: ArrayLike) -> LogRank:
    """Test whether two groups of sets last alike.

    References
    ----------
    Mantel, Cancer Chemotherapy Reports 50 (1966); variance by the hypergeometric law (from memory).
    """
    one, two = _Lives.of(bores, ended), _Lives.of(other_bores, other_ended)
    t1, d1, t2, d2 = one.bores, one.ended, two.bores, two.ended
    seen = expected = variance = 0.0
    ages = np.unique(np.concatenate((t1[d1], t2[d2])))
    counts = (_at_risk(t1, ages), _at_risk(t2, ages), _ending(t1[d1], ages), _ending(t2[d2], ages))
    for n1, n2, e1, e2 in zip(*(count.tolist() for count in counts), strict=True):
        ends, n = e1 + e2, n1 + n2
        seen, expected = seen + e1, expected + ends * n1 / n
        if n > 1:
            variance += ends * (n1 / n) * (n2 / n) * (n - ends) / (n - 1)
    if variance <= 0:
        raise NotEnoughData("sets at risk together", need=2, got=1)
    p = float(chdtrc(1, (seen - expected) ** 2 / variance))
    return LogRank(ended=seen, expected=expected, variance=variance, p_value=p)


def _at_risk(bores: Floats, ages: Floats) -> Floats:
    """Return how many lives reach each age."""
    return (len(bores) - np.searchsorted(np.sort(bores), ages)).astype(np.float64)


def _ending(ends: Floats, ages: Floats) -> Floats:
    """Return how many ends lie at each age."""
    inorder = np.sort(ends)
    found = np.searchsorted(inorder, ages, side="right") - np.searchsorted(inorder, ages)
    return found.astype(np.float64)


@dataclass(frozen=True, kw_only=True)
class LifeRatio:
    """How many times as long the first group lasts as the second, with its interval; Weibull lives."""

    value: float
    low: float
    high: float
    shape: float
    """Of the Weibull law both share; above 1 sets age."""
    confidence: float


SHAPES = (0.3, 60.0)
FARTHEST = 20.0
"""A ratio is looked for between 1/20 and 20."""
GRID = 401


def life_ratio(
    bores: ArrayLike,
    ended: ArrayLike,
    other_bores: ArrayLike,
    other_ended: ArrayLike,
    *,
    confidence: float = 0.95,
) -> LifeRatio:
    """Estimate the ratio of two groups' lives under Weibull laws of one shape, by maximum likelihood.

    The interval is where the profile likelihood stays close enough; an end that lies beyond a factor of
    20 is given as that.

    References
    ----------
    Kalbfleisch and Prentice (1980), section 3.4; profile likelihood interval, Cox and Oakes, Analysis of
    Survival Data (1984), section 3.3 (from memory).
    """
    one, two = _Lives.of(bores, ended), _Lives.of(other_bores, other_ended)
    t1, d1, t2, d2 = one.bores, one.ended, two.bores, two.ended
    if not (d1.any() or d2.any()) or d1.sum() + d2.sum() < 2:
        raise NotEnoughData("sets that ended", need=2, got=int(d1.sum() + d2.sum()))
    logs = np.log(np.concatenate((t1, t2)))
    # any middle will do that keeps powers small; one of few digits is the same for every split of the sets
    middle, ends = round(float(logs.mean()), 3), float(d1.sum() + d2.sum())
    grid = _grid()
    log_shape, shape, x = grid.log_shape, grid.shape, grid.x
    lives = np.unique(np.concatenate((t1, t2)))
    powers = _powers(lives.tobytes(), middle)
    one_sum, two_sum = (powers[:, np.searchsorted(lives, t)].sum(axis=1) for t in (t1, t2))
    log_ends = np.log(t1[d1]).sum() + np.log(t2[d2]).sum() - ends * middle

    def likelihood(i: NDArray[np.int64], j: NDArray[np.int64]) -> Floats:
        # the scale at its best for each shape and ratio; times of the first group are taken over the ratio
        both = one_sum[i] * grid.power[i, j] + two_sum[i]
        found = ends * (log_shape[i] - np.log(both / ends)) + shape[i] * (log_ends - d1.sum() * x[j])
        return np.asarray(found, dtype=np.float64)

    every = np.arange(GRID)
    profile = _highest(lambda i: likelihood(i, every))
    best = int(np.argmax(profile))
    least = float(profile[best]) - float(gammaincinv(0.5, confidence))
    inside = np.flatnonzero(profile >= least)
    of_shape = _highest(lambda j: likelihood(every, j))
    top = int(np.argmax(of_shape))
    value = float(x[best])
    if d1.any() and d2.any():  # at each shape the best ratio is known in closed form
        ratios = (np.log(one_sum / d1.sum()) - np.log(two_sum / d2.sum())) / shape
        value = float(np.interp(_peak(log_shape, of_shape, top), log_shape, ratios))
    return LifeRatio(
        value=float(np.exp(np.clip(value, x[0], x[-1]))),
        low=float(np.exp(_crossing(x, profile, int(inside[0]), -1, least))),
        high=float(np.exp(_crossing(x, profile, int(inside[-1]), 1, least))),
        shape=float(np.exp(_peak(log_shape, of_shape, top))),
        confidence=confidence,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Grid:
    """Shapes and logs of ratios that are looked at; `power` is each ratio to minus each shape."""

    log_shape: Floats
    shape: Floats
    x: Floats
    power: Floats


@cache
def _grid() -> _Grid:
    log_shape = np.linspace(float(np.log(SHAPES[0])), float(np.log(SHAPES[1])), GRID)
    shape = np.exp(log_shape)
    x = np.linspace(-np.log(FARTHEST), np.log(FARTHEST), GRID)
    return _Grid(log_shape=log_shape, shape=shape, x=x, power=np.exp(-shape[:, None] * x))


@lru_cache(maxsize=4)
def _powers(lives: bytes, middle: float) -> Floats:
    """Return lives over their middle to the power of each shape, (shapes, lives); every lot asks for them."""
    logs = np.log(np.frombuffer(lives)) - middle
    return np.asarray(np.exp(_grid().shape[:, None] * logs), dtype=np.float64)


def _highest(curves: Callable[[NDArray[np.int64]], Floats]) -> Floats:
    """Return the highest value of each of some curves on the grid, each of which rises, then falls.

    The likelihood is concave in the shape and in the log of the ratio: a log of a sum of exponentials of
    either is convex.
    """
    low, high = np.zeros(GRID, dtype=np.int64), np.full(GRID, GRID - 1)
    while (low < high).any():
        middle = (low + high) // 2
        here, beyond = curves(np.stack((middle, np.minimum(middle + 1, GRID - 1))))
        rises = beyond > here
        low, high = np.where(rises, middle + 1, low), np.where(rises, high, middle)
    return curves(low)


def _peak(x: Floats, y: Floats, k: int) -> float:
    """Return where the parabola through a grid's highest point and its neighbours is highest."""
    if k in (0, len(x) - 1):
        return float(x[k])
    a, b, c = y[k - 1 : k + 2]
    return float(x[k] + (x[1] - x[0]) * (a - c) / (2 * (a - 2 * b + c)))


def _crossing(x: Floats, y: Floats, k: int, step: int, level: float) -> float:
    """Return where a curve falls to a level beyond its grid point k, between it and the next."""
    if not 0 <= k + step < len(x):
        return float(x[k])
    part = (y[k] - level) / (y[k] - y[k + step])
    return float(x[k] + step * part * (x[1] - x[0]))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lives:
    bores: Floats
    ended: Flags

    @classmethod
    def of(cls, bores: ArrayLike, ended: ArrayLike) -> _Lives:
        """Return lives of at least one bore."""
        t, d = np.asarray(bores, dtype=np.float64), np.asarray(ended, dtype=bool)
        if t.shape != d.shape or t.ndim != 1:
            raise TypeError(f"expected as many ends as lives, got {d.shape} and {t.shape}")
        return cls(bores=t[t > 0], ended=d[t > 0])
