"""Tolerance intervals: limits between which a share of all bores lies, with a given confidence.

A confidence interval speaks of a mean; a tolerance interval speaks of the bores.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, chdtrc, nctdtrit, ndtr, ndtri

from cellmon.capability.bisection import bisected
from cellmon.capability.families import Floats
from cellmon.errors import NotEnoughData
from cellmon.stats.summary import as_series, summarise

_SCORES, _SCORE_WEIGHTS = np.polynomial.hermite_e.hermegauss(60)


@dataclass(frozen=True, kw_only=True)
class ToleranceInterval:
    """Limits that hold a share `content` of the population with a `confidence`; None on an open side."""

    low: float | None
    high: float | None
    content: float
    confidence: float
    method: str
    """`normal` or `distribution-free`."""


def one_sided_factor(n: int, *, content: float, confidence: float) -> float:
    """Return k: mean + k sd exceeds a share `content` of a normal population with that confidence, exact.

    References
    ----------
    Odeh and Owen, Tables for Normal Tolerance Limits (1980); ISO 16269-6: k sqrt(n) is a quantile of
    the noncentral t with n - 1 degrees of freedom and noncentrality z sqrt(n).

    >>> round(one_sided_factor(10, content=0.95, confidence=0.95), 3)
    2.911
    """
    _check(n, content, confidence)
    root = math.sqrt(n)
    return float(nctdtrit(n - 1, float(ndtri(content)) * root, confidence)) / root


def two_sided_factor(n: int, *, content: float, confidence: float) -> float:
    """Return k: mean +- k sd holds a share `content` of a normal population with that confidence, exact.

    The chance is averaged over where the mean of the sample may lie, and k found by bisection.

    References
    ----------
    Odeh and Owen (1980); Krishnamoorthy and Mathew, Statistical Tolerance Regions (2009), section 2.3.

    >>> round(two_sided_factor(30, content=0.9, confidence=0.95), 2)
    2.15
    """
    _check(n, content, confidence)
    weights = _SCORE_WEIGHTS / _SCORE_WEIGHTS.sum()
    half = _half_widths(_SCORES / math.sqrt(n), content)
    low, high = float(ndtri((1 + content) / 2)) / 4, 1e4
    for _ in range(200):
        k = math.sqrt(low * high)
        # sd k must reach the half width that is needed around the mean found
        reached = float(weights @ chdtrc(n - 1, (n - 1) * (half / k) ** 2))
        low, high = (k, high) if reached < confidence else (low, k)
        if high / low < 1 + 1e-13:
            break
    return math.sqrt(low * high)


def normal_tolerance_interval(
    x: ArrayLike, *, content: float = 0.9973, confidence: float = 0.95, side: str = "both"
) -> ToleranceInterval:
    """Return the tolerance interval of normal values, exact.

    Parameters
    ----------
    x : array_like, shape (n,)
        At least two values that differ.
    content, confidence : float
        The share that shall lie inside, and how surely.
    side : str
        `both`, or `lower` or `upper` for a limit on that side alone.
    """
    found = summarise(x)
    factor = two_sided_factor if _side(side) == "both" else one_sided_factor
    half = factor(found.n, content=content, confidence=confidence) * found.sd
    return ToleranceInterval(
        low=None if side == "upper" else found.mean - half,
        high=None if side == "lower" else found.mean + half,
        content=content,
        confidence=confidence,
        method="normal",
    )


def free_tolerance_interval(
    x: ArrayLike, *, content: float = 0.99, confidence: float = 0.95, side: str = "both"
) -> ToleranceInterval:
    """Return the tolerance interval that holds for every distribution, from the values in rising order.

    For the arguments see `normal_tolerance_interval`. As many of the outermost values are left outside
    as the confidence allows, on two sides as evenly as may be.

    Raises
    ------
    NotEnoughData
        When even the outermost values are not sure enough; `bores_for_free_interval` says how many
        it takes.

    References
    ----------
    Wilks, Annals of Mathematical Statistics 12 (1941), 91-96: the share between order statistics that
    leave m blocks out is beta distributed with n - m + 1 and m.
    """
    values = np.sort(as_series(x, what="bores for a tolerance interval"))
    n, least = values.size, 2 if _side(side) == "both" else 1
    blocks = np.arange(least, n)
    sure = blocks[betainc(n - blocks + 1, blocks, content) <= 1 - confidence]
    if not sure.size:
        need = bores_for_free_interval(content=content, confidence=confidence, side=side)
        raise NotEnoughData("bores for a tolerance interval of any distribution", need=need, got=n)
    left_out = int(sure[-1])
    lower = {"both": left_out // 2, "lower": left_out, "upper": 0}[side]
    upper = left_out - lower
    return ToleranceInterval(
        low=float(values[lower - 1]) if lower else None,
        high=float(values[n - upper]) if upper else None,
        content=content,
        confidence=confidence,
        method="distribution-free",
    )


def bores_for_free_interval(*, content: float, confidence: float, side: str = "both") -> int:
    """Return the fewest values whose outermost ones make a tolerance interval of any distribution.

    >>> bores_for_free_interval(content=0.95, confidence=0.95)
    93
    """
    least = 2 if _side(side) == "both" else 1
    _check(2, content, confidence)
    n = 2
    while betainc(n - least + 1, least, content) > 1 - confidence:
        n = max(n + 1, int(n * 1.02))
    while n > 2 and betainc(n - least, least, content) <= 1 - confidence:
        n -= 1
    return n


def _half_widths(off: Floats, content: float) -> Floats:
    """Return the half widths about points off the mean that hold a share of a standard normal."""
    low, high = np.zeros_like(off), np.abs(off) + 10.0

    def short(half: Floats) -> NDArray[np.bool_]:
        return np.asarray(ndtr(off + half) - ndtr(off - half) < content)

    return bisected(short, low=low, high=high, rounds=60)


def _side(side: str) -> str:
    if side not in ("both", "lower", "upper"):
        raise ValueError(f"both, lower or upper, not {side}")
    return side


def _check(n: int, content: float, confidence: float) -> None:
    if n < 2:
        raise NotEnoughData("bores for a tolerance interval", need=2, got=n)
    if not (0 < content < 1 and 0 < confidence < 1):
        raise ValueError(f"content and confidence between 0 and 1, not {content} and {confidence}")
