"""The slope that stretches of one stream have in common, each with a level of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cellmon.errors import NotEnoughData

LEAST_LEFT = 6
"""Degrees of freedom that tell how unsure a slope is."""


@dataclass(frozen=True, kw_only=True)
class Slope:
    """A slope and its standard error, micrometres a bore."""

    um: float
    error_um: float


def common_slope(mean: ArrayLike, bores: ArrayLike, stretch: ArrayLike, *, least_sd_um: float = 0.0) -> Slope:
    """Fit parallel lines: one slope, and a level of its own for each stretch.

    Parameters
    ----------
    mean, bores, stretch : array_like, shape (k,)
        Means of subgroups, micrometres; bores made until each; the number of the stretch each lies in.
    least_sd_um : float
        What a mean scatters about its line at least.

    Raises
    ------
    NotEnoughData
        Where fewer than 6 degrees of freedom are left, or no stretch has two subgroups.

    References
    ----------
    The pooled slope of an analysis of covariance; checked in `tests/drift/test_slope.py` against
    `numpy.linalg.lstsq` with one column a stretch.

    Examples
    --------
    >>> common_slope([0, 1, 2, 3, 0, 1, 2, 3, 4], range(9), [0, 0, 0, 0, 1, 1, 1, 1, 1]).um
    1.0
    """
    y, x = np.array(mean, dtype=np.float64), np.array(bores, dtype=np.float64)
    number = np.unique(np.asarray(stretch), return_inverse=True)[1]
    count = np.bincount(number)
    y -= (np.bincount(number, y) / count)[number]
    x -= (np.bincount(number, x) / count)[number]
    left, squares = len(y) - len(count) - 1, float((x**2).sum())
    if left < LEAST_LEFT or not squares > 0:
        raise NotEnoughData("degrees of freedom of a slope", need=LEAST_LEFT, got=max(left, 0))
    slope = float((x * y).sum()) / squares
    sd = max(float(np.sqrt(((y - slope * x) ** 2).sum() / left)), least_sd_um)
    return Slope(um=slope, error_um=sd / float(np.sqrt(squares)))
