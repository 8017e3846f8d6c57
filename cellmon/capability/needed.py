"""How many bores it takes until a claim can be made."""

from __future__ import annotations

import math

import numpy as np

from cellmon.capability.intervals import steadied
from cellmon.stats.intervals import one_sided_index_bound

MOST = 10_000_000
"""Bores beyond which the claim is said to be out of reach."""


def bores_needed(index: float, *, required: float, confidence: float) -> int | None:
    """Return the fewest normal bores from which an index found carries the claim, None where none do.

    Parameters
    ----------
    index : float
        As it would be found; it must exceed `required`.
    required, confidence : float
        What its one-sided lower bound must reach.

    References
    ----------
    The bound is that of `stats.intervals.one_sided_index_bound` with n - 1 degrees of freedom.

    >>> bores_needed(1.67, required=1.33, confidence=0.95)
    38
    """
    if index <= required:
        return None

    def enough(n: int) -> bool:
        return one_sided_index_bound(index, n=n, df=n - 1, confidence=confidence) >= required

    high = 4
    while not enough(high):
        high *= 2
        if high > MOST:
            return None
    low = max(high // 2, 2)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def bores_needed_by_error(index: float, bound: float, *, n: int, required: float) -> int | None:
    """Return the bores it takes where the error falls with their root, None where no number does.

    Parameters
    ----------
    index, bound : float
        Found from `n` bores, the bound at the confidence of the claim.

    References
    ----------
    Errors of fitted families fall with the root of n; taken on the scale of `intervals.steadied`.
    """
    value, low, goal = (float(steadied(np.array(v))) for v in (index, bound, required))
    if value <= goal or value <= low:
        return None
    needed = n * ((value - low) / (value - goal)) ** 2
    return None if needed > MOST else max(2, math.ceil(needed))
