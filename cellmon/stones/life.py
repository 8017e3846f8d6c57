"""Remaining life of a stone set as a distribution: bores from now until a limit is met."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.stones.passage import passage_cdf
from cellmon.stones.prior import WearPrior

Floats = NDArray[np.float64]
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
STRIDE = 8
"""Where shares are looked for, every so many of these bores first."""
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
    gone = _gone(coarse, worn, prior, rates)
    rises = _rises(coarse, gone)
    bores, first = np.unique(np.concatenate((coarse, rises)), return_index=True)
    chance = np.concatenate((gone, _gone(rises, worn, prior, rates)))[first]
    return Life(bores=bores, chance=np.maximum.accumulate(np.minimum(chance, 1.0)))


def remaining_bores(
    worn: Worn, prior: WearPrior, shares: Sequence[float], *, reading_um: float = 0.0
) -> list[float]:
    """Return the bores within which shares of such sets have ended: quantiles of `remaining_life`, sooner.

    The chance is worked out where the shares are met alone.
    """
    rates = _rates(worn, prior, reading_um)
    coarse = _coarse(worn, prior, rates)

    def gone_by(bores: Floats) -> Floats:
        return _gone(bores, worn, prior, rates)

    gone = _near_shares(coarse, gone_by, (*shares, *RISES))
    rises = _rises(coarse, gone)
    after = np.searchsorted(gone, shares)
    met = np.searchsorted(coarse, rises)
    rises = rises[np.isin(met, after) & (coarse[np.minimum(met, COARSE)] != rises)]
    bores = np.concatenate((coarse, rises))
    chance = np.concatenate((gone, _near_shares(rises, gone_by, shares)))
    order = np.argsort(bores, kind="stable")
    chance = np.maximum.accumulate(np.minimum(chance[order], 1.0))
    found = Life(bores=bores[order], chance=chance)
    return [found.quantile(share) for share in shares]


def _near_shares(bores: Floats, gone_by: Callable[[Floats], Floats], shares: Sequence[float]) -> Floats:
    """Return the chance at rising bores where shares are met; elsewhere that of a point before."""
    found, every = np.full(len(bores), -np.inf), np.arange(len(bores))
    looked = np.union1d(every[::STRIDE], every[-1:])
    found[looked] = gone_by(bores[looked])
    met = np.searchsorted(np.maximum.accumulate(found[looked]), shares)
    inside = np.isin(np.searchsorted(looked, every), met) & ~np.isin(every, looked)
    found[inside] = gone_by(bores[inside])
    return np.maximum.accumulate(found)


def _coarse(worn: Worn, prior: WearPrior, rates: _Rates) -> Floats:
    """Return bores over all that may be."""
    slow = rates.value[0]
    depth = max(worn.depth_um, 0.0) + 4 * worn.depth_sd_um
    far = 1.5 * depth / slow + 20 * float(prior.noise2.max()) / slow**2
    return np.concatenate(([0.0], np.geomspace(far / 1e4, far, COARSE)))


def _rises(coarse: Floats, gone: Floats) -> Floats:
    """Return bores where the chance rises: most of the points go there."""
    low, high = np.searchsorted(gone, RISES)
    return np.linspace(coarse[max(low - 1, 0)], coarse[min(high, COARSE)], POINTS)


def _gone(bores: Floats, worn: Worn, prior: WearPrior, rates: _Rates) -> Floats:
    """Return the chance that nothing is left after so many bores, over depths, noises and rates."""
    steps, parts = (DEPTHS, DEPTH_WEIGHTS) if worn.depth_sd_um > 0 else (np.zeros(1), np.ones(1))
    left = (worn.depth_um + steps * worn.depth_sd_um)[:, None, None]
    noise, rate = np.nonzero(rates.weight > UNLIKELY)
    weight = prior.noise2_weight[noise] * rates.weight[noise, rate]
    value, sd = rates.value[rate], np.sqrt(prior.noise2)[noise]
    at, chance = worn.bores_since + bores, np.empty(len(bores))
    rows = max(AT_ONCE // (len(parts) * len(weight)), 1)
    for begin in range(0, len(bores), rows):
        here = slice(begin, begin + rows)
        met = passage_cdf(at[here, None], depth=left, rate=value, noise=sd)
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
