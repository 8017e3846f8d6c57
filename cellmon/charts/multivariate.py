"""Several features of a point judged together: Hotelling's T-squared, and that of their EWMAs (MEWMA)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.errors import GapInReadings, NoSpread, NotEnoughData

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
DEPENDENT = 1e-6
"""Least share of the features' variance that lies along any direction; below, some are made of others."""
STILL = 1e-3
"""Standard deviation of a feature over the largest, below which it is the rounding of readings."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """What each feature brings to a T-squared; arrays of shape (m, p), signed, in standard errors.

    Their squares are the first and the last term the feature may have in T-squared.
    """

    alone: Floats
    """Its own deviation, the others unseen."""
    given_others: Floats
    """Its deviation from what the others lead one to expect; squared, what T-squared loses without it."""


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
    z = vector_ewma(_whitened(x, mean, covariance).T, weight)
    return np.asarray((2 - weight) / weight * np.einsum("ij,ij->i", z, z), dtype=np.float64)


def vector_ewma(deviations: ArrayLike, weight: float) -> Floats:
    """Return the EWMA of vectors after each, shape (m, p), from nought; its steady covariance is
    weight / (2 - weight) that of a point.

    >>> vector_ewma([[1.0, 2.0], [1.0, 0.0]], 0.5)
    array([[0.5 , 1.  ],
           [0.75, 0.5 ]])
    """
    from scipy.signal import lfilter  # late: scipy.signal brings all of scipy.stats

    if not 0 < weight <= 1:
        raise ValueError(f"a weight above 0 and up to 1, not {weight}")
    z = lfilter([weight], [1.0, weight - 1.0], np.asarray(deviations, dtype=np.float64), axis=0)
    return np.asarray(z, dtype=np.float64)


def parts_of_t_squared(deviations: ArrayLike, covariance: ArrayLike) -> Parts:
    """Return which features a T-squared comes from.

    Parameters
    ----------
    deviations : array_like, shape (m, p)
        Of points from their means.
    covariance : array_like, shape (p, p)
        Of a point; refusals as `t_squared`.

    References
    ----------
    Mason, Tracy and Young, Journal of Quality Technology 27 (1995), 99-108: the first and the last terms
    of their decomposition; the last is also Runger, Alt and Montgomery's d (1996) (both from memory).

    Examples
    --------
    >>> found = parts_of_t_squared([[1.0, -1.0]], [[1.0, 0.8], [0.8, 1.0]])
    >>> found.alone.round(2), found.given_others.round(2)
    (array([[ 1., -1.]]), array([[ 3., -3.]]))
    """
    x, spread = np.asarray(deviations, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    _whitened(x, np.zeros(x.shape[1:]), spread)
    inverse = np.linalg.inv(spread)
    return Parts(
        alone=np.asarray(x / np.sqrt(np.diag(spread)), dtype=np.float64),
        given_others=np.asarray(x @ inverse / np.sqrt(np.diag(inverse)), dtype=np.float64),
    )


def inside_covariance(x: ArrayLike, subgroup: ArrayLike) -> Floats:
    """Return the covariance of single bores inside their subgroups, pooled, shape (p, p).

    Parameters
    ----------
    x : array_like, shape (bores, p)
    subgroup : array_like of int, shape (bores,)
        From 0; which subgroup each bore is of.

    Raises
    ------
    NotEnoughData, GapInReadings
        With fewer bores than subgroups and features together, or where a value is not finite.

    References
    ----------
    NIST/SEMATECH e-Handbook, section 6.5.4.3.1: mean of the subgroups' covariances.

    Examples
    --------
    >>> inside_covariance([[1.0, 0.0], [3.0, 2.0], [9.0, 5.0], [9.0, 9.0]], [0, 0, 1, 1])
    array([[1., 1.],
           [1., 5.]])
    """
    values, of = np.asarray(x, dtype=np.float64), np.asarray(subgroup, dtype=np.int64)
    if not np.isfinite(values).all():
        raise GapInReadings("bores", position=int(np.argwhere(~np.isfinite(values))[0, 0]))
    n = np.bincount(of)
    df = len(values) - int((n > 0).sum())
    if df < values.shape[1]:
        raise NotEnoughData("bores beyond the first of each subgroup", need=values.shape[1], got=df)
    sums = np.zeros((len(n), values.shape[1]))
    np.add.at(sums, of, values)
    off = values - (sums / np.maximum(n, 1)[:, None])[of]
    return np.asarray(off.T @ off / df, dtype=np.float64)


def dependent_features(covariance: ArrayLike) -> Whole:
    """Return which features are made of one another (or hardly differ), by their place; none: empty.

    All in one unit.

    >>> dependent_features([[1.0, 0.5, 1.5], [0.5, 1.0, 1.5], [1.5, 1.5, 3.0]])
    array([0, 1, 2])
    """
    spread = np.asarray(covariance, dtype=np.float64)
    sd = np.sqrt(np.diag(spread))
    still = ~(sd > STILL * sd.max())
    if still.any():
        return np.flatnonzero(still)
    values, vectors = np.linalg.eigh(spread / np.outer(sd, sd))
    if values[0] > DEPENDENT:
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(np.abs(vectors[:, values <= DEPENDENT]).max(axis=1) > 0.05)


def _whitened(x: ArrayLike, mean: ArrayLike, covariance: ArrayLike) -> Floats:
    """Return points with unit covariance, features first, shape (p, m)."""
    from scipy.linalg import solve_triangular  # late: slow to import

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
