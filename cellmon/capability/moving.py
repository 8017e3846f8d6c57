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
from cellmon.capability.mixture import Mixture
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.records import Whole
from cellmon.stats.normal import PER_MILLION
from cellmon.stats.summary import as_series

STRETCHES = 20
"""Stretches of time left out one after the other for the error."""
SPREAD_OVER = 25
"""Bores whose spread is pooled where the spread moves too."""
_POINTS = 400
_STRIDES = (40, 8, 2, 1)
"""Steps in the grid by which the place of a score is closed in on."""
_REACHES = (1, 2, 3, 4, 6, 8)
"""Neighbouring subgroups on each side averaged where the level moves with time."""
_JUMP = 3.3
"""Step between neighbouring means, in its standard deviations, across which nothing is averaged."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MovingDistribution:
    """The mixture over time, whole and with each stretch of time left out.

    Scores are read between the sizes of a grid. One costs a pass over all subgroups, so it is worked out
    where it is asked for: an index needs few of them.
    """

    grid: Floats
    """Sizes, (m,), rising."""
    mixture: Mixture
    known: Floats
    """Normal score of the share below each size, (1 + stretches, m), the whole first; nan until asked for."""
    sd_within: float
    sd_levels: float
    """Of the levels, the error of a subgroup mean taken off."""

    def scores(self, sizes: ArrayLike) -> Floats:
        """Return the normal score of the share below each size, (1 + stretches, sizes); first the whole."""
        wanted = np.atleast_1d(np.asarray(sizes, dtype=np.float64))
        after = np.clip(np.searchsorted(self.grid, wanted), 1, self.grid.size - 1)
        near = np.unique([after - 1, after])
        return np.array([np.interp(wanted, self.grid[near], row) for row in self._rising(near)])

    def sizes(self, score: float) -> Floats:
        """Return the size below which the share has a normal score, (1 + stretches,); first the whole."""
        near = np.unique([*range(0, self.grid.size, _STRIDES[0]), self.grid.size - 1])
        for stride in _STRIDES[1:]:  # closer and closer about where each row passes the score
            after = np.array([np.searchsorted(row, score) for row in self._rising(near)])
            ends = np.unique(np.clip(after, 1, near.size - 1))
            between = [np.arange(near[end - 1], near[end], stride) for end in ends]
            near = np.unique(np.concatenate([near, *between]))
        return np.array([np.interp(score, row, self.grid[near]) for row in self._rising(near)])

    def _rising(self, places: Whole) -> Floats:
        unknown = places[np.isnan(self.known[0, places])]
        if unknown.size:
            self.known[:, unknown] = self.mixture.scores(self.grid[unknown])
        return np.maximum.accumulate(self.known[:, places], axis=1)


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
    if not spread_moves:
        spread = spread * whole.within
    stretch = np.arange(levels.size) * STRETCHES // levels.size
    rest = [_moments(sums, stretch != left_out, levels) for left_out in range(STRETCHES)]
    reach = 7 * spread
    grid = np.linspace(float((levels - reach).min()), float((levels + reach).max()), _POINTS)
    return MovingDistribution(
        grid=grid,
        mixture=Mixture(
            centre=float(levels.mean()),
            shape=levels - levels.mean(),
            draw=whole.draw,
            spread=spread,
            weight=sums.sizes,
            starts=np.searchsorted(stretch, np.arange(STRETCHES)),
            wider=np.array([0.0 if spread_moves else one.within / whole.within - 1 for one in rest]),
            farther=np.array([one.draw - whole.draw for one in rest]),
        ),
        known=np.full((1 + STRETCHES, grid.size), np.nan),
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
    middle = _quantiles(found, MIDDLE)
    low = middle if lower is None else _quantiles(found, LOWEST)
    high = middle if upper is None else _quantiles(found, HIGHEST)
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


def _quantiles(found: MovingDistribution, p: float) -> Floats:
    """Return the size with share p below, for the whole and with each stretch left out."""
    return found.sizes(float(ndtri(p)))


def _outside(found: MovingDistribution, lower: float | None, upper: float | None) -> Floats:
    share = np.zeros(1 + STRETCHES)
    for limit, side in ((lower, 1.0), (upper, -1.0)):
        if limit is not None:
            share += ndtr(side * found.scores(limit)[:, 0])
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
