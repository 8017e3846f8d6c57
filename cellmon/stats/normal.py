"""Shares and quantiles of the normal distribution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]
PER_MILLION = 1e6


@dataclass(frozen=True, kw_only=True, eq=False)
class Outside:
    """Parts per million beyond each limit; 0 on a side without a limit."""

    below: Floats
    above: Floats

    @property
    def total(self) -> Floats:
        """Parts per million beyond either limit."""
        return np.asarray(self.below + self.above, dtype=np.float64)


def share_below(z: ArrayLike) -> Floats:
    """Return the share of a standard normal population below z, exact far into the tail."""
    return np.asarray(ndtr(np.asarray(z, dtype=np.float64)), dtype=np.float64)


def share_above(z: ArrayLike) -> Floats:
    """Return the share of a standard normal population above z, exact far into the tail."""
    return share_below(-np.asarray(z, dtype=np.float64))


def quantile(p: ArrayLike) -> Floats:
    """Return the value below which a share p of a standard normal population lies.

    >>> round(float(quantile(0.975)), 6)
    1.959964
    """
    return np.asarray(ndtri(np.asarray(p, dtype=np.float64)), dtype=np.float64)


def ppm_outside(mean: ArrayLike, sd: ArrayLike, *, lower: float | None, upper: float | None) -> Outside:
    """Return the parts per million of a normal population beyond its limits.

    Parameters
    ----------
    mean, sd : array_like
        Of the population; broadcast against each other. sd above 0.
    lower, upper : float or None
        Limits in the same unit; None where there is none.

    Examples
    --------
    >>> round(float(ppm_outside(0.0, 1.0, lower=-3.0, upper=3.0).total), 1)
    2699.8
    """
    m, s = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64))
    none = np.zeros(m.shape)
    below = none if lower is None else PER_MILLION * share_below((lower - m) / s)
    above = none if upper is None else PER_MILLION * share_above((upper - m) / s)
    return Outside(below=below, above=above)
