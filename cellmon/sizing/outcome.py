"""Whether a round did what the advice said."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.sizing.advice import NextRound
from cellmon.sizing.strokes import Strokes

Floats = NDArray[np.float64]


class Kept(StrEnum):
    """How a round ended against what was said of it."""

    AS_SAID = "as said"
    LESS = "less than said"
    MORE = "more than said"
    UNEVEN = "uneven"
    OTHER = "other strokes"


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """One round against its advice.

    Attributes
    ----------
    kept : Kept
        `UNEVEN`: some planes above their range, others below. `OTHER`: not the strokes that were advised.
    removed_um, off_um : ndarray, shape (planes,)
        What came off by the readings; and size read less size expected, nan where strokes were other ones.
    """

    kept: Kept
    removed_um: Floats
    off_um: Floats


def outcome(
    told: NextRound, made: Strokes, *, before_um: ArrayLike, after_um: ArrayLike, reading_sd_um: float
) -> Outcome:
    """Hold a round against what was said of it.

    Parameters
    ----------
    told : NextRound
        The advice before it.
    made : Strokes
        The strokes that were made.
    before_um, after_um : array_like, shape (planes,)
        Plane means before and after.
    reading_sd_um : float
        Standard deviation of a plane mean: the 90 % range of the true size is widened by 1.64 of it.
    """
    before, after = np.asarray(before_um, dtype=np.float64), np.asarray(after_um, dtype=np.float64)
    removed = after - before
    if made != told.strokes:
        return Outcome(kept=Kept.OTHER, removed_um=removed, off_um=np.full(after.shape, np.nan))
    wide = 1.64 * reading_sd_um
    low = told.expected_um - np.hypot(told.expected_um - told.low_um, wide)
    high = told.expected_um + np.hypot(told.high_um - told.expected_um, wide)
    less, more = bool((after < low).any()), bool((after > high).any())
    kept = {(False, False): Kept.AS_SAID, (True, False): Kept.LESS, (False, True): Kept.MORE}
    return Outcome(
        kept=kept.get((less, more), Kept.UNEVEN), removed_um=removed, off_um=after - told.expected_um
    )
