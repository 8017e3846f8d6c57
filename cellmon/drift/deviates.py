"""How far out a figure lies whose spread is itself estimated, as a deviate of a known spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Constants:
    """The numbers of the formulas as arrays: beside a short array numpy takes them at half the cost."""

    nothing: Floats
    one: Floats
    two: Floats
    three: Floats
    eight: Floats
    nine: Floats

    @classmethod
    def of(cls, *shape: int) -> Constants:
        """Return them for arrays of one shape."""
        nothing, one, two, three, eight, nine = (np.full(shape, float(n)) for n in (0, 1, 2, 3, 8, 9))
        return cls(nothing=nothing, one=one, two=two, three=three, eight=eight, nine=nine)


ANY_SHAPE = Constants.of()


def as_normal(t: ArrayLike, df: ArrayLike) -> Floats:
    """Return the normal deviate with the tail area of Student's t, by Wallace's approximation.

    References
    ----------
    Wallace, Bounds on normal approximations to Student's and the chi-square distributions, Annals of
    Mathematical Statistics 30 (1959) (from memory); checked against scipy in `tests/drift/test_deviates.py`.
    """
    return normal(np.asarray(t, dtype=np.float64), np.asarray(df, dtype=np.float64), ANY_SHAPE)


def normal(x: Floats, v: Floats, c: Constants, *, out: Floats | None = None) -> Floats:
    """Return `as_normal` of deviates x and degrees of freedom v."""
    eight = c.eight * v
    sided = np.sign(x) * ((eight + c.one) / (eight + c.three))
    found: Floats = np.multiply(sided, np.sqrt(v * np.log1p(x * x / v)), out=out)
    return found


def variance_ratio(
    ratio: Floats,
    term: Floats,
    less_term: Floats,
    known_df: Floats,
    c: Constants,
    *,
    to_term: Floats,
    root_of_to: Floats,
    out: Floats | None = None,
) -> Floats:
    """Return the variance ratio over a known variance that lies as far out as one over an estimated.

    Parameters
    ----------
    ratio : ndarray
        Variance of a subgroup over an estimate of it, never negative.
    term, less_term : ndarray
        2 / (9 df) of the subgroup, and one less that: whoever asks again and again works them out once.
    known_df : ndarray
        Degrees of freedom of the estimate.
    to_term, root_of_to : ndarray
        2 / (9 df) of the ratio returned, and its root.

    References
    ----------
    Paulson, An approximate normalization of the analysis of variance distribution, Annals of
    Mathematical Statistics 13 (1942); Wilson and Hilferty, PNAS 17 (1931) (both from memory); checked
    against scipy in `tests/drift/test_deviates.py`.
    """
    root, known_term = np.cbrt(ratio), c.two / (c.nine * known_df)
    z = ((c.one - known_term) * root - less_term) / np.sqrt(known_term * root**2 + term)
    z *= root_of_to
    z += c.one
    z -= to_term
    found: Floats = np.power(np.maximum(z, c.nothing), 3, out=out)
    return found
