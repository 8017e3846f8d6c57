"""Matching by grades: bores and mating parts sorted into classes, like paired with like.

A grade of bores is what lies between two borders; the grade of mating parts that belongs to it has
borders of its own, by default the same ones less the clearance aimed at. The outer grades are open.
Inside a grade parts meet by chance, so pairs may still lie outside: they are counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from cellmon.errors import WrongUsage
from cellmon.fits.clearance import SLACK, Limits, as_sizes, shares_by_part

Floats = NDArray[np.float64]
MOST_PLACES = 1200
"""Pairs of places, on bores and on mating parts, at which borders may lie when the best are sought."""


@dataclass(frozen=True, kw_only=True)
class Grade:
    """One class of bores and of the mating parts that belong to it; an open side is None."""

    bore_from_um: float | None
    bore_to_um: float | None
    mate_from_um: float | None
    mate_to_um: float | None
    bores: int
    mates: int
    pairs: int
    outside: float
    """Share of this grade's pairs that lie outside the limits, taken as they come within it."""


@dataclass(frozen=True, kw_only=True)
class Grading:
    """What sorting into these grades gives."""

    borders_um: tuple[float, ...]
    """Of the bores, from nominal."""
    mate_borders_um: tuple[float, ...]
    grades: tuple[Grade, ...]
    pairs: int
    left_bores: int
    left_mates: int
    good_pairs: float
    """Pairs expected inside the limits."""

    @property
    def outside(self) -> float:
        """Share of all pairs expected outside the limits."""
        return 1 - self.good_pairs / self.pairs if self.pairs else 0.0


def grading(
    bores_um: ArrayLike,
    mates_um: ArrayLike,
    limits: Limits,
    *,
    borders_um: Sequence[float],
    mate_borders_um: Sequence[float] | None = None,
) -> Grading:
    """Return how many pair up in grades with these borders, and what is left over.

    Parameters
    ----------
    bores_um, mates_um : array_like, shapes (n,) and (m,)
        Sizes, micrometres from the bore's nominal; one on a border belongs to the upper grade.
    limits : Limits
        Clearance allowed; its middle is aimed at.
    borders_um, mate_borders_um : sequence of float
        Of the grades, ascending, as many for both; none makes one grade of all. Without borders of their
        own the mating parts have those of the bores, the clearance aimed at lower.

    References
    ----------
    Selective fitting: like grades paired; unequal spreads leave a surplus (common practice; counting).
    """
    bores, mates = (
        as_sizes(bores_um, "bores to be graded", need=1),
        as_sizes(mates_um, "mating parts", need=1),
    )
    borders = _ascending(borders_um)
    theirs = _ascending([b - limits.middle for b in borders] if mate_borders_um is None else mate_borders_um)
    if len(theirs) != len(borders):
        raise WrongUsage("bores and mating parts need as many grades")
    grades = tuple(
        _grade(bores[_within(bores, *own)], mates[_within(mates, *other)], limits, own, other)
        for own, other in zip(_ends(borders), _ends(theirs), strict=True)
    )
    paired = sum(g.pairs for g in grades)
    return Grading(
        borders_um=borders,
        mate_borders_um=theirs,
        grades=grades,
        pairs=paired,
        left_bores=len(bores) - paired,
        left_mates=len(mates) - paired,
        good_pairs=sum(g.pairs * (1 - g.outside) for g in grades),
    )


End = tuple[float | None, float | None]


def _ascending(borders: Sequence[float]) -> tuple[float, ...]:
    found = tuple(float(b) for b in borders)
    if any(a >= b for a, b in pairwise(found)):
        raise WrongUsage("the borders of grades must ascend")
    return found


def _ends(borders: Sequence[float]) -> list[End]:
    return list(pairwise([None, *borders, None]))


def _grade(bores: Floats, mates: Floats, limits: Limits, own: End, other: End) -> Grade:
    pairs = min(len(bores), len(mates))
    tight, loose = shares_by_part(bores, mates, limits) if pairs else (np.zeros(1), np.zeros(1))
    return Grade(
        bore_from_um=own[0],
        bore_to_um=own[1],
        mate_from_um=other[0],
        mate_to_um=other[1],
        bores=len(bores),
        mates=len(mates),
        pairs=pairs,
        outside=float((tight + loose).mean()),
    )


def _within(sizes: Floats, low: float | None, high: float | None) -> NDArray[np.bool_]:
    return (sizes >= (-np.inf if low is None else low)) & (sizes < (np.inf if high is None else high))


def equal_borders(lower_um: float, upper_um: float, *, grades: int) -> tuple[float, ...]:
    """Return the borders that cut a tolerance into grades of one width.

    >>> equal_borders(0.0, 24.0, grades=3)
    (8.0, 16.0)
    """
    step = (upper_um - lower_um) / grades
    return tuple(lower_um + step * i for i in range(1, grades))


def best_borders(
    bores_um: ArrayLike, mates_um: ArrayLike, limits: Limits, *, grades: int, step_um: float = 1.0
) -> Grading:
    """Return the grading that makes most pairs inside the limits, among borders on a grid.

    Parameters
    ----------
    bores_um, mates_um, limits
        As for `grading`.
    grades : int
        How many; every border lies inside the sizes measured.
    step_um : float
        Borders lie on whole multiples of it; doubled until at most `MOST_PLACES` pairs of places are left.

    Raises
    ------
    WrongUsage
        When the sizes do not reach over so many borders.

    References
    ----------
    What a grade gives depends on its own borders alone, so the best set follows by dynamic
    programming (Bellman's principle); on the grid no other set gives more.
    """
    bores = np.sort(as_sizes(bores_um, "bores to be graded", need=1))
    mates = np.sort(as_sizes(mates_um, "mating parts", need=1))
    if grades < 1:
        raise WrongUsage(f"at least one grade, not {grades}")
    of_bores, of_mates = _places(bores, mates, step_um)
    if grades > min(len(of_bores), len(of_mates)) + 1:
        raise WrongUsage(f"{grades} grades need sizes further apart than {step_um:g} um")
    gain = _gain(bores, mates, of_bores, of_mates, limits)
    chosen = _best_chain(gain, len(of_mates) + 2, grades)
    return grading(
        bores,
        mates,
        limits,
        borders_um=[of_bores[i - 1] for i, _ in chosen],
        mate_borders_um=[of_mates[j - 1] for _, j in chosen],
    )


def _places(bores: Floats, mates: Floats, step_um: float) -> tuple[Floats, Floats]:
    """Return where the borders of both may lie: a grid inside their sizes."""
    step = step_um
    while True:
        grids = [
            np.arange(np.floor(x[0] / step) + 1, np.ceil(x[-1] / step), dtype=np.float64) * step
            for x in (bores, mates)
        ]
        if (len(grids[0]) + 2) * (len(grids[1]) + 2) <= MOST_PLACES:
            return grids[0], grids[1]
        step *= 2


def _gain(bores: Floats, mates: Floats, of_bores: Floats, of_mates: Floats, limits: Limits) -> Floats:
    """Return the good pairs of the grade from places (i, j) to (k, l), i < k and j < l, else -inf.

    Shape (a, a) with a the number of pairs of places, the ends of both included.
    """
    ends_b = np.concatenate(([0], np.searchsorted(bores, of_bores), [len(bores)]))
    ends_m = np.concatenate(([0], np.searchsorted(mates, of_mates), [len(mates)]))
    low = np.searchsorted(mates, bores - limits.upper - SLACK, side="left")
    high = np.searchsorted(mates, bores - limits.lower + SLACK, side="right")
    # good pairs among the first so many bores and the first so many mating parts: grades are differences
    suits = np.clip(ends_m[None, :] - low[:, None], 0, (high - low)[:, None]).cumsum(axis=0)
    upto = np.vstack((np.zeros(len(ends_m)), suits))[ends_b]
    i, j, k, m = np.ix_(*(range(len(e)) for e in (ends_b, ends_m, ends_b, ends_m)))
    good = upto[k, m] - upto[i, m] - upto[k, j] + upto[i, j]
    mine, theirs = ends_b[k] - ends_b[i], ends_m[m] - ends_m[j]
    with np.errstate(divide="ignore", invalid="ignore"):
        paired = np.where(mine * theirs > 0, good / np.maximum(mine, theirs), 0.0)
    size = len(ends_b) * len(ends_m)
    return np.where((i < k) & (j < m), paired, -np.inf).reshape(size, size)


def _best_chain(gain: Floats, columns: int, grades: int) -> list[tuple[int, int]]:
    """Return the inner places of the chain of grades from the first place to the last that gives most."""
    best, came = gain[0], []
    for _ in range(grades - 1):
        total = best[:, None] + gain
        came.append(total.argmax(axis=0))
        best = total.max(axis=0)
    at, chosen = len(gain) - 1, []
    for back in reversed(came):
        at = int(back[at])
        chosen.append(divmod(at, columns))
    return list(reversed(chosen))


def misgraded_share(sizes_um: ArrayLike, *, borders_um: Sequence[float], u_um: float) -> float:
    """Return the share that a gauge of standard uncertainty u puts into a wrong grade.

    Derived: a size x is read as x + e, e normal; the share is averaged over the sizes given.

    >>> round(misgraded_share([7.0, 12.0], borders_um=[8.0, 16.0], u_um=1.0), 3)
    0.079
    """
    sizes = as_sizes(sizes_um, "sizes to be graded", need=1)
    ends = np.concatenate(([-np.inf], np.asarray(borders_um, dtype=np.float64), [np.inf]))
    mine = np.searchsorted(ends, sizes, side="right")
    low, high = ends[mine - 1], ends[np.minimum(mine, len(ends) - 1)]
    if u_um == 0:
        return 0.0
    stays = ndtr((high - sizes) / u_um) - ndtr((low - sizes) / u_um)
    return float(1 - stays.mean())
