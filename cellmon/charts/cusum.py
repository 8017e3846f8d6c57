"""CUSUM: sums of what points exceed a reference value by, never below nought; either side.

The recursion max(0, S + x - k) is a cumulative sum less its own running minimum, so it needs no loop
over points. Blocks keep the sums short, and with them the rounding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
_BLOCK = 16_384


@dataclass(frozen=True, kw_only=True, eq=False)
class CusumSeries:
    """Both sums after each point, in the unit of the points; both from 0 up."""

    upper: Floats
    lower: Floats


def cusum(x: ArrayLike, k: float, *, target: float = 0.0, head_start: float = 0.0) -> CusumSeries:
    """Return the upper and the lower CUSUM of a series.

    Parameters
    ----------
    x : array_like, shape (m,)
        Points, in any unit.
    k : float
        Reference value, from 0, in that unit: half the shift to be seen soonest.
    target : float
        What the points should be on average.
    head_start : float
        Where both sums begin, from 0.

    Raises
    ------
    NotEnoughData, GapInReadings
        Without a point, or where one is nan or infinite.

    References
    ----------
    Page, Biometrika 41 (1954), 100-115; NIST/SEMATECH e-Handbook, section 6.3.2.3.

    Examples
    --------
    >>> cusum([1.0, 2.0, -1.0], 0.5).upper
    array([0.5, 2. , 0.5])
    """
    points = as_series(x, need=1, what="points")
    if not k >= 0 or not head_start >= 0:
        raise ValueError(f"a reference value and a head start from 0, not {k} and {head_start}")
    return CusumSeries(
        upper=_one_side(points, target + k, head_start, rising=True),
        lower=_one_side(points, target - k, head_start, rising=False),
    )


def _one_side(x: Floats, reference: float, begin: float, *, rising: bool) -> Floats:
    """Return max(0, S + x - reference), or reference - x, from `begin`, block by block.

    With the sum carried into a block added to its first point, S is the cumulative sum less the least
    of it and nought.
    """
    result = np.empty_like(x)
    sums = np.zeros(min(_BLOCK, x.size) + 1)
    least = np.empty_like(sums)
    for start in range(0, x.size, _BLOCK):
        part = x[start : start + _BLOCK]
        end = part.size + 1
        if rising:
            np.subtract(part, reference, out=sums[1:end])
        else:
            np.subtract(reference, part, out=sums[1:end])
        sums[1] += begin
        np.cumsum(sums[1:end], out=sums[1:end])
        np.minimum.accumulate(sums[:end], out=least[:end])
        done = result[start : start + _BLOCK]
        np.subtract(sums[1:end], least[1:end], out=done)
        begin = float(done[-1])
    return result
