"""A straight line through what a set leaves behind, where its slope is clear."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BLOCKS = 12
"""Stretches of a set's bores whose means tell a drift: what wanders inside one is no news."""
CLEAR = 4.5
"""Standard errors from which a drift is believed: with 10 degrees of freedom about 1 in 1000."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """A clear line, at its last bore; the slope a bore."""

    level: float
    slope: float
    covariance: tuple[tuple[float, float], tuple[float, float]]


def clear_line(bores: Floats, mean: Floats) -> Line | None:
    """Return a straight line by the means of equal stretches, where its slope is clear."""
    edges = np.linspace(0, len(bores), BLOCKS + 1).astype(int)
    x = np.array([bores[a:b].mean() for a, b in pairwise(edges)])
    y = np.array([mean[a:b].mean() for a, b in pairwise(edges)])
    off = x - x.mean()
    squares = float((off**2).sum())
    slope = float((off * y).sum()) / squares
    variance = float(((y - y.mean() - slope * off) ** 2).sum()) / (BLOCKS - 2)
    slope_var = variance / squares
    if abs(slope) <= CLEAR * np.sqrt(slope_var):
        return None
    ahead = float(bores[-1]) - float(x.mean())
    level_var = variance / BLOCKS + ahead**2 * slope_var
    both = ahead * slope_var
    level = float(y.mean()) + slope * ahead
    return Line(level=level, slope=slope, covariance=((level_var, both), (both, slope_var)))
