"""EWMA: each point counts by its weight, the ones before by what is left; and the limits that go with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.charts.shewhart import Limits
from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]


def ewma(x: ArrayLike, weight: float, *, start: float = 0.0) -> Floats:
    """Return z = weight x + (1 - weight) z after each point, from `start`.

    Parameters
    ----------
    x : array_like, shape (m,)
        Points, in any unit.
    weight : float
        Of the newest point, above 0 and up to 1.
    start : float
        What the points should be on average, in their unit.

    Raises
    ------
    NotEnoughData, GapInReadings
        Without a point, or where one is nan or infinite.

    References
    ----------
    Roberts, Technometrics 1 (1959), 239-250; NIST/SEMATECH e-Handbook, section 6.3.2.4.

    Examples
    --------
    >>> ewma([1.0, 1.0], 0.5)
    array([0.5 , 0.75])
    """
    from scipy.signal import lfilter  # late: scipy.signal brings all of scipy.stats

    points = as_series(x, need=1, what="points")
    _weight(weight)
    z, _ = lfilter([weight], [1.0, weight - 1.0], points, zi=np.array([(1 - weight) * start]))
    return np.asarray(z, dtype=np.float64)


def ewma_limits(
    centre: ArrayLike, sigma: ArrayLike, weight: float, *, width: float = 3.0, points: ArrayLike | None = None
) -> Limits:
    """Return the limits of an EWMA: centre -+ width sigma sqrt(weight / (2 - weight)).

    Parameters
    ----------
    centre, sigma : array_like
        Of the points, in their unit; one, or one a point.
    width : float
        In standard deviations of the EWMA; `run_length.ewma.ewma_limit` gives it for a run length.
    points : array_like of int or None
        Points since the start, for the limits of the first ones; None gives the steady limits.

    Examples
    --------
    >>> round(float(ewma_limits(50.0, 2.0539, 0.3).upper), 4)
    52.5884
    """
    _weight(weight)
    middle, spread = np.asarray(centre, dtype=np.float64), np.asarray(sigma, dtype=np.float64)
    if not (spread > 0).all() or not width > 0:
        raise ValueError(f"a sigma and a width above 0, not {sigma!r} and {width}")
    variance = np.asarray(weight / (2 - weight), dtype=np.float64)
    if points is not None:
        variance = variance * (1 - (1 - weight) ** (2 * np.asarray(points, dtype=np.float64)))
    half = width * spread * np.sqrt(variance)
    return Limits(lower=middle - half, centre=middle + 0 * half, upper=middle + half)


def _weight(weight: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError(f"a weight above 0 and up to 1, not {weight}")
