"""Mean squares of balanced studies, and intervals of the variances that are built from them.

A variance component is a sum of mean squares with signs. Its interval is that of modified large
samples: exact where one mean square stands alone or the others vanish, close to its confidence else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, fdtri

from cellmon.errors import GapInReadings, NotEnoughData
from cellmon.stats.intervals import Interval, chi_square_quantile

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class MeanSquare:
    """One line of a table of variance."""

    ss: float
    df: int

    @property
    def ms(self) -> float:
        """Sum of squares over its degrees of freedom."""
        return self.ss / self.df

    def pooled(self, other: MeanSquare) -> MeanSquare:
        """Return this line and another as one."""
        return MeanSquare(ss=self.ss + other.ss, df=self.df + other.df)


@dataclass(frozen=True, kw_only=True)
class OneWay:
    """Table of variance of groups."""

    between: MeanSquare
    within: MeanSquare

    @property
    def f(self) -> float:
        """Ratio of the mean squares."""
        return self.between.ms / self.within.ms


@dataclass(frozen=True, kw_only=True)
class TwoWay:
    """Table of variance of parts crossed with operators, every pair read equally often."""

    part: MeanSquare
    operator: MeanSquare
    interaction: MeanSquare
    within: MeanSquare

    @property
    def f_interaction(self) -> float:
        """Interaction against what repeats within."""
        return self.interaction.ms / self.within.ms

    @property
    def p_interaction(self) -> float:
        """How often chance alone gives as large an interaction."""
        return float(fdtrc(self.interaction.df, self.within.df, self.f_interaction))


def one_way(values: ArrayLike, groups: ArrayLike) -> OneWay:
    """Return the table of variance of groups, which may differ in size.

    Parameters
    ----------
    values, groups : array_like, shape (n,)
        Readings, and the name of the group of each. At least two groups, one with two readings.

    References
    ----------
    NIST Statistical Reference Datasets, analysis of variance, for certified values.

    Examples
    --------
    >>> one_way([1.0, 3.0, 5.0, 7.0], ["a", "a", "b", "b"]).f
    8.0
    """
    x = _finite(values, dimensions=1)
    _, number = np.unique(np.asarray(groups), return_inverse=True)
    n = np.bincount(number)
    if len(n) < 2 or len(x) <= len(n):
        raise NotEnoughData("groups, one of them with two readings", need=2, got=len(n))
    x = x - x.mean()
    means = np.bincount(number, weights=x) / n
    left = x - means[number]
    grand = x.mean()
    return OneWay(
        between=MeanSquare(ss=float(n @ (means - grand) ** 2), df=len(n) - 1),
        within=MeanSquare(ss=float(left @ left), df=len(x) - len(n)),
    )


def two_way(readings: ArrayLike) -> TwoWay:
    """Return the table of variance of a crossed study.

    Parameters
    ----------
    readings : array_like, shape (parts, operators, trials)
        At least two of each, no gap.

    References
    ----------
    Montgomery, Design and Analysis of Experiments, the two-factor random model.
    """
    x = _finite(readings, dimensions=3)
    parts, operators, trials = x.shape
    x = x - x.mean()
    cell, part, operator = x.mean(axis=2), x.mean(axis=(1, 2)), x.mean(axis=(0, 2))
    both = cell - part[:, None] - operator[None, :] + x.mean()
    return TwoWay(
        part=MeanSquare(ss=operators * trials * _squares(part - x.mean()), df=parts - 1),
        operator=MeanSquare(ss=parts * trials * _squares(operator - x.mean()), df=operators - 1),
        interaction=MeanSquare(ss=trials * _squares(both), df=(parts - 1) * (operators - 1)),
        within=MeanSquare(ss=_squares(x - cell[:, :, None]), df=parts * operators * (trials - 1)),
    )


def combination_interval(
    weights: Sequence[float], squares: Sequence[MeanSquare], *, confidence: float = 0.95
) -> Interval:
    """Return the interval of a weighted sum of expected mean squares, weights of either sign.

    Notes
    -----
    Modified large samples. Graybill and Wang's where all weights have one sign; Ting and others' where
    they differ. The coverage in a crossed study is measured in the tests.

    References
    ----------
    Graybill and Wang, J. American Statistical Association 75 (1980); Ting, Burdick, Graybill,
    Jeyaratnam and Lu, J. Statistical Computation and Simulation 35 (1990); Burdick, Borror and
    Montgomery, J. Quality Technology 35 (2003), for gauge studies. Formulas from memory.

    Examples
    --------
    >>> found = combination_interval([1.0], [MeanSquare(ss=40.0, df=10)])
    >>> round(found.low, 3), round(found.high, 3)
    (1.953, 12.319)
    """
    tail = (1 - confidence) / 2
    return Interval(
        low=_lower(weights, squares, tail),
        high=-_lower([-w for w in weights], squares, tail),
        confidence=confidence,
    )


def effective_df(weights: Sequence[float], squares: Sequence[MeanSquare]) -> float:
    """Return the degrees of freedom of a weighted sum of mean squares.

    References
    ----------
    Satterthwaite, Biometrics Bulletin 2 (1946), 110-114.
    """
    terms = [w * s.ms for w, s in zip(weights, squares, strict=True)]
    below = sum(t * t / s.df for t, s in zip(terms, squares, strict=True))
    return sum(terms) ** 2 / below if below else float("inf")


def _lower(weights: Sequence[float], squares: Sequence[MeanSquare], tail: float) -> float:
    """Return the lower bound of a weighted sum; that of an upper one is its mirror."""
    used = [(abs(w) * s.ms, s.df, w > 0) for w, s in zip(weights, squares, strict=True) if w]
    plus = [(term, df) for term, df, positive in used if positive]
    minus = [(term, df) for term, df, positive in used if not positive]
    spread = sum((_g(df, tail) * term) ** 2 for term, df in plus)
    spread += sum((_h(df, tail) * term) ** 2 for term, df in minus)
    for term, df in plus:
        spread += sum(_across(df, other, tail) * term * t for t, other in minus)
    if minus:
        pairs = combinations(plus, 2)
        star = sum(_along(a[1], b[1], tail) * a[0] * b[0] for a, b in pairs)
        spread += star / max(len(plus) - 1, 1)
    total = sum(t for t, _ in plus) - sum(t for t, _ in minus)
    return total - math.sqrt(max(spread, 0.0))


def _g(df: int, tail: float) -> float:
    return 1 - df / chi_square_quantile(1 - tail, df)


def _h(df: int, tail: float) -> float:
    return df / chi_square_quantile(tail, df) - 1


def _across(df: int, other: int, tail: float) -> float:
    """Return the weight of a positive with a negative term."""
    f = float(fdtri(df, other, 1 - tail))
    return float(((f - 1) ** 2 - (_g(df, tail) * f) ** 2 - _h(other, tail) ** 2) / f)


def _along(df: int, other: int, tail: float) -> float:
    """Return the weight of two positive terms beside a negative one."""
    both = df + other
    first = (_g(both, tail) * both) ** 2 / (df * other)
    return float(first - _g(df, tail) ** 2 * df / other - _g(other, tail) ** 2 * other / df)


def _squares(x: Floats) -> float:
    return float((x * x).sum())


def _finite(values: ArrayLike, *, dimensions: int) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != dimensions:
        raise TypeError(f"expected {dimensions} dimension(s), got {x.ndim}")
    if dimensions == 3 and min(x.shape) < 2:
        raise NotEnoughData("parts, operators and trials", need=2, got=min(x.shape))
    if not np.isfinite(x).all():
        raise GapInReadings("readings of the study", position=int(np.flatnonzero(~np.isfinite(x))[0]))
    return x
