"""Indices by quantiles of fitted families, with intervals that carry the choice of the family.

Each family that could hold gives an index and an error of it, from the information in the bores.
Where several could hold, the interval weighs their tails by how well each explains the bores, so
it is wider where the bores do not tell one from another.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from cellmon.capability.bisection import bisected
from cellmon.capability.choice import akaike_weights
from cellmon.capability.families import (
    Family,
    Floats,
    bias,
    covariance,
    divergence,
    gradient,
    information_criterion,
    repeated,
)

LOWEST, MIDDLE, HIGHEST = 0.00135, 0.5, 0.99865
"""Shares below the quantiles that stand for mean less and plus three standard deviations (ISO 22514-2)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sampled:
    """What one family says of a figure of each row of bores, on the steadied scale; all (rows,)."""

    name: str
    value: Floats
    below: Floats
    """Its error towards smaller values."""
    above: Floats
    criterion: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Ends:
    """Ends of intervals on the steadied scale, one a row."""

    low: Floats
    high: Floats
    bound: Floats
    """One-sided lower bound at the confidence of claims."""


def steadied(index: Floats) -> Floats:
    """Return an index on the scale where the error of a normal index does not depend on it.

    The variance of Cpk is (1 / 9 + Cpk^2 / 2) / n (Bissell, 1990); its square root integrates to asinh.
    For a large index this is its logarithm.
    """
    return np.asarray(math.sqrt(2) * np.arcsinh(3 * index / math.sqrt(2)), dtype=np.float64)


def unsteadied(value: Floats) -> Floats:
    """Return the index that `steadied` turned into this value."""
    return np.asarray(np.sinh(value / math.sqrt(2)) * math.sqrt(2) / 3, dtype=np.float64)


def quantile_indices(family: Family, theta: Floats, *, lower: float | None, upper: float | None) -> Floats:
    """Return the indices towards the lower and the upper limit, (rows, 2); inf where there is none.

    References
    ----------
    ISO 22514-2 (from memory), quantile method: (U - X50) / (X99.865 - X50) and
    (X50 - L) / (X50 - X0.135).
    """
    low, middle, high = family.quantile(np.array([[LOWEST, MIDDLE, HIGHEST]]), theta).T
    none = np.full(len(theta), np.inf)
    return np.stack(
        [
            none if lower is None else (middle - lower) / (middle - low),
            none if upper is None else (upper - middle) / (high - middle),
        ],
        axis=1,
    )


def share_outside(family: Family, theta: Floats, *, lower: float | None, upper: float | None) -> Floats:
    """Return the share beyond the limits, (rows,)."""
    none = np.zeros(len(theta))
    ends = np.array([[1.0 if upper is None else upper, 1.0 if lower is None else lower]])
    at = family.cdf(np.broadcast_to(ends, (len(theta), 2)), theta)
    above = none if upper is None else 1 - at[:, 0]
    below = none if lower is None else at[:, 1]
    return np.asarray(np.clip(below + above, 0.0, 1.0), dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class Standing:
    """A family fitted to rows of bores, with all that its figures need."""

    family: Family
    fair: Floats
    """Parameters with their bias taken off, (rows, p)."""
    inverse: Floats
    """Covariance of the parameters times n, (rows, p, p)."""
    n: float
    """Independent bores that the bores are worth."""
    criterion: Floats


def stand(family: Family, x: Floats, theta: Floats, *, worth: float = 1.0) -> Standing:
    """Return a fitted family ready to tell of its figures.

    Parameters
    ----------
    x : ndarray, shape (rows, n)
        Values.
    theta : ndarray, shape (rows, p)
        Parameters fitted to them.
    worth : float
        What the values are worth beside as many independent ones, at most 1.
    """
    n = x.shape[1] * worth
    inverse = covariance(family, theta)
    spread = np.sqrt(np.diagonal(inverse, axis1=1, axis2=2) / n)
    return Standing(
        family=family,
        fair=theta - np.clip(bias(family, theta, inverse) / n, -spread / 2, spread / 2),
        inverse=inverse,
        n=n,
        criterion=information_criterion(family, x, theta),
    )


def sampled_index(fit: Standing, *, lower: float | None, upper: float | None) -> Sampled:
    """Return what a family says of the smaller index of each row, on the steadied scale."""
    which = quantile_indices(fit.family, fit.fair, lower=lower, upper=upper).argmin(axis=1)

    def smaller(changed: Floats) -> Floats:
        both = quantile_indices(fit.family, changed, lower=lower, upper=upper)
        return steadied(both[np.arange(len(both)), repeated(which, changed)])

    return _sampled(fit, smaller)


def sampled_share(fit: Standing, *, lower: float | None, upper: float | None) -> Sampled:
    """Return what a family says of the share outside, as the normal index with that share beyond."""

    def score(changed: Floats) -> Floats:
        share = share_outside(fit.family, changed, lower=lower, upper=upper)
        return steadied(-np.asarray(ndtri(np.clip(share, _LEAST_SHARE, 1 - _LEAST_SHARE))) / 3)

    return _sampled(fit, score)


def sampled_width(fit: Standing, *, lower: float, upper: float) -> Sampled:
    """Return what a family says of the tolerance over the distance of the outer quantiles."""

    def width(changed: Floats) -> Floats:
        low, high = fit.family.quantile(np.array([[LOWEST, HIGHEST]]), changed).T
        return steadied((upper - lower) / (high - low))

    return _sampled(fit, width)


_LEAST_SHARE = 1e-15
_FAR = 2.0
"""Errors away from the fit where its likelihood is looked at."""


def _sampled(fit: Standing, figure: Callable[[Floats], Floats]) -> Sampled:
    """Walk from the fit, its bias taken off, along the steepest way of the figure, both ways.

    As far as the likelihood there falls to that of `_FAR` errors (twice the expected loss is a
    chi-square); what the figure has then changed gives its error on that side.
    """
    slopes = gradient(figure, fit.fair)
    way = np.einsum("rpq,rq->rp", fit.inverse, slopes)
    way = way / np.sqrt(np.maximum(np.einsum("rp,rp->r", way, slopes), 1e-300) * fit.n)[:, None]
    value = figure(fit.fair)
    errors = []
    for side in (-_FAR, _FAR):
        fallen = np.sqrt(2 * fit.n * divergence(fit.family, fit.fair, fit.fair + side * way))
        reach = side * np.clip(_FAR / np.maximum(fallen, 1e-12), 0.5, 2.0)
        errors.append(np.abs(figure(fit.fair + reach[:, None] * way) - value) / _FAR)
    return Sampled(
        name=fit.family.name, value=value, below=errors[0], above=errors[1], criterion=fit.criterion
    )


def averaged_quantile(families: list[Sampled], p: float) -> Floats:
    """Return the value below which the true one lies with a belief of p, the families weighed, (rows,).

    References
    ----------
    Turek and Fletcher, Computational Statistics and Data Analysis 56 (2012), 2809-2815 (model-averaged
    tail areas): sum w_i Phi((value - value_i) / error_i) = p.
    """
    found: Floats = _averaged(families, p)[0]
    return found


def _averaged(families: list[Sampled], *beliefs: float) -> Floats:
    """Return the values of several beliefs, (beliefs, rows)."""
    value = np.stack([f.value for f in families])[:, None]
    below = np.maximum(np.stack([f.below for f in families]), 1e-12)[:, None]
    above = np.maximum(np.stack([f.above for f in families]), 1e-12)[:, None]
    weight = akaike_weights(np.stack([f.criterion for f in families]))[:, None]
    p, none = np.array(beliefs)[:, None], np.zeros((len(beliefs), 1))
    low, high = (value - 9 * below).min(axis=0) + none, (value + 9 * above).max(axis=0) + none

    def short(at: Floats) -> NDArray[np.bool_]:
        error = np.where(at < value, below, above)
        return np.asarray((weight * ndtr((at - value) / error)).sum(axis=0) < p)

    return bisected(short, low=low, high=high, rounds=60)


def averaged_ends(families: list[Sampled], *, confidence: float, claim_confidence: float) -> Ends:
    """Return the interval and the lower bound from several families, on the steadied scale.

    Notes
    -----
    Weights alone leave too little for a family that is true and looks second best. So the interval also
    reaches a good part of what each family not far behind says of itself, and the bound is the lowest
    of all those families. A family whose more general form explains the bores better is left out of the
    interval, not out of the bound. The constants were set by simulation; the coverage of the whole is
    measured on other samples (docs/capability-coverage.md).
    """
    z, claim_z = float(ndtri((1 + confidence) / 2)), float(ndtri(claim_confidence))
    value, below, above, behind = _stacked(families)
    bound = np.where(behind <= _BEHIND_LOW, value - _CLAIM_REACH * claim_z * below, np.inf).min(axis=0)
    kept = _without_special(families)
    value, below, above, behind = _stacked(kept)
    low = np.where(behind <= _BEHIND_LOW, value - _LOW_REACH * z * below, np.inf).min(axis=0)
    high = np.where(behind <= _BEHIND_HIGH, value + _HIGH_REACH * z * above, -np.inf).max(axis=0)
    tail = (1 - confidence) / 2
    least, most = _averaged(kept, tail, 1 - tail)
    return Ends(low=np.minimum(low, least), high=np.maximum(high, most), bound=bound)


_BEHIND_LOW, _BEHIND_HIGH = 6.0, 4.0
"""How far behind the best a family's criterion may be to have a say."""
_LOW_REACH, _HIGH_REACH, _CLAIM_REACH = 0.84, 0.77, 1.07
"""Shares of its own interval that each such family gets; above 1 for the bound."""
_BETTER = 0.4
"""Twice the gain in log-likelihood from which the general form stands for the special one."""


def _stacked(families: list[Sampled]) -> tuple[Floats, Floats, Floats, Floats]:
    """Return values, errors towards less and more, and how far each family is behind, (families, rows)."""
    criterion = np.stack([f.criterion for f in families])
    return (
        np.stack([f.value for f in families]),
        np.stack([f.below for f in families]),
        np.stack([f.above for f in families]),
        criterion - criterion.min(axis=0),
    )


def _without_special(families: list[Sampled]) -> list[Sampled]:
    """Put a family out of the running where its general form explains the bores better."""
    by_name = {f.name: f for f in families}
    kept = []
    for one in families:
        general = by_name.get(GENERAL.get(one.name, ""))
        if general is None:
            kept.append(one)
            continue
        beaten = one.criterion - general.criterion + 2 > _BETTER
        kept.append(replace(one, criterion=np.where(beaten, np.inf, one.criterion)))
    return kept


GENERAL = {"half normal": "folded normal"}
"""Families that are a special case at the very end of another, where its own error is not to be had."""
