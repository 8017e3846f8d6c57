"""What one round of strokes may do to a bore at most, and the most strokes that keep within it."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

import numpy as np
from numpy.typing import NDArray

from cellmon.sizing.chance import Outlook, outlook
from cellmon.sizing.learned import Learned
from cellmon.sizing.left import GaugeDoubt, Left, Limits
from cellmon.sizing.strokes import Strokes

Floats = NDArray[np.float64]

MOST_STROKES = 400
"""No round is longer: the bore grows warm and nobody counts further."""


@dataclass(frozen=True, kw_only=True)
class Caution:
    """How sure a round must be.

    Attributes
    ----------
    past_target, past_upper : float
        Most chance that the widest place passes the target, and the upper limit.
    test_share, past_share : float
        A test round takes more than this share of what is left at the tightest place with at most this
        chance.
    """

    past_target: float = 0.1
    past_upper: float = 0.00004
    test_share: float = 1 / 3
    past_share: float = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class Bounds:
    """What a round must hold: at every plane its widest direction below ceiling and upper limit."""

    ceiling: Floats
    upper: Floats
    common_um: float
    third: float
    tight: int
    care: Caution
    test: bool

    @classmethod
    def of(
        cls,
        known: Learned,
        left: Left,
        limits: Limits,
        care: Caution,
        *,
        ceiling: float,
        doubt: GaugeDoubt,
        test: bool,
    ) -> Bounds:
        """Return the bounds of a round whose widest place is to stay below a ceiling.

        Stated for the mean of each plane: as much lower as its widest direction is wider.
        """
        read = np.isfinite(left.plane_um)
        wide = np.where(read, left.wide_um - left.plane_um, 0.0)
        wide = np.where(read, wide, wide.max())
        tight = left.tight.plane
        at = known.size_um[tight]
        goal = max(limits.target, left.wide.um) if left.proven_above_lower else limits.target
        return cls(
            ceiling=ceiling - wide,
            upper=limits.upper - wide,
            common_um=doubt.common_um,
            third=float(at + care.test_share * max(goal - left.tight.um, 0.0)),
            tight=tight,
            care=care,
            test=test,
        )

    def hold(self, seen: Outlook) -> bool:
        """Return whether what strokes are expected to do keeps within them."""
        if seen.chance_beyond(self.ceiling).max() > self.care.past_target:
            return False
        if self.past_upper(seen) > self.care.past_upper:
            return False
        if not self.test:
            return True
        return bool(seen.chance_beyond(self.third)[self.tight] <= self.care.past_share)

    def past_upper(self, seen: Outlook) -> float:
        """Return the chance that the widest place truly passes the upper limit, the gauge's zero included."""
        return float(seen.chance_beyond(self.upper, shared_um=self.common_um).max())


def most_strokes(known: Learned, bounds: Bounds, *, short: tuple[int, ...]) -> Strokes:
    """Return the most strokes that hold the bounds, zones mixed so that the tightest place is raised."""
    mixture = _mixture(known, bounds, short=short)
    low, high = 0.0, 1.0
    if mixture.sum() <= 0 or not bounds.hold(outlook(known, np.zeros(3))):
        return Strokes()
    mixture = mixture / mixture.sum()
    while high < MOST_STROKES and bounds.hold(outlook(known, high * mixture)):
        low, high = high, 2 * high
    while high - low > max(0.05, 0.01 * low):
        middle = (low + high) / 2
        low, high = (middle, high) if bounds.hold(outlook(known, middle * mixture)) else (low, middle)
    strokes = _whole(min(low, MOST_STROKES) * mixture)
    while strokes.total and not bounds.hold(outlook(known, strokes)):  # whole strokes are another mixture
        strokes = _one_less(strokes)
    return strokes


def _one_less(strokes: Strokes) -> Strokes:
    """Return strokes with one less where most are made."""
    counts = strokes.counts.astype(int)
    counts[int(np.argmax(counts))] -= 1
    return Strokes(full=int(counts[0]), top=int(counts[1]), bottom=int(counts[2]))


def _whole(counts: Floats) -> Strokes:
    """Return whole strokes, none more than the counts in all; what rounding drops goes to the larger part."""
    whole = np.floor(counts + 1e-9).astype(int)
    whole[int(np.argmax(counts))] += floor(counts.sum() - whole.sum() + 1e-9)
    full, top, bottom = (int(n) for n in whole)
    return Strokes(full=full, top=top, bottom=bottom)


def _mixture(known: Learned, bounds: Bounds, *, short: tuple[int, ...]) -> Floats:
    """Return strokes by zone that bring the tightest plane furthest and no plane past its ceiling.

    A linear programme in the expected removal; only the mixture is taken from it, not how far to go.
    """
    from scipy.optimize import linprog  # late: slow to import

    full = np.array([1.0, 0.0, 0.0])
    if not short:
        return full
    used = [0, *short]
    per, sizes = known.per_stroke_um()[used], known.size_um
    # raise the least size t: sizes + per' n >= t, sizes + per' n <= ceiling; strokes cost next to nothing
    cost = np.array([*np.full(len(used), 1e-3 * per[0].mean()), -1.0])
    least = np.column_stack([-per.T, np.ones(len(sizes))])
    most = np.column_stack([per.T, np.zeros(len(sizes))])
    room = np.maximum(bounds.ceiling - sizes, 1e-6)
    found = linprog(
        cost,
        A_ub=np.vstack([least, most]),
        b_ub=np.concatenate([sizes, room]),
        bounds=[(0, None)] * len(used) + [(None, None)],
    )
    if found.x is None or not found.success or found.x[:-1].sum() <= 0:
        return full
    mixture = np.zeros(3)
    mixture[used] = found.x[:-1]
    return mixture
