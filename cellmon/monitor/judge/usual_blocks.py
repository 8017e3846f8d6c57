"""What audited blocks usually measure by one characteristic, on a log scale, and which are unlike that."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.drift.deviates import as_normal
from cellmon.records import Flags, Numbers, Whole

LEAST_BEFORE = 12
"""So many values of a characteristic are known before one is called unlike them."""
UNLIKE = 3.5
"""Normal deviates, of logarithms, from which a block is unlike those before: one in some 4,000."""
AT_ONCE = 256
"""Blocks looked at together: of those after one that is called most would be again."""
NO_SPREAD = 1e-12
"""A variance is none below this share of the mean square: it is what rounding leaves of equal figures."""


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Sums of usual figures: how many, and their logarithms less one that stays, plain and squared."""

    n: float = 0.0
    total: float = 0.0
    squares: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Blocks:
    """Figures by their blocks, in the order of their first ones; one of each a block."""

    of_row: Whole
    """The block of each figure."""
    first: Whole
    """Its first figure."""
    n: Whole
    least: Numbers
    most: Numbers
    positive: Whole
    total: Numbers
    """Of the logarithms of its positive figures, each less that of `about`; `squares` of their squares."""
    squares: Numbers

    @classmethod
    def of(cls, values: Numbers, keys: Sequence[Hashable], *, about: float) -> Blocks:
        """Gather figures of shape (n,) by the key of each."""
        numbers: dict[Hashable, int] = {}
        which = np.array([numbers.setdefault(key, len(numbers)) for key in keys], dtype=np.int64)
        above = values > 0
        logs = np.log(values, out=np.full(values.shape, np.log(about)), where=above) - np.log(about)
        least, most = np.full(len(numbers), np.inf), np.full(len(numbers), -np.inf)
        np.minimum.at(least, which, values)
        np.maximum.at(most, which, values)
        return cls(
            of_row=which,
            first=np.unique(which, return_index=True)[1],
            n=np.bincount(which),
            least=least,
            most=most,
            positive=np.bincount(which[above], minlength=len(numbers)),
            total=_sums(which, logs),
            squares=_sums(which, logs**2),
        )

    def __len__(self) -> int:
        return len(self.first)


@dataclass(frozen=True, kw_only=True, eq=False)
class Walk:
    """Which blocks are unlike those before, and the sums of what was usual before each and after all."""

    unlike: Flags
    sums: Numbers
    """Shape (3, k + 1)."""

    def before(self, place: int) -> Spread:
        """Return what was usual before a block; k stands for after all."""
        n, total, squares = self.sums[:, place].tolist()
        return Spread(n=n, total=total, squares=squares)


def walked(blocks: Blocks, start: Spread, *, beyond: Flags, compared: bool) -> Walk:
    """Hold each block against usual ones before; what is called becomes usual for none.

    Parameters
    ----------
    start : Spread
        What was usual before the first block, its sums about the same figure.
    beyond : shape (k,)
        Blocks that are called whatever is usual.
    compared : bool
        Whether any is called unlike others.
    """
    learned, unlike = ~beyond, np.zeros(len(blocks), dtype=bool)
    more = np.stack([blocks.positive, blocks.total, blocks.squares]) * learned
    sums = np.zeros((3, len(blocks) + 1))
    sums[:, 0] = start.n, start.total, start.squares
    at = 0
    while at < len(blocks):
        end = min(at + AT_ONCE, len(blocks))
        sums[:, at : end + 1] = np.cumsum(np.column_stack([sums[:, at], more[:, at:end]]), axis=1)
        unlike[at:end] = compared & _unlike(blocks, at, sums[:, at:end])
        called = np.flatnonzero(unlike[at:end] & learned[at:end])
        if called.size:
            here = at + int(called[0])
            sums[:, here + 1], unlike[here + 1 : end], end = sums[:, here], False, here + 1
        at = end
    return Walk(unlike=unlike, sums=sums)


def _sums(which: Whole, values: Numbers) -> Numbers:
    """Return the sum of the values of each number, one after the other as they stand."""
    return np.bincount(which, weights=values).astype(np.float64)


def _unlike(blocks: Blocks, at: int, sums: Numbers) -> Flags:
    """Return which blocks have positive figures, on average far above those before on a log scale."""
    here = slice(at, at + sums.shape[1])
    n, total, squares = sums
    many = blocks.n[here]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / n
        variance = (squares - total * mean) / (n - 1)
        t = (blocks.total[here] / many - mean) / np.sqrt(variance * (1 / many + 1 / n))
        told = (n >= LEAST_BEFORE) & (blocks.positive[here] == many) & (variance > NO_SPREAD * squares / n)
    found: Flags = told & (as_normal(np.where(told, t, 0.0), np.maximum(n - 1, 1.0)) > UNLIKE)
    return found
