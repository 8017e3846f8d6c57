"""Intervals that cover the true value as often as they say, for normal data and for counts.

Intervals of capability indices take the sample size `n` of the mean and the degrees of freedom `df`
of the standard deviation apart, because the spread inside subgroups has fewer than n - 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import betaincinv, gammaincinv, nctdtrinc, ndtri


@dataclass(frozen=True, kw_only=True)
class Interval:
    """Limits between which the true value lies in a share `confidence` of cases."""

    low: float
    high: float
    confidence: float


def chi_square_quantile(p: float, df: float) -> float:
    """Return the value below which chi-square with df degrees of freedom lies with probability p."""
    return 2 * float(gammaincinv(df / 2, p))


def sd_interval(sd: float, *, df: float, confidence: float = 0.95) -> Interval:
    """Return the interval of a normal standard deviation, exact: df s^2 / sigma^2 is chi-square.

    References
    ----------
    NIST/SEMATECH e-Handbook, section 1.3.5.8 (chi-square test for the standard deviation).
    """
    _check(df=df, confidence=confidence)
    tail = (1 - confidence) / 2
    return Interval(
        low=sd * math.sqrt(df / chi_square_quantile(1 - tail, df)),
        high=sd * math.sqrt(df / chi_square_quantile(tail, df)),
        confidence=confidence,
    )


def cp_interval(cp: float, *, df: float, confidence: float = 0.95) -> Interval:
    """Return the interval of Cp or Pp, exact for a standard deviation with df degrees of freedom.

    References
    ----------
    Kane, Journal of Quality Technology 18 (1986); Montgomery, Introduction to Statistical Quality
    Control, chapter on process capability.
    """
    _check(df=df, confidence=confidence)
    tail = (1 - confidence) / 2
    return Interval(
        low=cp * math.sqrt(chi_square_quantile(tail, df) / df),
        high=cp * math.sqrt(chi_square_quantile(1 - tail, df) / df),
        confidence=confidence,
    )


def cpk_interval_bissell(cpk: float, *, n: float, df: float, confidence: float = 0.95) -> Interval:
    """Return Bissell's interval of Cpk: cpk +- z sqrt(1 / (9 n) + cpk^2 / (2 df)).

    References
    ----------
    Bissell, Applied Statistics 39 (1990), 331-340.
    """
    _check(df=df, confidence=confidence)
    half = float(ndtri((1 + confidence) / 2)) * _cpk_error(cpk, n=n, df=df)
    return Interval(low=cpk - half, high=cpk + half, confidence=confidence)


def cpk_interval(cpk: float, *, n: float, df: float, confidence: float = 0.95) -> Interval:
    """Return Nagata and Nagahata's interval of Cpk: Bissell's, moved up by 1 / (30 sqrt n).

    The shift mends that the smaller of two estimated indices is on the average too small. Simulated
    coverage of both stands in docs/ and in the tests.

    References
    ----------
    Nagata and Nagahata, Approximation formulas for the confidence intervals of process capability
    indices, Okayama Economic Review 25 (1994); the formula is from memory, the coverage is ours.
    """
    plain = cpk_interval_bissell(cpk, n=n, df=df, confidence=confidence)
    shift = 1 / (30 * math.sqrt(n))
    return Interval(low=plain.low + shift, high=plain.high + shift, confidence=confidence)


def one_sided_index_bound(index: float, *, n: float, df: float, confidence: float) -> float:
    """Return what an index towards one limit exceeds with that confidence, exact for normal data.

    3 sqrt(n) times the index found has the noncentral t distribution with df degrees of freedom and
    noncentrality 3 sqrt(n) times the true index. For the smaller of two indices the bound is safe:
    it exceeds the true value no more often than it says. A confidence below one half gives an upper
    bound: 0.025 the upper end of a two-sided 95 % interval.

    References
    ----------
    Chou, Owen and Borrego, Journal of Quality Technology 22 (1990), 223-229.
    """
    _check(df=df, confidence=confidence)
    scale = 3 * math.sqrt(n)
    return float(nctdtrinc(df, confidence, scale * index)) / scale


def one_sided_index_interval(index: float, *, n: float, df: float, confidence: float = 0.95) -> Interval:
    """Return the two-sided interval of an index towards one limit, exact for normal data."""
    tail = (1 - confidence) / 2
    return Interval(
        low=one_sided_index_bound(index, n=n, df=df, confidence=1 - tail),
        high=one_sided_index_bound(index, n=n, df=df, confidence=tail),
        confidence=confidence,
    )


def clopper_pearson(k: int, n: int, *, confidence: float = 0.95) -> Interval:
    """Return the interval of a share of which k in n were seen, never covering too seldom.

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934), 404-413.
    """
    _check_count(k, n, confidence)
    tail = (1 - confidence) / 2
    low = 0.0 if k == 0 else float(betaincinv(k, n - k + 1, tail))
    high = 1.0 if k == n else float(betaincinv(k + 1, n - k, 1 - tail))
    return Interval(low=low, high=high, confidence=confidence)


def _cpk_error(cpk: float, *, n: float, df: float) -> float:
    return math.sqrt(1 / (9 * n) + cpk * cpk / (2 * df))


def _check(*, df: float, confidence: float) -> None:
    if not df > 0:
        raise ValueError(f"degrees of freedom above 0, not {df}")
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence between 0 and 1, not {confidence}")


def _check_count(k: int, n: int, confidence: float) -> None:
    _check(df=1, confidence=confidence)
    if n < 1 or not 0 <= k <= n:
        raise ValueError(f"a count from 0 to n and n of at least 1, not {k} of {n}")
