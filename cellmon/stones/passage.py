"""First passage of a wear path through the depth that is left: the inverse Gaussian law."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfcx, ndtr

Floats = NDArray[np.float64]

FAR = 8.0
"""So many roots of twice the variance away a chance differs from 0 or 1 by less than 1e-28."""


def passage_cdf(bores: ArrayLike, *, depth: ArrayLike, rate: ArrayLike, noise: ArrayLike) -> Floats:
    """Return the chance that wear has used up a depth within so many bores.

    Parameters
    ----------
    bores : array_like
        Bores honed from now; 0 or less is now.
    depth : array_like
        What may still wear off, µm; where it is 0 or less the chance is 1.
    rate, noise : array_like
        Mean wear of a bore, µm, and the standard deviation of what one bore adds to it, above 0. All
        four broadcast against each other.

    References
    ----------
    Cox and Miller, The Theory of Stochastic Processes (1965), section 5.7; Chhikara and Folks,
    Technometrics 19 (1977), 461-468 (both from memory).

    Examples
    --------
    >>> float(passage_cdf(1.0, depth=1.0, rate=1.0, noise=1.0).round(6))
    0.668102
    """
    n, left = np.asarray(bores, dtype=np.float64), np.asarray(depth, dtype=np.float64)
    drift, sigma = np.asarray(rate, dtype=np.float64), np.asarray(noise, dtype=np.float64)
    if not (sigma > 0).all():
        raise ValueError("a noise above 0")
    later = np.where(n > 0, n, 1.0)
    worn, root = drift * later, sigma * np.sqrt(2 * later)
    over = (worn - left) / root
    passed = np.where(over > 0, 1.0, 0.0)  # far from where it is passed nothing else can be told
    near = np.flatnonzero(np.abs(over) < FAR)
    by = over.ravel()[near]
    # exp(2 drift left / sigma^2) over- and underflows; over the tail beside it both are one exponent
    beside = erfcx(((worn + np.maximum(left, 0.0)) / root).ravel()[near])
    np.ravel(passed)[near] = ndtr(np.sqrt(2) * by) + np.exp(-(by**2)) / 2 * beside
    found = np.where(left <= 0, 1.0, np.where(n > 0, np.minimum(passed, 1.0), 0.0))
    return np.asarray(found, dtype=np.float64)
