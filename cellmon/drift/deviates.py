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
    eight = 8 * v
    found: Floats = np.sign(x) * ((eight + 1) / (eight + 3)) * np.sqrt(v * np.log1p(x * x / v))
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
    to_term = np.asarray(2 / (9 * to_df))
    return variance_ratio(
        np.maximum(f, 0.0), 2 / (9 * v1), 2 / (9 * v2), to_term=to_term, root_of_to=np.sqrt(to_term)
    )


def variance_ratio(
    ratio: Floats, term: Floats, known_term: Floats, *, to_term: Floats, root_of_to: Floats
) -> Floats:
    """Return `as_variance_ratio` of ratios, none negative, given 2 / 9 df of all degrees of freedom.

    `root_of_to` is the root of `to_term`, which whoever asks again and again works out once.
    """
    root = np.cbrt(ratio)
    z = ((1 - known_term) * root - (1 - term)) / np.sqrt(known_term * root**2 + term)
    z *= root_of_to
    z += 1
    z -= to_term
    found: Floats = np.maximum(z, 0.0) ** 3
    return found
