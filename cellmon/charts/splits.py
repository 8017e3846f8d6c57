"""Do groups of bores lie apart, with drift taken out: by fixture, side or order in the block.

Bores of one stream are taken in short stretches of its making order. In each a straight line is fitted beside
the groups, so that wear and offsets, which move neighbours alike, cancel, and what is left of a group is what
parts it from its neighbours in time.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from cellmon.errors import NoSpread, NotEnoughData

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

STRETCH = 10
"""Bores that one line is fitted through."""
LEAST_STRETCH = 5
LEAST_IN_GROUP = 25
LEAST_MIXED = 12
"""Stretches that hold both groups of a pair."""
WORTH = 0.5
"""Standard deviations of a bore between two groups from which a split pays."""
LASTS = 1 / 3
"""Of the whole effect, what each quarter of the bores must show of it: a fault of some hours does not."""
QUARTERS = 4


@dataclass(frozen=True, kw_only=True)
class Apart:
    """The pair of groups that lie farthest apart, `high` above `low`; effects in sigmas of one bore."""

    high: str
    low: str
    effect: float
    effect_low: float
    """Lower end of the interval of the effect; of all pairs and tests together as sure as was asked."""
    effect_high: float
    sigma: float
    """Standard deviation of one bore inside its group, drift taken out; in the unit of the values."""
    n_high: int
    n_low: int
    least_quarter: float
    """The least of the effects in the four quarters of the bores."""

    @property
    def lasts(self) -> bool:
        """Whether each quarter shows a good part of the effect."""
        return self.least_quarter > LASTS * self.effect

    @property
    def splits(self) -> bool:
        """Whether a split pays: over half a sigma, clearly not nothing, and lasting."""
        return self.effect > WORTH and self.effect_low > 0 and self.lasts


def apart(
    values: ArrayLike, groups: ArrayLike, segment: ArrayLike, *, tests: int = 1, confidence: float = 0.95
) -> Apart:
    """Find the two groups that lie farthest apart once drift is taken out.

    Parameters
    ----------
    values : array_like, shape (n,)
        One feature of one stream's bores in making order; nan where a bore is not to count.
    groups : array_like of str, shape (n,)
        The group of each; None: not known.
    segment : array_like of int, shape (n,)
        Numbers what no stretch may span, such as the times between logged offsets and dressings.
    tests : int
        How many such questions are asked together; the interval allows for all of them, and for every
        pair of groups (Bonferroni).
    confidence : float
        That all intervals of all tests hold together.

    Raises
    ------
    NotEnoughData
        Where fewer than two groups have 25 bores, or no pair meets in 12 stretches.
    NoSpread
        Where the bores inside their groups do not differ.

    References
    ----------
    Least squares with a line for each stretch taken out first: Frisch and Waugh, Econometrica 1 (1933);
    standard error from how stretches differ: Liang and Zeger, Biometrika 73 (1986), with the larger of it
    and the usual one taken; error of an effect in sigmas: Hedges and Olkin, Statistical Methods for
    Meta-Analysis (1985), chapter 5; all pairs and tests together: Bonferroni (all from memory; checked
    against an independent fit and by simulation in `tests/charts/test_splits.py`).
    """
    x, names, segments = _as_rows(values, groups, segment)
    kept, counts = _large_groups(names)
    if len(kept) < 2:
        raise NotEnoughData("bores in each of two groups", need=LEAST_IN_GROUP, got=_second(counts))
    here = np.isin(names.astype(str), kept)
    x, segments = x[here], segments[here]
    code = np.searchsorted(kept, names[here].astype(str))
    cut = _Stretches.of(x, code, segments, groups=len(kept))
    fit = cut.fit()
    pairs = [p for p in combinations(range(len(kept)), 2) if cut.mixed(*p) >= LEAST_MIXED]
    if not pairs:
        most = max(cut.mixed(*p) for p in combinations(range(len(kept)), 2))
        raise NotEnoughData("stretches that hold both groups", need=LEAST_MIXED, got=most)
    if not fit.sigma > 1e-9 * max(1.0, float(np.abs(x).max())):
        raise NoSpread("bores inside their groups")
    low, high = max(pairs, key=lambda p: abs(fit.level[p[1]] - fit.level[p[0]]))
    if fit.level[high] < fit.level[low]:
        low, high = high, low
    effect = float(fit.level[high] - fit.level[low]) / fit.sigma
    tail = (1 - confidence) / (2 * tests * len(pairs))
    half = -float(stdtrit(fit.df, tail)) * fit.error(low, high, effect)
    return Apart(
        high=str(kept[high]),
        low=str(kept[low]),
        effect=effect,
        effect_low=effect - half,
        effect_high=effect + half,
        sigma=fit.sigma,
        n_high=int((code == high).sum()),
        n_low=int((code == low).sum()),
        least_quarter=cut.least_quarter(low, high, fit.sigma),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    """Levels of all groups from one least-squares fit; only their differences mean anything."""

    level: Floats
    sigma: float
    usual: Floats
    """Covariance of the levels, were bores independent."""
    by_stretch: Floats
    """The same from how stretches differ."""
    df: float
    left: float
    """Degrees of freedom of sigma."""

    def error(self, a: int, b: int, effect: float) -> float:
        """Return the standard error of a difference in sigmas, the larger of both kinds."""
        both = (self.usual, self.by_stretch)
        var = max(float(c[a, a] + c[b, b] - 2 * c[a, b]) for c in both) / self.sigma**2
        return float(np.sqrt(max(var, 0.0) + effect**2 / (2 * self.left)))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Stretches:
    """Bores cut into stretches, values and groups with each stretch's line taken out."""

    at: Whole
    """The stretch of each bore, ascending from 0."""
    value: Floats
    member: Floats
    """Shape (bores, groups): 1 where a bore is of a group, with the line taken out."""
    held: NDArray[np.bool_]
    """Shape (stretches, groups): which groups a stretch holds."""

    @classmethod
    def of(cls, x: Floats, code: Whole, segment: Whole, *, groups: int) -> _Stretches:
        at, long_enough = _cut(segment)
        x, code, at = x[long_enough], code[long_enough], at[long_enough]
        at = np.unique(at, return_inverse=True)[1].astype(np.int64)
        is_of = (code[:, None] == np.arange(groups)).astype(np.float64)
        held = np.zeros((int(at.max(initial=-1)) + 1, groups), dtype=bool)
        held[at, code] = True
        columns = _without_line(np.column_stack((x, is_of)), at)
        return cls(at=at, value=columns[:, 0], member=columns[:, 1:], held=held)

    def mixed(self, a: int, b: int) -> int:
        """Return how many stretches hold both of two groups."""
        return int((self.held[:, a] & self.held[:, b]).sum())

    def fit(self) -> _Fit:
        """Fit the levels of the groups."""
        z, stretches = self.member, len(self.held)
        inverse = np.linalg.pinv(z.T @ z, rcond=1e-9, hermitian=True)
        level = inverse @ (z.T @ self.value)
        rest = self.value - z @ level
        left = max(len(rest) - 2 * stretches - (z.shape[1] - 1), 1)
        sigma = float(np.sqrt((rest**2).sum() / left))
        scores = np.zeros((stretches, z.shape[1]))
        np.add.at(scores, self.at, z * rest[:, None])
        telling = int((self.held.sum(axis=1) > 1).sum())
        spread = telling / max(telling - 1, 1) * (inverse @ (scores.T @ scores) @ inverse)
        return _Fit(
            level=np.asarray(level),
            sigma=sigma,
            usual=np.asarray(sigma**2 * inverse),
            by_stretch=np.asarray(spread),
            df=float(max(telling - 1, 1)),
            left=float(left),
        )

    def least_quarter(self, low: int, high: int, sigma: float) -> float:
        """Return the least difference of two groups, in sigmas, by quarters of the stretches they share."""
        shared = np.flatnonzero(self.held[:, low] & self.held[:, high])
        quarter = np.full(len(self.held), -1)
        quarter[shared] = np.repeat(np.arange(QUARTERS), [len(q) for q in np.array_split(shared, QUARTERS)])
        here = [quarter[self.at] == q for q in range(QUARTERS)]
        z = [self.member[rows] for rows in here]
        inverse = np.linalg.pinv(np.stack([one.T @ one for one in z]), rcond=1e-9, hermitian=True)
        level = [
            inverse[q] @ (one.T @ self.value[rows]) for q, (one, rows) in enumerate(zip(z, here, strict=True))
        ]
        return min(float(one[high] - one[low]) / sigma for one in level)


def _as_rows(
    values: ArrayLike, groups: ArrayLike, segment: ArrayLike
) -> tuple[Floats, NDArray[np.object_], Whole]:
    """Return what can be used of three columns of one length."""
    x = np.asarray(values, dtype=np.float64)
    names, segments = np.asarray(groups, dtype=object), np.asarray(segment, dtype=np.int64)
    if not (x.ndim == 1 and x.shape == names.shape == segments.shape):
        raise TypeError("values, groups and segments of one length")
    usable = np.isfinite(x) & np.array([name is not None for name in names], dtype=bool)
    return x[usable], names[usable], segments[usable]


def _large_groups(names: NDArray[np.object_]) -> tuple[NDArray[np.str_], Whole]:
    """Return the groups with enough bores, and how many bores each of all groups has."""
    found, counts = np.unique(names.astype(str), return_counts=True)
    return found[counts >= LEAST_IN_GROUP], np.asarray(counts, dtype=np.int64)


def _second(counts: Whole) -> int:
    """Return the size of the second largest group."""
    return int(np.sort(counts)[-2]) if len(counts) > 1 else 0


def _cut(segment: Whole) -> tuple[Whole, NDArray[np.bool_]]:
    """Cut runs of one segment into stretches of about `STRETCH` bores; short runs are left out."""
    starts = np.flatnonzero(np.concatenate(([True], segment[1:] != segment[:-1])))
    lengths = np.diff(np.append(starts, len(segment)))
    run = np.repeat(np.arange(len(starts)), lengths)
    place, length = np.arange(len(segment)) - starts[run], lengths[run]
    pieces = np.maximum(1, np.round(length / STRETCH)).astype(np.int64)
    return run * len(segment) + place * pieces // np.maximum(length, 1), length >= LEAST_STRETCH


def _without_line(columns: Floats, at: Whole) -> Floats:
    """Take each stretch's straight line out of columns of shape (bores, columns)."""
    size = np.bincount(at).astype(np.float64)
    first = np.searchsorted(at, np.arange(len(size)))
    place = np.arange(len(at)) - first[at]
    time = place - ((size - 1) / 2)[at]
    squares = np.bincount(at, weights=time**2)
    found = np.empty_like(columns)
    for i, column in enumerate(columns.T):
        mean = np.bincount(at, weights=column) / size
        slope = np.bincount(at, weights=time * column) / squares
        found[:, i] = column - mean[at] - slope[at] * time
    return found
