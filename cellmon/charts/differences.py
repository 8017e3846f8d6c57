"""How far two lots of bores differ: in level, in spread inside, in the life of their stones.

Bores of one stretch (a shift between two dressings) hang together, so a stretch counts once for the level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.charts.alike import Between, Spread, means_apart, spread_inside, spread_ratio
from cellmon.errors import NotEnoughData

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

LEAST_STRETCHES = 4
"""With fewer of a side, stretches are cut into parts of consecutive bores."""
LEAST_LIVES = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretches:
    """The stretches of one side; arrays of shape (m,)."""

    mean: Floats
    n: Whole
    since: Floats
    """Bores since the stones were dressed or fitted, on average; nan where that is not known."""
    cut: bool = False
    """Whether they are parts of stretches."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Groups:
    """Small groups of consecutive bores, whose spread is that inside; arrays of shape (k,)."""

    mean: Floats
    sd: Floats
    n: Whole
    since: Floats
    stretch: Whole


@dataclass(frozen=True, kw_only=True)
class Tilt:
    """How the level moves with bores since a dressing; micrometres a bore."""

    slope_um: float
    error_um: float


def stretches_of(
    values: ArrayLike, stretch: ArrayLike, since: ArrayLike, *, least: int, wanted: int = LEAST_STRETCHES
) -> Stretches:
    """Return the mean of every stretch of bores; where there are too few, of equal parts of them.

    Parameters
    ----------
    values, stretch, since : array_like, shape (n,)
        Bores in order; the number of the stretch of each, and its bores since a dressing (nan: not known).
    least : int
        Bores that a stretch, or a part of one, has at least; shorter ones are left out.
    wanted : int
        Stretches below which they are cut.

    Examples
    --------
    >>> stretches_of([1.0, 3.0, 5.0, 7.0], [0, 0, 1, 1], [0, 1, 0, 1], least=2, wanted=2).mean.tolist()
    [2.0, 6.0]
    """
    x, number, at = _columns(values, stretch, since)
    number = np.unique(number, return_inverse=True)[1].astype(np.int64)
    size = np.bincount(number)
    long = int((size >= least).sum())
    cut = 0 < long < wanted and size.max(initial=0) >= 2 * least
    if cut:
        parts = np.clip(size // least, 1, -(-wanted // long))
        number = number * int(parts.max()) + _rank(number) * parts[number] // size[number]
        number = np.unique(number, return_inverse=True)[1].astype(np.int64)
        size = np.bincount(number)
    keep = size >= least
    mean, middle = (np.bincount(number, v, minlength=len(size)) / np.maximum(size, 1) for v in (x, at))
    return Stretches(mean=mean[keep], n=size[keep].astype(np.int64), since=middle[keep], cut=bool(cut))


def groups_of(values: ArrayLike, stretch: ArrayLike, since: ArrayLike, *, size: int) -> Groups:
    """Return groups of so many consecutive bores, at least 2, none across two stretches; no remainder."""
    x, number, at = _columns(values, stretch, since)
    order = np.argsort(number, kind="stable")
    x, number, at = x[order], number[order], at[order]
    rank, count = _rank(number), np.unique(number, return_counts=True)[1]
    whole = rank < np.repeat(count - count % size, count)
    shape = (-1, size)
    grouped = x[whole].reshape(shape)
    return Groups(
        mean=grouped.mean(axis=1),
        sd=grouped.std(axis=1, ddof=1),
        n=np.full(len(grouped), size, dtype=np.int64),
        since=at[whole].reshape(shape).mean(axis=1),
        stretch=number[whole].reshape(shape)[:, 0],
    )


def level_difference(
    first: Stretches, second: Stretches, *, confidence: float, tilt: Tilt | None = None
) -> Between:
    """Return how far the second level lies above the first, a stretch counting once.

    Parameters
    ----------
    confidence : float
        Of the interval, two-sided.
    tilt : Tilt or None
        Levels are carried along it to the same number of bores since a dressing, so that one side is not
        judged fresh and the other worn; its error is counted in. None: means as they are.

    Raises
    ------
    NotEnoughData
        Below two stretches, or parts of them, on one side.

    References
    ----------
    Welch's interval over batch means (see `levels_apart`); means carried to a common value of what moves
    them: analysis of covariance (from memory). Coverage by simulation: docs/method.md.
    """
    if tilt is None or not min(len(first.n), len(second.n)):
        return means_apart(first.mean, second.mean, confidence=confidence)
    apart, at = float(second.since.mean() - first.since.mean()), common_since(first, second)
    level_a, level_b = (side.mean - tilt.slope_um * (side.since - at) for side in (first, second))
    return means_apart(level_a, level_b, confidence=confidence, also_var=(tilt.error_um * apart) ** 2)


def common_since(first: Stretches, second: Stretches) -> float:
    """Return the bores since a dressing at which two sides are compared: the middle of both means."""
    return float((first.since.mean() + second.since.mean()) / 2)


def spread_difference(first: Groups, second: Groups, *, confidence: float) -> Between:
    """Return how many times as wide the second side's bores scatter inside groups as the first's.

    Raises
    ------
    NotEnoughData, NoSpread
        As `spread_inside`.

    References
    ----------
    Fisher's F (see `spread_ratio`) with its degrees of freedom lessened where variances of groups scatter
    more than those of normal bores do: Box, Biometrika 40 (1953); Shoemaker, The American Statistician 57
    (2003) (both from memory). Coverage by simulation: docs/method.md.
    """
    one, two = spread_inside(first.sd, first.n), spread_inside(second.sd, second.n)
    share = _normal_share((first, second))
    less = (Spread(sd=s.sd, df=max(s.df * share, 1.0)) for s in (one, two))
    return spread_ratio(*less, confidence=confidence)


def _normal_share(sides: tuple[Groups, Groups]) -> float:
    """Return how much of the degrees of freedom counts: the variance of normal variances over that seen."""
    seen = usual = 0.0
    for side in sides:
        variances = side.sd**2
        if len(variances) > 1 and variances.mean() > 0:
            seen += float(variances.var(ddof=1)) / float(variances.mean()) ** 2 * len(variances)
            usual += 2 / (float(side.n[0]) - 1) * len(variances)
    return min(1.0, usual / seen) if seen > 0 else 1.0


def life_ratio(first: ArrayLike, second: ArrayLike, *, confidence: float) -> Between:
    """Return how many times as long the second stone sets lasted as the first, lives taken as lognormal.

    Parameters
    ----------
    first, second : array_like, shape (sets,)
        Bores honed by each set that has ended.

    Raises
    ------
    NotEnoughData
        Below two ended sets on one side.

    References
    ----------
    Welch's interval of mean logarithms (see `levels_apart`).

    Examples
    --------
    >>> round(life_ratio([1000.0, 1100.0], [2000.0, 2200.0], confidence=0.9).value, 9)
    2.0
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if min(len(a), len(b)) < LEAST_LIVES:
        raise NotEnoughData("ended stone sets of each side", need=LEAST_LIVES, got=min(len(a), len(b)))
    logs = means_apart(np.log(a), np.log(b), confidence=confidence)
    value, low, high = (float(np.exp(v)) for v in (logs.value, logs.low, logs.high))
    return Between(value=value, low=low, high=high)


def _columns(values: ArrayLike, stretch: ArrayLike, since: ArrayLike) -> tuple[Floats, Whole, Floats]:
    return (
        np.asarray(values, dtype=np.float64),
        np.asarray(stretch, dtype=np.int64),
        np.asarray(since, dtype=np.float64),
    )


def _rank(number: Whole) -> Whole:
    """Return the place of each bore in its stretch, in order."""
    order = np.argsort(number, kind="stable")
    count = np.unique(number, return_counts=True)[1]
    found = np.empty(len(number), dtype=np.int64)
    found[order] = np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)
    return found
