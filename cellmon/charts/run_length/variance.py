"""Run length of a CUSUM of the variance: sums of s^2 / sigma^2 less a reference value.

With nu degrees of freedom and a true variance of `ratio` times the assumed one, a point has
nu s^2 / (ratio sigma^2) chi-square; it cannot be below nought, which bends the run length.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc

from cellmon.charts.run_length.cusum import general_cusum_run_length
from cellmon.charts.run_length.distribution import RunLength
from cellmon.charts.run_length.solving import limit_for

Floats = NDArray[np.float64]


def variance_cusum_run_length(
    k: float, h: float, df: float, *, ratio: float = 1.0, head_start: float = 0.0
) -> RunLength:
    """Return the run length of an upper CUSUM of variances.

    Parameters
    ----------
    k, h : float
        Reference value and limit of sums of s^2 / sigma^2.
    df : float
        Degrees of freedom of each s^2, from 1: n - 1 for subgroups of n.
    ratio : float
        True variance over assumed variance; the square of the ratio of standard deviations.

    References
    ----------
    Knoth, in Frontiers in Statistical Quality Control 8 (2006), for collocation by panels (from memory).

    Examples
    --------
    >>> round(variance_cusum_run_length(1.285, 2.922, 4, ratio=1.5**2).mean, 1)
    4.2
    """
    if not df >= 1 or not ratio > 0:
        raise ValueError(f"degrees of freedom from 1 and a ratio above 0, not {df} and {ratio}")
    return general_cusum_run_length(
        k,
        h,
        partial(_ratio_cdf, df=df, ratio=ratio),
        least=0.0,
        spread=math.sqrt(2 / df),
        head_start=head_start,
    )


def variance_cusum_arl(k: float, h: float, df: float, ratio: float = 1.0) -> float:
    """Return the average run length of an upper CUSUM of variances, as `variance_cusum_run_length`."""
    return variance_cusum_run_length(k, h, df, ratio=ratio).mean


def variance_cusum_limit(k: float, df: float, arl: float) -> float:
    """Return the h of an upper CUSUM of variances that runs for `arl` points when nothing moves.

    Raises
    ------
    ValueError
        Where k is not above 1, the mean of a point: the sum would grow by itself; or arl is above 1e9.
    """
    if not k > 1:
        raise ValueError(f"a reference value above 1, not {k}")
    root = decay(k, df)
    return limit_for(
        lambda h: variance_cusum_arl(k, h, df),
        arl,
        guess=max(0.2, math.log1p(root * root * arl / df) / root),
        slope=root,
    )


def decay(k: float, df: float) -> float:
    """Return the r > 0 with E exp(r (x - k)) = 1: the mean run length grows as exp(r h).

    For chi-square over its degrees of freedom, r k = -(nu / 2) log(1 - 2 r / nu).

    >>> round(decay(1.285, 4), 4)
    0.8162
    """
    low, high = 0.0, 1.0
    for _ in range(80):  # in u = 2 r / nu, where u k + log(1 - u) is above 0 below the root
        u = (low + high) / 2
        if u * k + math.log1p(-u) > 0:
            low = u
        else:
            high = u
    return low * df / 2


def reference_for_ratio(ratio: float) -> float:
    """Return the k of the likelihood-ratio CUSUM against a true ratio: ratio log(ratio) / (ratio - 1).

    References
    ----------
    Hawkins and Olwell, Cumulative Sum Charts (1998), for the gamma family (from memory).

    >>> round(reference_for_ratio(1.44), 4)
    1.1934
    """
    if not ratio > 0 or ratio == 1:
        raise ValueError(f"a ratio above 0 other than 1, not {ratio}")
    return ratio * math.log(ratio) / (ratio - 1)


def _ratio_cdf(x: Floats, *, df: float, ratio: float) -> Floats:
    return np.asarray(gammainc(df / 2, np.maximum(x, 0.0) * (df / (2 * ratio))), dtype=np.float64)
