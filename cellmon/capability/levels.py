"""Bores about several levels: one spread, a level for each stone set, offset or stretch of wear."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import logsumexp, ndtr, ndtri, softmax

from cellmon.capability.families import Family, Floats, column

_HALF_LOG_TWO_PI = math.log(2 * math.pi) / 2
_ROUNDS = 60
_LEAST_SHARE = 0.02
"""Of the bores at one level; fewer are single bores, not a level."""


def levels_family(count: int) -> Family:
    """Return the family of normal bores about so many levels with one spread.

    Parameters are the levels in rising order, the logarithm of the spread, and the logarithms of the
    shares of all levels but the first over that of the first.

    References
    ----------
    Dempster, Laird and Rubin, Journal of the Royal Statistical Society B 39 (1977), 1-38, for the fit.

    >>> levels_family(2).name
    'two levels'
    """
    words = {2: "two", 3: "three", 4: "four"}
    return Family(
        name=f"{words.get(count, str(count))} levels",
        parameters=(
            *(f"level_{i + 1}" for i in range(count)),
            "log_sd",
            *(f"log_share_{i + 1}" for i in range(1, count)),
        ),
        bounded=False,
        fit=_fitter(count),
        log_density=_density(count),
        cdf=_cdf(count),
        quantile=_quantile(count),
    )


def _parts(theta: Floats, count: int) -> tuple[Floats, Floats, Floats]:
    """Return levels (rows, count), spread (rows, 1) and shares (rows, count)."""
    ratios = np.concatenate([np.zeros((len(theta), 1)), theta[:, count + 1 :]], axis=1)
    return theta[:, :count], np.exp(column(theta, count)), np.asarray(softmax(ratios, axis=1))


def _fitter(count: int) -> Callable[[Floats], Floats]:
    def fit(x: Floats) -> Floats:
        """Alternate between which level each bore belongs to and where the levels lie."""
        at = (np.arange(count) + 0.5) / count
        levels = np.quantile(x, at, axis=1).T
        sd = x.std(axis=1, keepdims=True) / count
        share = np.full(levels.shape, 1 / count)
        for _ in range(_ROUNDS):
            z = (x[:, None, :] - levels[:, :, None]) / sd[:, :, None]
            belongs = np.asarray(softmax(np.log(share)[:, :, None] - z * z / 2, axis=1))
            weight = np.maximum(belongs.sum(axis=2), _LEAST_SHARE * x.shape[1])
            levels = (belongs @ x[:, :, None])[:, :, 0] / weight
            square = (belongs * (x[:, None, :] - levels[:, :, None]) ** 2).sum(axis=(1, 2))
            sd = np.sqrt(np.maximum(square / x.shape[1], 1e-300))[:, None]
            share = weight / weight.sum(axis=1, keepdims=True)
        order = np.argsort(levels, axis=1)
        levels, share = (np.take_along_axis(part, order, axis=1) for part in (levels, share))
        return np.concatenate([levels, np.log(sd), np.log(share[:, 1:] / share[:, :1])], axis=1)

    return fit


def _density(count: int) -> Callable[[Floats, Floats], Floats]:
    def log_density(x: Floats, theta: Floats) -> Floats:
        levels, sd, share = _parts(theta, count)
        z = (x[:, None, :] - levels[:, :, None]) / sd[:, :, None]
        summed = logsumexp(np.log(share)[:, :, None] - z * z / 2, axis=1)
        return np.asarray(summed - np.log(sd) - _HALF_LOG_TWO_PI, dtype=np.float64)

    return log_density


def _cdf(count: int) -> Callable[[Floats, Floats], Floats]:
    def cdf(x: Floats, theta: Floats) -> Floats:
        levels, sd, share = _parts(theta, count)
        below = ndtr((x[:, None, :] - levels[:, :, None]) / sd[:, :, None])
        return np.asarray((share[:, :, None] * below).sum(axis=1), dtype=np.float64)

    return cdf


def _quantile(count: int) -> Callable[[Floats, Floats], Floats]:
    def quantile(p: Floats, theta: Floats) -> Floats:
        levels, sd, share = _parts(theta, count)
        z = ndtri(np.broadcast_to(p, (len(theta), p.shape[1])))
        low, high = levels.min(axis=1)[:, None] + sd * z, levels.max(axis=1)[:, None] + sd * z
        for _ in range(50):
            middle = (low + high) / 2
            score = (middle[:, None, :] - levels[:, :, None]) / sd[:, :, None]
            # the smaller tail keeps its digits
            short = np.where(
                z > 0,
                (share[:, :, None] * ndtr(-score)).sum(axis=1) > ndtr(-z),
                (share[:, :, None] * ndtr(score)).sum(axis=1) < ndtr(z),
            )
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        return np.asarray((low + high) / 2, dtype=np.float64)

    return quantile


TWO_LEVELS = levels_family(2)
THREE_LEVELS = levels_family(3)
