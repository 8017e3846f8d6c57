"""The gate that two-point readings pass."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
BLOCK = 8192
"""Bores worked at a time, so that a block stays in the processor's cache."""


def as_readings(um: ArrayLike) -> Floats:
    """Return readings as floats of shape (bores, planes, directions), or refuse them.

    Raises
    ------
    TypeError
        When they have more or fewer dimensions than three, or no plane or direction.
    """
    x = np.ascontiguousarray(um, dtype=np.float64)
    if x.ndim != 3 or min(x.shape[1:]) < 1:
        raise TypeError(f"expected (bores, planes, directions), got shape {x.shape}")
    return x
