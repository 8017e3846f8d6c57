"""How many bores it takes until a claim can be made."""

from __future__ import annotations

import math

import numpy as np

from cellmon.capability.intervals import steadied

MOST = 10_000_000
"""Bores beyond which the claim is said to be out of reach."""


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
