"""Removal per stroke, learned round by round: the bore's planes and the stones' reach together.

Given the removal of a full stroke and its scatter from round to round, everything else is linear and
normal: the true size of every plane, and what one stroke of each zone takes off it. So each point of a
grid over those two carries a Kalman filter, and the readings weigh the points (Rao-Blackwellised grid).
The gauge's own scatter is in the filter, so a difference of two readings is never taken for a removal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp

from cellmon.sizing.prior import RatePrior, ScatterPrior
from cellmon.sizing.strokes import Reach, Strokes

Floats = NDArray[np.float64]

POINTS = 61
WIDE = 3.6
"""The grid of rates reaches so many deviations to each side."""
PLANE_SCATTER = 0.2
"""What one plane scatters beside the round, as a share of the round's scatter."""
LIGHT = 1e-7
"""Points of the grid that weigh less are let go."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Learned:
    """What is known after some rounds.

    Attributes
    ----------
    log_rate, scatter, weight : ndarray, shape (points,)
        Removal of a full stroke (log, µm of diameter), its scatter from round to round, and the weight.
    mean, cov : ndarray, shapes (points, 4 planes) and (points, 4 planes, 4 planes)
        Size of each plane (µm from nominal), then the shares of full, top and bottom strokes, by plane.
    """

    log_rate: Floats
    scatter: Floats
    weight: Floats
    mean: Floats
    cov: Floats

    @property
    def planes(self) -> int:
        """How many planes the bore is read at."""
        return int(self.mean.shape[1] // 4)

    @property
    def size_um(self) -> Floats:
        """Expected size of each plane, µm from nominal."""
        found: Floats = self.weight @ self.mean[:, : self.planes]
        return found

    @property
    def middle_um(self) -> float:
        """Removal of a full stroke over the whole bore: geometric middle, µm."""
        return float(np.exp(self.weight @ self._bore_log()))

    @property
    def log_sd(self) -> float:
        """How unsure that is, log scale."""
        p = self.planes
        at = self._bore_log()
        between = float(self.weight @ (at - self.weight @ at) ** 2)
        within = self.cov[:, p : 2 * p, p : 2 * p].mean(axis=(1, 2))
        return float(np.sqrt(between + self.weight @ within))

    def _bore_log(self) -> Floats:
        p = self.planes
        found: Floats = self.log_rate + np.log(np.maximum(self.mean[:, p : 2 * p].mean(axis=1), 0.05))
        return found

    def per_stroke_um(self) -> Floats:
        """Return the expected removal of one stroke, shape (3 zones, planes), µm."""
        shares = np.maximum(self.mean[:, self.planes :], 0.0).reshape(len(self.weight), 3, self.planes)
        found: Floats = np.einsum("g,gzp->zp", self.weight * np.exp(self.log_rate), shares)
        return found


def taught_scatter(known: Learned) -> ScatterPrior:
    """Return the scatter as these rounds leave it, for the next bore of the same hand."""
    values, where = np.unique(known.scatter, return_inverse=True)
    return ScatterPrior(values=values, weights=np.bincount(where, weights=known.weight).astype(np.float64))


def taught_reach(known: Learned, expected: Reach) -> Reach:
    """Return the reach of the zones as these rounds leave it, for the next bore of the same stones.

    Each share is divided by what a full stroke takes off the bore, and half of what was not known of it
    before is open again: bores and strokes differ.
    """
    p = known.planes
    mean = known.weight @ known.mean[:, p:]
    shares = np.maximum(mean, 0.02).reshape(3, p) / max(float(mean[:p].mean()), 0.05)
    within = known.weight @ known.cov[:, np.arange(p, 4 * p), np.arange(p, 4 * p)]
    return Reach(mean=shares, sd=np.sqrt(within.reshape(3, p) + (expected.sd / 2) ** 2))


def begin(
    plane_um: ArrayLike,
    variance_um2: ArrayLike,
    *,
    reach: Reach,
    rate: RatePrior | None = None,
    scatter: ScatterPrior | None = None,
) -> Learned:
    """Return what is known before the first round.

    Parameters
    ----------
    plane_um, variance_um2 : array_like, shape (planes,)
        Mean reading of each plane as received, µm from nominal, and the variance of that mean.
    reach : Reach
        Shares of the zones, `expected_reach` unless a bore before taught better.
    rate, scatter : priors
        Of a full stroke's removal and of its scatter.
    """
    prior, spread = rate or RatePrior(), scatter or ScatterPrior()
    deviations = np.linspace(-WIDE, WIDE, POINTS) if prior.log_sd else np.zeros(1)
    log_rate = np.repeat(log(prior.middle_um) + prior.log_sd * deviations, len(spread.values))
    weight = np.outer(np.exp(-(deviations**2) / 2), spread.weights).ravel()
    sizes = np.asarray(plane_um, dtype=np.float64)
    state = np.concatenate([sizes, reach.mean.ravel()])
    variances = np.concatenate([np.broadcast_to(variance_um2, sizes.shape), reach.sd.ravel() ** 2])
    points = len(weight)
    return Learned(
        log_rate=log_rate,
        scatter=np.tile(spread.values, len(deviations)),
        weight=weight / weight.sum(),
        mean=np.tile(state, (points, 1)),
        cov=np.tile(np.diag(variances), (points, 1, 1)),
    )


def after_strokes(known: Learned, strokes: Strokes) -> Learned:
    """Return what is expected after a round of strokes, before it is measured.

    The removal of a plane is rate x sum of strokes x share; it scatters for all planes together by
    `scatter` of itself, and for each plane alone by a fifth of that.
    """
    p, counts = known.planes, strokes.counts
    rate = np.exp(known.log_rate)
    step = np.tile(np.eye(4 * p), (len(rate), 1, 1))
    for zone in range(3):
        for plane in range(p):
            step[:, plane, p * (zone + 1) + plane] = rate * counts[zone]
    mean = np.einsum("gij,gj->gi", step, known.mean)
    removed = np.maximum(mean[:, :p] - known.mean[:, :p], 0.0) * known.scatter[:, None]
    cov = step @ known.cov @ np.swapaxes(step, 1, 2)
    cov[:, :p, :p] += removed[:, :, None] * removed[:, None, :]
    own = (PLANE_SCATTER * removed) ** 2
    cov[:, np.arange(p), np.arange(p)] += own
    return replace(known, mean=mean, cov=cov)


def after_readings(expected: Learned, plane_um: ArrayLike, variance_um2: ArrayLike) -> Learned:
    """Return what is known once the planes are read.

    Parameters
    ----------
    expected : Learned
        From `after_strokes`.
    plane_um, variance_um2 : array_like, shape (planes,)
        Mean reading of each plane and the variance of that mean; nan where a plane was not read.

    References
    ----------
    Kalman, J. Basic Engineering 82 (1960); marginal over a grid, tested against a direct integral.
    """
    read = np.asarray(plane_um, dtype=np.float64)
    noise = np.broadcast_to(np.asarray(variance_um2, dtype=np.float64), read.shape)
    seen = np.flatnonzero(np.isfinite(read))
    if not len(seen):
        return expected
    across = expected.cov[:, :, seen]
    spread = across[:, seen, :] + np.diag(noise[seen])
    miss = read[seen] - expected.mean[:, seen]
    gain = np.swapaxes(np.linalg.solve(spread, np.swapaxes(across, 1, 2)), 1, 2)
    mean = expected.mean + np.einsum("gik,gk->gi", gain, miss)
    cov = expected.cov - gain @ np.swapaxes(across, 1, 2)
    pull = np.einsum("gk,gk->g", miss, np.linalg.solve(spread, miss[:, :, None])[:, :, 0])
    log_weight = np.log(expected.weight) - (pull + np.linalg.slogdet(spread)[1]) / 2
    weight = np.exp(log_weight - logsumexp(log_weight))
    kept = weight > LIGHT
    return Learned(
        log_rate=expected.log_rate[kept],
        scatter=expected.scatter[kept],
        weight=weight[kept] / weight[kept].sum(),
        mean=mean[kept],
        cov=cov[kept],
    )


def with_new_stones(known: Learned, *, rate: RatePrior, reach: Reach) -> Learned:
    """Return what is known once other stones are in the hone: sizes stay, the removal begins anew.

    The scatter is the person's and the hone's as well: what was learned of it stays.
    """
    p, sizes = known.planes, known.size_um
    apart = known.mean[:, :p] - sizes
    cov = np.einsum("g,gij->ij", known.weight, known.cov[:, :p, :p])
    cov += np.einsum("g,gi,gj->ij", known.weight, apart, apart)
    fresh = begin(sizes, np.diag(cov), reach=reach, rate=rate, scatter=taught_scatter(known))
    joint = fresh.cov.copy()
    joint[:, :p, :p] = cov
    return replace(fresh, cov=joint)
