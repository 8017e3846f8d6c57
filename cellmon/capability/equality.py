"""Whether groups of bores have one level and one spread: subgroups, spindles, stone sets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, fdtrc

from cellmon.capability.families import Floats
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.summary import as_series


@dataclass(frozen=True, kw_only=True)
class Test:
    """A statistic and the chance of a larger one where the groups are equal."""

    __test__ = False  # not for pytest

    statistic: float
    p_value: float


@dataclass(frozen=True, kw_only=True)
class Variances:
    """One-way analysis of variance."""

    between: float
    """Sum of squares of group means about the mean of all."""
    within: float
    df_between: int
    df_within: int
    test: Test

    @property
    def within_variance(self) -> float:
        """Variance of a bore inside its group."""
        return self.within / self.df_within


def variances_of(*, sizes: ArrayLike, means: ArrayLike, squares: ArrayLike) -> Variances:
    """Test for equal means of groups that are known by their sums, spreads taken as equal.

    Parameters
    ----------
    sizes, means, squares : array_like, shape (k,)
        Of each group, two at least, its count, its mean and the sum of squares about it.

    References
    ----------
    NIST/SEMATECH e-Handbook, section 1.3.5.4.
    """
    n, m, q = (np.asarray(a, dtype=np.float64) for a in (sizes, means, squares))
    total = float(n @ m) / n.sum()
    between, within = float(n @ (m - total) ** 2), float(q.sum())
    df_between, df_within = n.size - 1, int(n.sum()) - n.size
    if df_within < 1:
        raise NotEnoughData("bores in a group", need=2, got=1)
    if within <= 0:
        raise NoSpread("bores inside groups")
    ratio = between / df_between / (within / df_within)
    return Variances(
        between=between,
        within=within,
        df_between=df_between,
        df_within=df_within,
        test=Test(statistic=ratio, p_value=float(fdtrc(df_between, df_within, ratio))),
    )


def equal_means(groups: Sequence[ArrayLike]) -> Test:
    """Test for equal means without taking spreads as equal.

    References
    ----------
    Welch, Biometrika 38 (1951), 330-336; for two groups the square of Welch's t.
    """
    samples = _samples(groups)
    _must_spread(rows_of_one_size(samples))
    k = len(samples)
    weights = np.array([s.size / s.var(ddof=1) for s in samples])
    means = np.array([s.mean() for s in samples])
    centre = float(weights @ means) / weights.sum()
    left = np.array(
        [(1 - w / weights.sum()) ** 2 / (s.size - 1) for w, s in zip(weights, samples, strict=True)]
    )
    excess = left.sum() / (k * k - 1)
    statistic = float(weights @ (means - centre) ** 2) / (k - 1) / (1 + 2 * (k - 2) * excess)
    return Test(statistic=statistic, p_value=float(fdtrc(k - 1, 1 / (3 * excess), statistic)))


def equal_spreads(groups: Sequence[ArrayLike]) -> Test:
    """Test for equal spreads by distances from the medians, which need not be normal.

    References
    ----------
    Brown and Forsythe, Journal of the American Statistical Association 69 (1974), 364-367;
    NIST/SEMATECH e-Handbook, section 1.3.5.10.
    """
    sized = rows_of_one_size(_samples(groups))
    _must_spread(sized)
    return _variances([np.abs(rows - np.median(rows, axis=1, keepdims=True)) for rows in sized]).test


def bartlett(*, variances: ArrayLike, df: ArrayLike) -> Test:
    """Test for equal spreads of normal groups, which sees more than `equal_spreads` where they are normal.

    Parameters
    ----------
    variances, df : array_like, shape (k,)
        Of each group, and the degrees of freedom behind it.

    References
    ----------
    Bartlett, Proceedings of the Royal Society A 160 (1937), 268-282; NIST/SEMATECH e-Handbook, section
    1.3.5.7.
    """
    v, f = np.asarray(variances, dtype=np.float64), np.asarray(df, dtype=np.float64)
    if v.min() <= 0:
        raise NoSpread("bores inside a group")
    pooled = float(f @ v) / f.sum()
    correction = 1 + (float((1 / f).sum()) - 1 / f.sum()) / (3 * (f.size - 1))
    statistic = (f.sum() * math.log(pooled) - float(f @ np.log(v))) / correction
    return Test(statistic=float(statistic), p_value=float(chdtrc(f.size - 1, statistic)))


def _samples(groups: Sequence[ArrayLike]) -> list[Floats]:
    if len(groups) < 2:
        raise NotEnoughData("groups", need=2, got=len(groups))
    return [as_series(g, what="bores in a group") for g in groups]


def rows_of_one_size(samples: Sequence[Floats]) -> list[Floats]:
    """Return the groups of each size as rows of one array, in the order in which sizes first come."""
    by_size: dict[int, list[Floats]] = {}
    for sample in samples:
        by_size.setdefault(sample.size, []).append(sample)
    return [np.stack(alike) for alike in by_size.values()]


def _must_spread(sized: Sequence[Floats]) -> None:
    if any((rows.max(axis=1) == rows.min(axis=1)).any() for rows in sized):
        raise NoSpread("bores inside a group")


def _variances(sized: Sequence[Floats]) -> Variances:
    means = [rows.mean(axis=1) for rows in sized]
    squares = [((rows - m[:, None]) ** 2).sum(axis=1) for rows, m in zip(sized, means, strict=True)]
    return variances_of(
        sizes=np.concatenate([np.full(len(rows), rows.shape[1]) for rows in sized]),
        means=np.concatenate(means),
        squares=np.concatenate(squares),
    )
