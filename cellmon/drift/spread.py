"""When the spread inside subgroups grew, and by how much, from the variance ratios up to an alarm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import logsumexp

from cellmon.stats.summary import as_series

RATIOS = np.geomspace(1.15, 4.0, 10)
"""Ratios of standard deviations that are weighed."""


@dataclass(frozen=True, kw_only=True)
class SpreadChange:
    """A growth of spread; places count from 0 in the series that was given."""

    index: int
    earliest: int
    latest: int
    ratio: float
    """Of standard deviations, after over before."""


def spread_change(ratios: ArrayLike, df: float, *, coverage: float = 0.95) -> SpreadChange:
    """Weigh all moments at which a spread may have grown.

    Parameters
    ----------
    ratios : array_like, shape (k,)
        Variances of subgroups over the usual one, up to the one at which the alarm came.
    df : float
        Degrees of freedom of each.
    coverage : float
        Chance that the growth began at or after `earliest`; and at or before `latest`.

    References
    ----------
    Likelihood of gamma variables with one change of scale, flat prior over the moment and over a list
    of ratios: Hawkins and Zamba, A change-point model for a shift in variance, Journal of Quality
    Technology 37 (2005) weigh the same likelihood (from memory).
    """
    v = as_series(ratios, need=1, what="variance ratios")
    square = RATIOS[:, None] ** 2
    gains = df / 2 * (v[None, :] * (1 - 1 / square) - np.log(square))
    after = np.cumsum(gains[:, ::-1], axis=1)[:, ::-1]  # from each place to the end
    weight = logsumexp(after, axis=0)
    chance = np.exp(weight - logsumexp(weight))
    until = np.cumsum(chance)
    index = int(np.argmax(weight))
    return SpreadChange(
        index=index,
        earliest=min(int(np.searchsorted(until, 1 - coverage, side="right")), index),
        latest=max(min(int(np.searchsorted(until, coverage)), len(v) - 1), index),
        ratio=float(np.sqrt(v[index:].mean())),
    )
