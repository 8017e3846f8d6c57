"""How far two stretches of one series lie apart, where neighbours in it hang together."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.charts.alike import Between, means_apart
from cellmon.charts.differences import stretches_of
from cellmon.errors import NotEnoughData

BATCHES, IN_BATCH = 8, 4
"""Runs into which a stretch is cut, and the points of one at least: neighbours hang together, runs hardly."""
LEAST = 4 * IN_BATCH
"""Points of a stretch below which nothing is said."""


def batches_apart(first: ArrayLike, second: ArrayLike, *, confidence: float) -> Between:
    """Return how far the mean of the second stretch lies above that of the first.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Means of subgroups of two stretches, in order; each is cut into up to eight runs that follow one
        another, at least four of at least four points.
    confidence : float
        Of the interval, two-sided.

    Raises
    ------
    NotEnoughData
        Below 16 points of a stretch.

    References
    ----------
    The method of batch means: Law and Kelton, Simulation Modeling and Analysis; Welch, Biometrika 34 (1947)
    (both from memory; where each run is one point, against `scipy.stats.ttest_ind`). Coverage by simulation:
    docs/method.md.

    Examples
    --------
    >>> batches_apart(np.arange(32) % 2, 3 + np.arange(32) % 2, confidence=0.95).value
    3.0
    """
    sides = [np.asarray(side, dtype=np.float64) for side in (first, second)]
    short = min(map(len, sides))
    if short < LEAST:
        raise NotEnoughData("subgroups of each stretch", need=LEAST, got=short)
    return means_apart(*map(_batches, sides), confidence=confidence)


def _batches(points: NDArray[np.float64]) -> NDArray[np.float64]:
    together = np.zeros(len(points), dtype=np.int64)
    unknown = np.full(len(points), np.nan)
    return stretches_of(points, together, unknown, least=IN_BATCH, wanted=BATCHES).mean
