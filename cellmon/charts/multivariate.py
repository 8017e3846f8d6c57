"""Several features of a point judged together: Hotelling's T-squared, and that of their EWMAs (MEWMA)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular
from scipy.signal import lfilter

from cellmon.errors import GapInReadings, NoSpread, NotEnoughData

Floats = NDArray[np.float64]


def t_squared(x: ArrayLike, mean: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return (x - mean)' covariance^-1 (x - mean) of each point.

    Parameters
    ----------
    x : array_like, shape (m, p)
        Points of p features.
    mean : array_like, shape (p,)
    covariance : array_like, shape (p, p)
        Of a point: that of single bores over n where points are means of n.

    Raises
    ------
    NotEnoughData, GapInReadings
        Without a point, or where a value is nan or infinite.
    NoSpread
        Where the covariance has no inverse: a feature that never differs, or one made of the others.

    References
    ----------
    Hotelling (1947), in Techniques of Statistical Analysis; NIST/SEMATECH e-Handbook, section 6.3.4.1.

    Examples
    --------
    >>> t_squared([[3.0, 0.0], [3.0, 3.0]], [0.0, 0.0], [[1.0, 0.0], [0.0, 9.0]])
    array([ 9., 10.])
    """
    white = _whitened(x, mean, covariance)
    return np.asarray(np.einsum("ij,ij->j", white, white), dtype=np.float64)


def mewma(x: ArrayLike, weight: float, mean: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return T-squared of the EWMA of vectors after each point, with the steady covariance.

    Parameters
    ----------
    x, mean, covariance
        As `t_squared`.
    weight : float
        Of the newest point, above 0 and up to 1; one for all features.

    References
    ----------
    Lowry, Woodall, Champ and Rigdon, Technometrics 34 (1992), 46-53.

    Examples
    --------
    >>> mewma([[1.0], [1.0]], 0.5, [0.0], [[1.0]])
    array([0.75  , 1.6875])
    """
    if not 0 < weight <= 1:
        raise ValueError(f"a weight above 0 and up to 1, not {weight}")
    white = _whitened(x, mean, covariance)
    z = lfilter([weight], [1.0, weight - 1.0], white, axis=1)
    return np.asarray((2 - weight) / weight * np.einsum("ij,ij->j", z, z), dtype=np.float64)


def _whitened(x: ArrayLike, mean: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return points with unit covariance, features first, shape (p, m)."""
    points, centre = np.asarray(x, dtype=np.float64), np.asarray(mean, dtype=np.float64)
    spread = np.asarray(covariance, dtype=np.float64)
    if points.ndim != 2 or centre.shape != points.shape[1:] or spread.shape != 2 * centre.shape:
        raise TypeError(f"shapes that do not match: {points.shape}, {centre.shape}, {spread.shape}")
    if min(points.shape) < 1:
        raise NotEnoughData("points, and features of each", need=1, got=min(points.shape))
    if not np.isfinite(points).all():
        raise GapInReadings("points", position=int(np.argwhere(~np.isfinite(points))[0, 0]))
    if not np.isfinite(centre).all() or not np.isfinite(spread).all():
        raise GapInReadings("means and covariance", position=0)
    try:
        root = np.linalg.cholesky(spread)
    except np.linalg.LinAlgError:
        raise NoSpread("features together") from None
    if float(np.diag(root).min()) < 1e-9 * float(np.sqrt(np.diag(spread)).max()):
        raise NoSpread("features together")
    return np.asarray(solve_triangular(root, (points - centre).T, lower=True), dtype=np.float64)
