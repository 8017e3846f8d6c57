"""Are two parts alike enough to share a chart: do their levels lie apart, do their spreads differ?

Bores of one run share its set-up and its place in the wear of the stones, so a run counts once for the level.
Spread is told inside subgroups, where neither matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri, stdtrit

from cellmon.errors import NoSpread, NotEnoughData

LEAST_RUNS = 2
APART = 0.5
"""Standard deviations of a bore between two levels from which parts are not alike."""
WIDER = 1.5
"""Ratio of spreads from which they are not."""


@dataclass(frozen=True, kw_only=True)
class Between:
    """A figure and its interval."""

    value: float
    low: float
    high: float

    def clearly_beyond(self, border: float, *, nothing: float) -> bool:
        """Return whether the figure is beyond a border, and no doubt leaves it at nothing."""
        return self.value > border and self.low > nothing


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Standard deviation of a bore inside subgroups, and the degrees of freedom behind it."""

    sd: float
    df: float


def spread_inside(sd: ArrayLike, n: ArrayLike) -> Spread:
    """Return the pooled spread inside subgroups.

    Parameters
    ----------
    sd, n : array_like, shape (k,)
        Standard deviation and bores of each subgroup.

    Raises
    ------
    NotEnoughData
        Where no subgroup has two bores.
    NoSpread
        Where no bore differs from those beside it.

    Examples
    --------
    >>> spread_inside([1.0, 2.0], [3, 3])
    Spread(sd=1.5811388300841898, df=4.0)
    """
    s, freedom = np.asarray(sd, dtype=np.float64), np.asarray(n, dtype=np.float64) - 1
    df = float(freedom.sum())
    if df < 1:
        raise NotEnoughData("bores beside others in subgroups", need=2, got=int(df) + len(s))
    variance = float((freedom * s**2).sum()) / df
    if not variance > 0:
        raise NoSpread("bores inside their subgroups")
    return Spread(sd=float(np.sqrt(variance)), df=df)


def levels_apart(first: ArrayLike, second: ArrayLike, *, spread: Spread, confidence: float) -> Between:
    """Return how far the second part lies above the first, in standard deviations of one bore.

    Parameters
    ----------
    first, second : array_like, shape (runs,)
        Mean deviation from nominal of each run of the two parts, micrometres.
    spread : Spread
        Of a bore, pooled over both parts.
    confidence : float
        Of the interval, two-sided.

    Raises
    ------
    NotEnoughData
        Where a part has fewer than two runs: how far set-ups scatter is not known then.

    References
    ----------
    Welch, Biometrika 34 (1947), with the degrees of freedom of Satterthwaite, Biometrics Bulletin 2 (1946);
    error of an effect in sigmas: Hedges and Olkin, Statistical Methods for Meta-Analysis (1985), chapter 5
    (all from memory; checked against `scipy.stats.ttest_ind`).
    """
    apart = _welch(_runs(first), _runs(second))
    effect = apart.value / spread.sd
    error = np.sqrt(apart.variance / spread.sd**2 + effect**2 / (2 * spread.df))
    half = float(stdtrit(apart.df, (1 + confidence) / 2) * error)
    return Between(value=effect, low=effect - half, high=effect + half)


def means_apart(first: ArrayLike, second: ArrayLike, *, confidence: float, also_var: float = 0.0) -> Between:
    """Return how far the mean of the second runs lies above that of the first.

    Parameters
    ----------
    first, second : array_like, shape (runs,)
        One figure of each run.
    confidence : float
        Of the interval, two-sided.
    also_var : float
        Variance of their difference beside what runs scatter, known well.

    Raises
    ------
    NotEnoughData
        Where one has fewer than two runs.

    References
    ----------
    As `levels_apart`.

    Examples
    --------
    >>> means_apart([1.0, 2.0, 3.0], [3.0, 4.0, 5.0], confidence=0.95).value
    2.0
    """
    apart = _welch(_runs(first), _runs(second))
    variance = apart.variance + also_var
    df = apart.df * (variance / apart.variance) ** 2 if apart.variance > 0 else apart.df
    half = float(stdtrit(df, (1 + confidence) / 2) * np.sqrt(variance))
    return Between(value=apart.value, low=apart.value - half, high=apart.value + half)


@dataclass(frozen=True, kw_only=True)
class _Apart:
    value: float
    variance: float
    df: float


def _welch(a: NDArray[np.float64], b: NDArray[np.float64]) -> _Apart:
    of_a, of_b = float(a.var(ddof=1)) / len(a), float(b.var(ddof=1)) / len(b)
    together = of_a + of_b
    if together > 0:
        df = together**2 / (of_a**2 / (len(a) - 1) + of_b**2 / (len(b) - 1))
    else:
        df = float(len(a) + len(b) - 2)
    return _Apart(value=float(b.mean() - a.mean()), variance=together, df=df)


def _runs(means: ArrayLike) -> NDArray[np.float64]:
    found = np.asarray(means, dtype=np.float64)
    if len(found) < LEAST_RUNS:
        raise NotEnoughData("runs of each part", need=LEAST_RUNS, got=len(found))
    return found


def spread_ratio(first: Spread, second: Spread, *, confidence: float) -> Between:
    """Return how many times as wide the second part's bores scatter inside subgroups as the first's.

    Parameters
    ----------
    first, second : Spread
        Of the two parts.
    confidence : float
        Of the interval, two-sided.

    References
    ----------
    Ratio of two variances by Fisher's F, bores taken as normal: NIST/SEMATECH e-Handbook of Statistical
    Methods, section 1.3.5.9.

    Examples
    --------
    >>> ratio = spread_ratio(Spread(sd=1.0, df=60), Spread(sd=2.0, df=60), confidence=0.95)
    >>> round(ratio.value, 2), round(ratio.low, 2), round(ratio.high, 2)
    (2.0, 1.55, 2.58)
    """
    squared, tail = (second.sd / first.sd) ** 2, (1 - confidence) / 2
    low = squared / float(fdtri(second.df, first.df, 1 - tail))
    high = squared * float(fdtri(first.df, second.df, 1 - tail))
    return Between(value=float(np.sqrt(squared)), low=float(np.sqrt(low)), high=float(np.sqrt(high)))
