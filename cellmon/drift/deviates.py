"""How far out a figure lies whose spread is itself estimated, as a deviate of a known spread."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def as_normal(t: ArrayLike, df: ArrayLike) -> Floats:
    """Return the normal deviate with the tail area of Student's t, by Wallace's approximation.

    References
    ----------
    Wallace, Bounds on normal approximations to Student's and the chi-square distributions, Annals of
    Mathematical Statistics 30 (1959) (from memory); checked against scipy in `tests/drift/test_deviates.py`.
    """
    x, v = np.asarray(t, dtype=np.float64), np.asarray(df, dtype=np.float64)
    factor = (8 * v + 1) / (8 * v + 3)
    found: Floats = np.sign(x) * factor * np.sqrt(v * np.log1p(x * x / v))
    return found


def as_variance_ratio(ratio: ArrayLike, df: ArrayLike, known_df: ArrayLike, *, to_df: float) -> Floats:
    """Return the variance ratio of `to_df` over a known variance that lies as far out as the one seen.

    Parameters
    ----------
    ratio : array_like
        Variance of a subgroup over an estimate of it.
    df, known_df : array_like
        Degrees of freedom of both.

    References
    ----------
    Paulson, An approximate normalization of the analysis of variance distribution, Annals of
    Mathematical Statistics 13 (1942); Wilson and Hilferty, PNAS 17 (1931) (both from memory); checked
    against scipy in `tests/drift/test_deviates.py`.
    """
    f, v1, v2 = (np.asarray(x, dtype=np.float64) for x in (ratio, df, known_df))
    root = np.cbrt(np.maximum(f, 0.0))
    a, b = 2 / (9 * v1), 2 / (9 * v2)
    z = ((1 - b) * root - (1 - a)) / np.sqrt(b * root**2 + a)
    c = 2 / (9 * to_df)
    found: Floats = np.maximum(z * np.sqrt(c) + 1 - c, 0.0) ** 3
    return found
