"""A straight line with the intervals of its slope and level: drift over time, linearity over masters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from cellmon.errors import NoSpread
from cellmon.stats.summary import as_series


@dataclass(frozen=True, kw_only=True)
class Line:
    """y = level + slope (x - middle), by least squares; the level at `middle` is the mean of y."""

    n: int
    middle: float
    level: float
    slope: float
    slope_low: float
    slope_high: float
    residual_sd: float
    level_se: float
    slope_se: float
    confidence: float

    @property
    def df(self) -> int:
        """Degrees of freedom of what is left over."""
        return self.n - 2

    def at(self, x: float) -> float:
        """Return the level of the line at x."""
        return self.level + self.slope * (x - self.middle)

    def half_width(self, x: float) -> float:
        """Return half the interval of that level."""
        error = math.hypot(self.level_se, self.slope_se * (x - self.middle))
        return float(stdtrit(self.df, (1 + self.confidence) / 2)) * error


def straight_line(x: ArrayLike, y: ArrayLike, *, confidence: float = 0.95) -> Line:
    """Fit a straight line.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        At least three points, x not all the same.

    References
    ----------
    NIST Statistical Reference Datasets, linear regression, for certified values; AIAG, Measurement
    Systems Analysis, 4th ed., for bias over masters.

    Examples
    --------
    >>> round(straight_line([0.0, 1.0, 2.0], [0.0, 1.0, 2.3]).slope, 3)
    1.15
    """
    a, b = as_series(x, need=3, what="points of a line"), as_series(y, need=3, what="points of a line")
    if len(a) != len(b):
        raise TypeError(f"{len(a)} values of x and {len(b)} of y")
    middle, level = float(a.mean()), float(b.mean())
    dx, dy = a - middle, b - level
    squares = float(dx @ dx)
    if a.min() == a.max():
        raise NoSpread("x of a line")
    slope = float(dx @ dy) / squares
    left = dy - slope * dx
    n = len(a)
    sd = math.sqrt(float(left @ left) / (n - 2))
    slope_se = sd / math.sqrt(squares)
    half = float(stdtrit(n - 2, (1 + confidence) / 2)) * slope_se
    return Line(
        n=n,
        middle=middle,
        level=level,
        slope=slope,
        slope_low=slope - half,
        slope_high=slope + half,
        residual_sd=sd,
        level_se=sd / math.sqrt(n),
        slope_se=slope_se,
        confidence=confidence,
    )


def zero_errors(reading_mm: ArrayLike, master_mm: ArrayLike) -> np.typing.NDArray[np.float64]:
    """Return reading less master in micrometres, to a tenth of a nanometre.

    >>> zero_errors([87.3124], [87.312])
    array([0.4])
    """
    off = (np.asarray(reading_mm, dtype=np.float64) - np.asarray(master_mm, dtype=np.float64)) * 1000.0
    return np.asarray(np.round(off, 4), dtype=np.float64)
