"""Bores about several levels: one spread, a level for each stone set, offset or stretch of wear."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr, ndtri

from cellmon.capability.bisection import bisected
from cellmon.capability.families import HALF_LOG_TWO_PI, Family, Floats, column, in_rows

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
        fit=partial(_fit, count=count),
        log_density=_log_density,
        cdf=_cdf,
        quantile=_quantile,
        shape=_distance,
    )


def _parts(theta: Floats) -> tuple[Floats, Floats, Floats]:
    """Return levels (rows, count), spread (rows, 1) and shares (rows, count)."""
    count = theta.shape[1] // 2
    ratios = np.concatenate([np.zeros((len(theta), 1)), theta[:, count + 1 :]], axis=1)
    return theta[:, :count], np.exp(column(theta, count)), _shares(ratios)


def _fit(x: Floats, *, count: int) -> Floats:
    """Alternate between which level each bore belongs to and where the levels lie."""
    at = (np.arange(count) + 0.5) / count
    levels = np.quantile(x, at, axis=1).T
    sd = x.std(axis=1, keepdims=True) / count
    share = np.full(levels.shape, 1 / count)
    away = x[:, None, :] - levels[:, :, None]
    for _ in range(_ROUNDS):
        z = away / sd[:, :, None]
        belongs = _shares(np.log(share)[:, :, None] - z * z / 2)
        weight = np.maximum(belongs.sum(axis=2), _LEAST_SHARE * x.shape[1])
        levels = (belongs @ x[:, :, None])[:, :, 0] / weight
        away = x[:, None, :] - levels[:, :, None]
        square = (belongs * away**2).sum(axis=(1, 2))
        sd = np.sqrt(np.maximum(square / x.shape[1], 1e-300))[:, None]
        share = weight / weight.sum(axis=1, keepdims=True)
    order = np.argsort(levels, axis=1)
    levels, share = (np.take_along_axis(part, order, axis=1) for part in (levels, share))
    return np.concatenate([levels, np.log(sd), np.log(share[:, 1:] / share[:, :1])], axis=1)


def _shares(logs: Floats) -> Floats:
    """Return shares that sum to 1 over the levels, axis 1, from their logarithms up to a constant."""
    shares = np.exp(logs - logs.max(axis=1, keepdims=True))
    return np.asarray(shares / shares.sum(axis=1, keepdims=True), dtype=np.float64)


def _scores(x: Floats, levels: Floats, sd: Floats) -> Floats:
    """Return the distance of each value from each level, in standard deviations, (rows, count, n)."""
    return (x[:, None, :] - levels[:, :, None]) / sd[:, :, None]


def _log_density(x: Floats, theta: Floats) -> Floats:
    levels, sd, share = _parts(theta)
    z = _scores(x, levels, sd)
    summed = logsumexp(np.log(share)[:, :, None] - z * z / 2, axis=1)
    return np.asarray(summed - np.log(sd) - HALF_LOG_TWO_PI, dtype=np.float64)


def _cdf(x: Floats, theta: Floats) -> Floats:
    levels, sd, share = _parts(theta)
    return np.asarray((share[:, :, None] * ndtr(_scores(x, levels, sd))).sum(axis=1), dtype=np.float64)


def _quantile(p: Floats, theta: Floats) -> Floats:
    levels, sd, share = _parts(theta)
    z = ndtri(in_rows(p, theta))
    # the smaller tail keeps its digits: above the middle that above a size, below it that below
    upper = z > 0
    side = np.where(upper, -1.0, 1.0)
    wanted = ndtr(side * z)

    def short(size: Floats) -> NDArray[np.bool_]:
        tail = (share[:, :, None] * ndtr(side[:, None, :] * _scores(size, levels, sd))).sum(axis=1)
        return np.asarray(np.where(upper, tail > wanted, tail < wanted), dtype=np.bool_)

    low, high = levels.min(axis=1)[:, None] + sd * z, levels.max(axis=1)[:, None] + sd * z
    return bisected(short, low=low, high=high, rounds=50)


def _distance(theta: Floats) -> Floats:
    """Return the mean distance of neighbouring levels in standard deviations, (rows,)."""
    count = theta.shape[1] // 2
    apart = (theta[:, count - 1] - theta[:, 0]) / (count - 1)
    return np.asarray(apart / np.exp(theta[:, count]), dtype=np.float64)


TWO_LEVELS = levels_family(2)
THREE_LEVELS = levels_family(3)
