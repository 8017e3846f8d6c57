"""What new stones lose at first beside their usual wear, as the sets of one kind show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

BREAK_INS = (0.0025, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12)
"""Lengths tried, shares of the bores a set lasts."""
SURE = float(2 * gammaincinv(0.5, 0.9999))
"""Twice the gain of likelihood that makes a break-in one; high, as eight lengths are tried."""


@dataclass(frozen=True, kw_only=True)
class BreakIn:
    """What a new set loses at first beside its usual wear: `extra_um` in its first `bores`."""

    bores: float
    extra_um: float
    sd_um: float = 0.0
    """How well `extra_um` is known."""

    def pending(self, honed: float) -> float:
        """Return what of it is still to come after so many bores, µm."""
        return float(self.still(honed))

    def still(self, honed: ArrayLike) -> Floats:
        """Return what `pending` says after each of many counts of bores, of their shape."""
        gone = np.maximum(np.asarray(honed, dtype=np.float64), 0.0)
        if self.bores <= 0:
            return np.zeros(gone.shape)
        return np.asarray(self.extra_um * (1.0 - np.minimum(gone / self.bores, 1.0)), dtype=np.float64)


NO_BREAK_IN = BreakIn(bores=0.0, extra_um=0.0)


def break_in(bores: Sequence[ArrayLike], wear_um: Sequence[ArrayLike], *, life_bores: float) -> BreakIn:
    """Find the break-in that sets of one kind share: wear that is quick at first, then even.

    Parameters
    ----------
    bores, wear_um : sequences of array_like, shape (rounds,)
        Of each set from new on, rising from 0 bores.
    life_bores : float
        About how long a set lasts.

    Returns
    -------
    BreakIn
        Of the length that fits best; nothing where it does not make the paths clearly likelier.

    References
    ----------
    Likelihood ratio of a Wiener process with a line for each set, with and without the extra wear.
    Two regimes: common practice, no source.
    """
    pairs = [(np.asarray(b, float), np.asarray(w, float)) for b, w in zip(bores, wear_um, strict=True)]
    sets = [(b, w) for b, w in pairs if len(b) > 2 and (np.diff(b) > 0).all()]
    if not sets:
        return NO_BREAK_IN
    lines = _OffLines.of(sets)
    without = float((lines.off**2).sum())
    points = sum(len(b) - 2 for b, _ in sets)
    best, gain = NO_BREAK_IN, SURE
    for share in BREAK_INS:
        length = share * life_bores
        bend = lines.bend(length)
        bending = float((bend**2).sum())
        if bending <= 0:
            continue
        extra = float((bend * lines.off).sum()) / bending
        left = without - extra**2 * bending
        found = points * np.log(without / left) if left > 0 else np.inf
        if extra > 0 and found > gain:
            sd = float(np.sqrt(max(left, 0.0) / max(points - 1, 1) / bending))
            best, gain = BreakIn(bores=length, extra_um=float(extra), sd_um=sd), float(found)
    return best


@dataclass(frozen=True, kw_only=True, eq=False)
class _OffLines:
    """The increments of sets, set after set, each against its set's own line, over the root of its bores."""

    begun: Floats
    """Bores honed before each increment."""
    by: Floats
    """And by its end."""
    honed: Floats
    which: Whole
    """The set of each increment."""
    off: Floats

    @classmethod
    def of(cls, sets: Sequence[tuple[Floats, Floats]]) -> _OffLines:
        which = np.repeat(np.arange(len(sets)), [len(b) - 1 for b, _ in sets])
        honed = np.concatenate([np.diff(b) for b, _ in sets])
        worn = np.concatenate([np.diff(w) for _, w in sets])
        begun, by = (np.concatenate([b[part] for b, _ in sets]) for part in (slice(-1), slice(1, None)))
        return cls(begun=begun, by=by, honed=honed, which=which, off=_residual(worn, honed, which))

    def bend(self, length: float) -> Floats:
        """Return what a break-in of some length would add to each increment, off a line."""
        gone = np.minimum(self.by / length, 1.0) - np.minimum(self.begun / length, 1.0)
        return _residual(gone, self.honed, self.which)


def _residual(step: Floats, honed: Floats, which: Whole) -> Floats:
    """Return increments less a line's of their set, standardised by the root of their bores."""
    rate = np.bincount(which, step) / np.bincount(which, honed)
    return np.asarray((step - rate[which] * honed) / np.sqrt(honed), dtype=np.float64)
