"""The distribution of all bores of a process that moves, put together from its subgroups.

What the customer receives is every level the process passed through, each with the spread inside a
subgroup around it: a mixture. Its quantiles are those of all bores, far beyond the last one measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtrit

from cellmon.capability.families import Floats
from cellmon.capability.indices import Index
from cellmon.capability.intervals import HIGHEST, LOWEST, MIDDLE, steadied, unsteadied
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.records import Whole
from cellmon.stats.normal import PER_MILLION
from cellmon.stats.summary import as_series

STRETCHES = 20
"""Stretches of time left out one after the other for the error."""
SPREAD_OVER = 25
"""Bores whose spread is pooled where the spread moves too."""
_POINTS = 400
_REACHES = (1, 2, 3, 4, 6, 8)
"""Neighbouring subgroups on each side averaged where the level moves with time."""
_JUMP = 3.3
"""Step between neighbouring means, in its standard deviations, across which nothing is averaged."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MovingDistribution:
    """The mixture over time, whole and with each stretch of time left out."""

    grid: Floats
    """Sizes, (m,), rising."""
    score: Floats
    """Normal score of the share below each size, (1 + stretches, m); the first row is the whole."""
    sd_within: float
    sd_levels: float
    """Of the levels, the error of a subgroup mean taken off."""


@dataclass(frozen=True, kw_only=True)
class MovingIndices:
    """Indices by quantiles of all bores, None where a limit is missing."""

    pp: Index | None
    ppk: Index
    ppl: float | None
    ppu: float | None
    bound: float
    """What Ppk exceeds with the one-sided confidence of claims."""
    ppm: Index


def moving_distribution(
    values: ArrayLike, subgroup: ArrayLike, *, in_time: bool, spread_moves: bool
) -> MovingDistribution:
    """Put the distribution of all bores together from subgroups in time order.

    Parameters
    ----------
    values : array_like, shape (n,)
        Bores in making order.
    subgroup : array_like of int, shape (n,)
        Numbers rising with time; subgroups of one bore are left out.
    in_time : bool
        The level moves with time: neighbouring subgroups tell of one another.
    spread_moves : bool
        Take the spread of each stretch for itself, not one for all.

    Notes
    -----
    Subgroup means scatter more than the levels behind them; they are drawn together about their mean
    until they scatter as much as the levels do by analysis of variance.

    References
    ----------
    ISO 22514-2 (from memory): quantiles of the resulting distribution. Louis, Journal of the American
    Statistical Association 79 (1984), 393-398, for the drawing together.
    """
    x = as_series(values, what="bores in subgroups")
    sums = _Sums.of(x, subgroup)
    levels = _smoothed(sums.means, sums.error()) if in_time else sums.means
    spread = sums.spreads() if spread_moves else np.ones(levels.shape)
    whole = _moments(sums, np.ones(levels.size, dtype=bool), levels)
    shape = levels - levels.mean()
    if not spread_moves:
        spread = spread * whole.within
    reach = 7 * spread
    grid = np.linspace(float((levels - reach).min()), float((levels + reach).max()), _POINTS)
    stretch = np.arange(levels.size) * STRETCHES // levels.size
    parts = _mixed(grid, levels.mean() + whole.draw * shape, spread, sums.sizes, stretch)
    # how the whole changes with the two spreads that are estimated again without each stretch
    wider = _whole_score(grid, levels.mean() + whole.draw * shape, spread * (1 + _STEP), sums.sizes)
    farther = _whole_score(grid, levels.mean() + (whole.draw + _STEP) * shape, spread, sums.sizes)
    rows = [parts[0]]
    for left_out in range(STRETCHES):
        rest = _moments(sums, stretch != left_out, levels)
        by_within = 0.0 if spread_moves else rest.within / whole.within - 1
        moved = by_within * (wider - parts[0]) + (rest.draw - whole.draw) * (farther - parts[0])
        rows.append(parts[1 + left_out] + moved / _STEP)
    return MovingDistribution(
        grid=grid,
        score=np.maximum.accumulate(np.array(rows), axis=1),
        sd_within=whole.within,
        sd_levels=whole.draw * float(levels.std()),
    )


def moving_indices(
    found: MovingDistribution,
    *,
    lower: float | None,
    upper: float | None,
    confidence: float = 0.95,
    claim_confidence: float = 0.975,
) -> MovingIndices:
    """Return the indices of all bores by quantiles, the errors by leaving out stretches of time.

    References
    ----------
    Tukey's jackknife over stretches of time, which keeps the correlation of neighbours: Miller,
    Biometrika 61 (1974), 1-15; Kunsch, Annals of Statistics 17 (1989), 1217-1241.
    """
    low, middle, high = (_quantiles(found, p) for p in (LOWEST, MIDDLE, HIGHEST))
    ppl = None if lower is None else (middle - lower) / (middle - low)
    ppu = None if upper is None else (upper - middle) / (high - middle)
    there = [index for index in (ppl, ppu) if index is not None]
    governing = min(there, key=lambda index: float(index[0]))
    bound = unsteadied(np.array([_ends(steadied(governing), 2 * claim_confidence - 1)[0]]))[0]
    score = -np.asarray(ndtri(np.clip(_outside(found, lower, upper), 1e-15, 1 - 1e-15))) / 3
    ends = [float(unsteadied(np.array([end]))[0]) for end in _ends(steadied(score), confidence)]
    ppm = [PER_MILLION * float(ndtr(-3 * s)) for s in (score[0], ends[1], ends[0])]
    return MovingIndices(
        pp=None if lower is None or upper is None else _index((upper - lower) / (high - low), confidence),
        ppk=_index(governing, confidence),
        ppl=None if ppl is None else float(ppl[0]),
        ppu=None if ppu is None else float(ppu[0]),
        bound=float(bound),
        ppm=Index(value=ppm[0], low=ppm[1], high=ppm[2], confidence=confidence),
    )


_STEP = 0.01


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sums:
    """Subgroups of two or more, in time order."""

    means: Floats
    squares: Floats
    sizes: Floats

    @classmethod
    def of(cls, x: Floats, subgroup: ArrayLike) -> _Sums:
        _, where, count = np.unique(np.asarray(subgroup), return_inverse=True, return_counts=True)
        kept = count >= 2
        if kept.sum() < STRETCHES:
            raise NotEnoughData("subgroups for a moving process", need=STRETCHES, got=int(kept.sum()))
        means = np.bincount(where, weights=x) / count
        squares = np.bincount(where, weights=(x - means[where]) ** 2).astype(np.float64)
        if not squares[kept].sum() > 0:
            raise NoSpread("bores inside subgroups")
        return cls(means=means[kept], squares=squares[kept], sizes=count[kept].astype(np.float64))

    def error(self) -> float:
        """Return the variance of a subgroup mean about its level."""
        return float(self.squares.sum() / (self.sizes - 1).sum() * (1 / self.sizes).mean())

    def spreads(self) -> Floats:
        """Return the spread about each subgroup, pooled over the subgroups around it."""
        reach = max(1, round(SPREAD_OVER / float(self.sizes.mean()) / 2))
        kernel = np.ones(min(2 * reach + 1, self.sizes.size))
        pooled = np.convolve(self.squares, kernel, "same") / np.convolve(self.sizes - 1, kernel, "same")
        return np.sqrt(np.maximum(pooled, 1e-300))


@dataclass(frozen=True, kw_only=True)
class _Moments:
    within: float
    draw: float
    """By how much the levels as found are drawn together."""


def _moments(sums: _Sums, kept: NDArray[np.bool_], levels: Floats) -> _Moments:
    within = float(sums.squares[kept].sum() / (sums.sizes[kept] - 1).sum())
    error = within * float((1 / sums.sizes[kept]).mean())
    between = max(float(sums.means[kept].var(ddof=1)) - error, 0.0)
    found = float(levels[kept].var())
    return _Moments(within=math.sqrt(within), draw=math.sqrt(between / found) if found > 0 else 0.0)


def _smoothed(means: Floats, error: float) -> Floats:
    """Average each mean with its neighbours on both sides, over the reach that foretells means best.

    Never across a step as a dressing makes it; and evenly to both sides, so that a slope stays a slope.
    """
    jump = np.abs(np.diff(means)) > _JUMP * math.sqrt(2 * error)
    begins = np.concatenate([[True], jump])
    place = np.arange(means.size)
    since = place - np.maximum.accumulate(np.where(begins, place, 0))
    ends = np.concatenate([jump, [True]])[::-1]
    until = (place - np.maximum.accumulate(np.where(ends, place, 0)))[::-1]
    summed = np.concatenate([[0.0], np.cumsum(means)])
    best, loss = means, np.inf
    for reach in _REACHES:
        half = np.minimum(reach, np.minimum(since, until))
        total = summed[place + half + 1] - summed[place - half]
        inner = half > 0
        if not inner.any():
            break
        others = (total[inner] - means[inner]) / (2 * half[inner])
        missed = float(((others - means[inner]) ** 2).mean())
        if missed < loss:
            best, loss = total / (2 * half + 1), missed
    return best


def _mixed(grid: Floats, levels: Floats, spread: Floats, weight: Floats, stretch: Whole) -> Floats:
    """Return the scores of the whole and without each stretch."""
    starts = np.searchsorted(stretch, np.arange(STRETCHES))
    score = (grid[None, :] - levels[:, None]) / spread[:, None]
    below, above = (
        np.add.reduceat(weight[:, None] * ndtr(side * score), starts, axis=0) for side in (1.0, -1.0)
    )
    return _score(_left_out(below), _left_out(above))


def _whole_score(grid: Floats, levels: Floats, spread: Floats, weight: Floats) -> Floats:
    score = (grid[None, :] - levels[:, None]) / spread[:, None]
    return _score(weight @ ndtr(score), weight @ ndtr(-score))


def _left_out(parts: Floats) -> Floats:
    whole = parts.sum(axis=0)
    return np.concatenate([whole[None, :], whole - parts])


def _score(below: Floats, above: Floats) -> Floats:
    """Return the normal score of the share below, from the smaller of both shares."""
    total = below + above
    small = np.clip(np.minimum(below, above) / total, 1e-300, 0.5)
    return np.asarray(np.where(below < above, 1.0, -1.0) * ndtri(small), dtype=np.float64)


def _quantiles(found: MovingDistribution, p: float) -> Floats:
    """Return the size with share p below, for the whole and with each stretch left out."""
    at = float(ndtri(p))
    return np.array([np.interp(at, row, found.grid) for row in found.score])


def _outside(found: MovingDistribution, lower: float | None, upper: float | None) -> Floats:
    share = np.zeros(len(found.score))
    for limit, side in ((lower, 1.0), (upper, -1.0)):
        if limit is not None:
            at = np.array([np.interp(limit, found.grid, row) for row in found.score])
            share += ndtr(side * at)
    return share


def _ends(values: Floats, confidence: float) -> tuple[float, float]:
    """Return the ends about the first value from those with a stretch left out."""
    rest = values[1:]
    error = math.sqrt((rest.size - 1) / rest.size * float(((rest - rest.mean()) ** 2).sum()))
    half = float(stdtrit(rest.size - 1, (1 + confidence) / 2)) * error
    return float(values[0]) - half, float(values[0]) + half


def _index(values: Floats, confidence: float) -> Index:
    low, high = unsteadied(np.array(_ends(steadied(values), confidence)))
    return Index(value=float(values[0]), low=float(low), high=float(high), confidence=confidence)
