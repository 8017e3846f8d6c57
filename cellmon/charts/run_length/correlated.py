"""What serial correlation between bores does to charts: r^j at lag j (first-order autoregression).

Limits of means come from the spread inside subgroups. Correlation makes that spread smaller and the
spread of means larger; so such limits are too narrow twice.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr, ndtri


def mean_variance_factor(n: int, r1: float) -> float:
    """Return n Var(mean of n) / Var(one): 1 + 2 sum (1 - j/n) r1^j.

    >>> round(mean_variance_factor(5, 0.15), 4)
    1.2699
    """
    _lag_one(r1)
    if n < 1:
        raise ValueError(f"at least one bore, not {n}")
    lags = np.arange(1, n)
    return 1 + 2 * float(((1 - lags / n) * r1**lags).sum())


def within_variance_factor(n: int, r1: float) -> float:
    """Return E s^2 inside subgroups of n over the variance of a bore: (n - factor of the mean) / (n - 1)."""
    if n < 2:
        raise ValueError(f"at least two bores, not {n}")
    return (n - mean_variance_factor(n, r1)) / (n - 1)


def correlated_chance(n: int, r1: float, *, width: float = 3.0) -> float:
    """Return the chance that a mean lies beyond limits from the spread inside subgroups.

    By s; limits by ranges are within a per cent of them. Its inverse is points to a false alarm;
    neighbouring means are correlated too, so alarms come in clusters.

    Examples
    --------
    >>> [round(1 / correlated_chance(5, r1)) for r1 in (0.0, 0.15, 0.3)]
    [370, 99, 34]
    """
    return 2 * float(ndtr(-width * _ratio(n, r1)))


def correlated_width(n: int, r1: float, *, chance: float = 0.0026997960632601866) -> float:
    """Return the width, in standard errors from inside subgroups, that keeps the promised chance.

    >>> round(1 / correlated_chance(5, 0.3, width=correlated_width(5, 0.3)), 1)
    370.4
    """
    if not 0 < chance < 1:
        raise ValueError(f"a chance between 0 and 1, not {chance}")
    return -float(ndtri(chance / 2)) / _ratio(n, r1)


def _ratio(n: int, r1: float) -> float:
    """Return the standard error from inside subgroups over the true one."""
    return math.sqrt(within_variance_factor(n, r1) / mean_variance_factor(n, r1))


def _lag_one(r1: float) -> None:
    if not -1 < r1 < 1:
        raise ValueError(f"a correlation between -1 and 1, not {r1}")
