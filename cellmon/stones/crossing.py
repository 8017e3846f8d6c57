"""When a level that drifts in a line passes a limit: bores from now, with what of the line is not known."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Bores until a level passes its limit; None: it may never."""

    p05: float
    p50: float
    p95: float | None


def level_crossing(*, level: float, slope: float, covariance: ArrayLike, upper: float) -> Crossing | None:
    """Return in how many bores a drifting level passes an upper limit; None where it does not lead there.

    Parameters
    ----------
    level, slope : float
        At the last bore, and a bore; any unit.
    covariance : array_like, shape (2, 2)
        Of level and slope.
    upper : float
        The limit.

    References
    ----------
    Fieller, Journal of the Royal Statistical Society B 16 (1954), 175-185 (from memory): a level of normal
    errors has passed by t with the chance that level + t slope lies beyond the limit.

    Examples
    --------
    >>> level_crossing(level=40.0, slope=0.01, covariance=[[0, 0], [0, 0]], upper=50.0).p50
    1000.0
    """
    if slope <= 0:
        return None
    v = np.asarray(covariance, dtype=np.float64)
    early, late = (_passed(upper - level, slope, v, float(ndtri(p))) for p in (0.05, 0.95))
    middle = max((upper - level) / slope, 0.0)
    return Crossing(p05=min(early, middle), p50=middle, p95=None if late == inf else max(late, middle))


def _passed(room: float, slope: float, v: NDArray[np.float64], z: float) -> float:
    """Return the first t at which slope t - room is z of its standard deviations; infinite where never."""
    a = slope**2 - z**2 * v[1, 1]
    b = -2 * (room * slope + z**2 * v[0, 1])
    c = room**2 - z**2 * v[0, 0]
    inside = b**2 - 4 * a * c
    if inside < 0:
        return inf if z > 0 else 0.0
    roots = sorted((-b + sign * sqrt(inside)) / (2 * a) for sign in (-1, 1)) if a else [-c / b]
    for t in roots:
        # squaring brought in the other sign of z
        if t >= 0 and (slope * t - room) * z >= 0:
            return float(t)
    return inf if z > 0 else 0.0
