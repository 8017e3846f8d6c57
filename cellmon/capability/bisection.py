"""Many roots at once, each halved into its interval."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def bisected(
    short: Callable[[Floats], NDArray[np.bool_]], *, low: Floats, high: Floats, rounds: int
) -> Floats:
    """Return where a rising condition turns, between `low` and `high` of one shape.

    Parameters
    ----------
    short : callable
        Says of each middle whether the root lies above it.
    rounds : int
        How often the intervals are halved: 2^-rounds of their length is left.

    Examples
    --------
    >>> low, high = np.zeros(2), np.array([2.0, 4.0])
    >>> bisected(lambda x: x * x < np.array([1.0, 9.0]), low=low, high=high, rounds=50).round(9).tolist()
    [1.0, 3.0]
    """
    for _ in range(rounds):
        middle = (low + high) / 2
        above = short(middle)
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray((low + high) / 2, dtype=np.float64)
