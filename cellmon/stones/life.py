"""Remaining life of a stone set as a distribution: bores from now until a limit is met."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from cellmon.stones.passage import passage_cdf
from cellmon.stones.prior import WearPrior

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]
LimitedBy = Literal["thickness", "quality"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Life:
    """Bores from now to the end of a set, as a distribution: its cumulative chance on a grid.

    Attributes
    ----------
    bores : ndarray, shape (n,)
        Bores from now, rising from 0.
    chance : ndarray, shape (n,)
        That the set has ended by then; never falls; 0 to 1. Straight between, level after the last.
    limited_by : str
        `thickness`, or `quality` where that limit comes first more often.
    """

    bores: Floats
    chance: Floats
    limited_by: LimitedBy = "thickness"

    def cdf(self, bores: ArrayLike) -> Floats:
        """Return the chance that the set has ended within so many bores; 0 below none."""
        x = np.asarray(bores, dtype=np.float64)
        return np.asarray(np.interp(x, self.bores, self.chance, left=0.0), dtype=np.float64)

    def quantile(self, p: float) -> float:
        """Return the bores within which a share p of such sets has ended."""
        if not 0 < p < 1:
            raise ValueError(f"a share above 0 and below 1, not {p}")
        k = int(np.searchsorted(self.chance, p))
        if k == 0 or k == len(self.chance):
            return float(self.bores[min(k, len(self.bores) - 1)])
        low, high = self.chance[k - 1], self.chance[k]
        part = (p - low) / (high - low)
        return float(self.bores[k - 1] + part * (self.bores[k] - self.bores[k - 1]))

    @property
    def p05(self) -> float:
        """Bores that 19 of 20 such sets outlive."""
        return self.quantile(0.05)

    @property
    def p50(self) -> float:
        """Bores that half of such sets outlive."""
        return self.quantile(0.5)

    @property
    def p95(self) -> float:
        """Bores that 1 of 20 such sets outlives."""
        return self.quantile(0.95)

    @property
    def mean(self) -> float:
        """Mean of the bores to the end: the area above the cumulative chance."""
        return float(np.trapezoid(1.0 - self.chance, self.bores))


COARSE, POINTS = 60, 120
"""Bores at which the chance is worked out: over all that may be, and where it rises."""
AT_ONCE = 16_384
"""Chances worked out at once: so many stay in the processor's cache."""
SURE, MET, STEPS = 1e-15, 1e-6, 100
"""A chance nearer to 0 or 1 is not told apart; a share is met where a step moves bores by less, at last."""
RISES = (1e-3, 1 - 1e-3)
"""The chance rises between these."""
RATES = 81
"""Rates weighed."""
UNLIKELY = 1e-16
"""A rate of less weight changes no figure."""


@dataclass(frozen=True, kw_only=True)
class Worn:
    """What the path of one set says of it, from the break-in on.

    `bores` and `wear_um` are those of its increments; `depth_um` is what was left at the last
    measurement, known to `depth_sd_um`; `bores_since` were honed after it.
    """

    bores: float = 0.0
    wear_um: float = 0.0
    depth_um: float
    depth_sd_um: float = 0.0
    bores_since: float = 0.0


def remaining_life(worn: Worn, prior: WearPrior, *, reading_um: float = 0.0) -> Life:
    """Return the bores from now until nothing is left, from a set's own path and what past sets teach.

    Parameters
    ----------
    worn : Worn
        The set as it was measured last; a set not measured yet has no increments.
    prior : WearPrior
        Of its kind.
    reading_um : float
        Standard deviation of one measured wear.

    Returns
    -------
    Life
        With a chance above 0 at no bores where the depth may be used up already.

    References
    ----------
    First passage of a Wiener process with an uncertain drift: Cox and Miller (1965), section 5.7, mixed
    over the drift. Coverage and width by simulation: docs/stones.md.
    """
    rates = _rates(worn, prior, reading_um)
    coarse = _coarse(worn, prior, rates)
    gone = _gone(coarse, worn.depth_um, worn, prior, rates)
    rises = _rises(coarse, gone)
    bores, first = np.unique(np.concatenate((coarse, rises)), return_index=True)
    chance = np.concatenate((gone, _gone(rises, worn.depth_um, worn, prior, rates)))[first]
    return Life(bores=bores, chance=np.maximum.accumulate(np.minimum(chance, 1.0)))


def remaining_bores(
    worn: Worn, prior: WearPrior, depths_um: ArrayLike, shares: ArrayLike, *, reading_um: float = 0.0
) -> Floats:
    """Return the bores within which shares of such sets have worn off some depths, sooner than by a `Life`.

    Parameters
    ----------
    worn, prior, reading_um
        As of `remaining_life`; what was left at the last measurement does not count.
    depths_um : array_like, shape (n,)
        From the last measurement on.
    shares : array_like, shape (m,)
        Above 0 and below 1.

    Returns
    -------
    ndarray, shape (n, m)
        0 where the share is reached already.

    References
    ----------
    As of `remaining_life`. As a normal deviate the chance is nearly straight over bores: secants that stay
    between bounds meet a share in a few steps.
    """
    rates = _rates(worn, prior, reading_um)
    depth, wanted = map(np.ravel, np.meshgrid(depths_um, ndtri(np.asarray(shares)), indexing="ij"))
    found, slope = _about(depth, wanted, worn, prior, rates)
    low, high = np.zeros(len(depth)), _far(np.maximum(depth, 0.0) + 4 * worn.depth_sd_um, prior, rates)

    def missed(bores: Floats, k: Whole) -> Floats:
        chance = _gone(bores, depth[k], worn, prior, rates)
        return np.asarray(ndtri(np.clip(chance, SURE, 1 - SURE)) - wanted[k])

    still = np.flatnonzero(missed(low, np.arange(len(depth))) < 0)
    at = np.clip(found - worn.bores_since, low, high)[still]
    by, slope, found = missed(at, still), slope[still], low.copy()
    for step in range(STEPS):
        low[still], high[still] = np.where(by < 0, at, low[still]), np.where(by < 0, high[still], at)
        then = at - _over(by, slope)
        inside = (low[still] <= then) & (then <= high[still])
        found[still] = then = np.where(inside, then, (low[still] + high[still]) / 2)
        moved = (np.abs(then - at) > MET * (1 + then)) | (step == 0)
        if not moved.any():
            break
        still, at, before, by_before = still[moved], then[moved], at[moved], by[moved]
        by = missed(at, still)
        slope = _over(by - by_before, at - before)
    return found.reshape(-1, np.size(shares))


def _over(above: Floats, below: Floats) -> Floats:
    """Return a ratio; infinite where there is nothing below."""
    found = np.full(len(above), np.inf)
    np.divide(above, below, out=found, where=below != 0)
    return found


def _about(depth: Floats, wanted: Floats, worn: Worn, prior: WearPrior, rates: _Rates) -> Any:
    """Return bores since the last measurement near where depths are worn off, and how deviates rise there."""
    weight = prior.noise2_weight @ rates.weight
    rate = np.log(rates.value)
    centre = float(weight @ rate)
    left = np.maximum(depth, max(worn.depth_sd_um, 1e-3))
    noise = prior.noise2 @ prior.noise2_weight / (left * np.exp(centre))
    spread = np.minimum(np.sqrt(weight @ (rate - centre) ** 2 + noise + (worn.depth_sd_um / left) ** 2), 1.0)
    at = np.exp(np.log(left) - centre + wanted * spread)
    return at, 1 / (at * spread)


def _coarse(worn: Worn, prior: WearPrior, rates: _Rates) -> Floats:
    """Return bores over all that may be."""
    far = _far(max(worn.depth_um, 0.0) + 4 * worn.depth_sd_um, prior, rates)
    return np.concatenate(([0.0], np.geomspace(far / 1e4, far, COARSE)))


def _far(depth: Any, prior: WearPrior, rates: _Rates) -> Any:
    """Return bores that hardly any set outlives."""
    slow = float(rates.value[0])
    return 1.5 * depth / slow + 20 * float(prior.noise2.max()) / slow**2


def _rises(coarse: Floats, gone: Floats) -> Floats:
    """Return bores where the chance rises: most of the points go there."""
    low, high = np.searchsorted(gone, RISES)
    return np.linspace(coarse[max(low - 1, 0)], coarse[min(high, COARSE)], POINTS)


def _gone(bores: Floats, depth: ArrayLike, worn: Worn, prior: WearPrior, rates: _Rates) -> Floats:
    """Return the chance that a depth, or one for each, is worn off after bores, over noises and rates."""
    steps, parts = (DEPTHS, DEPTH_WEIGHTS) if worn.depth_sd_um > 0 else (np.zeros(1), np.ones(1))
    left = np.broadcast_to(depth, len(bores)) + steps[:, None] * worn.depth_sd_um
    noise, rate = np.nonzero(rates.weight > UNLIKELY)
    weight = prior.noise2_weight[noise] * rates.weight[noise, rate]
    value, sd = rates.value[rate], np.sqrt(prior.noise2)[noise]
    at, chance = worn.bores_since + bores, np.empty(len(bores))
    rows = max(AT_ONCE // (len(parts) * len(weight)), 1)
    for begin in range(0, len(bores), rows):
        here = slice(begin, begin + rows)
        met = passage_cdf(at[here, None], depth=left[:, here, None], rate=value, noise=sd)
        chance[here] = parts @ (met @ weight)
    return chance


DEPTHS, DEPTH_WEIGHTS = np.array([-np.sqrt(3), 0.0, np.sqrt(3)]), np.array([1 / 6, 2 / 3, 1 / 6])
"""Three points that stand for a normal law: Gauss-Hermite."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Rates:
    value: Floats
    """Shape (rates,)."""
    weight: Floats
    """Shape (noises, rates); each row sums to 1."""


def _rates(worn: Worn, prior: WearPrior, reading_um: float) -> _Rates:
    """Weigh rates by what past sets and the set's own path say, for each noise."""
    reach = 4.5 * prior.spread
    low, high = float((prior.centre - reach).min()), float((prior.centre + reach).max())
    own = worn.bores > 0
    rate = worn.wear_um / worn.bores if own else 0.0
    noise2 = prior.noise2[:, None]
    variance = noise2 / worn.bores + 2 * (reading_um / worn.bores) ** 2 if own else noise2
    if own and rate > 0:  # where its own path says more, the grid closes in on it
        sd = float(np.sqrt(variance.max())) / rate
        low = max(low, min(np.log(rate) - 6 * sd, high - 0.1))
        high = min(high, max(np.log(rate) + 6 * sd, low + 0.1))
    grid = np.linspace(low, high, RATES)
    value = np.exp(grid)
    weight = np.tile(prior.density(grid), (len(prior.noise2), 1))
    if own:
        far = (rate - value) ** 2 / variance
        weight = weight * np.exp(-(far - far.min(axis=1, keepdims=True)) / 2)
    return _Rates(value=value, weight=weight / weight.sum(axis=1, keepdims=True))
