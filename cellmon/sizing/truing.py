"""Stones in the hand: flat, parallel, matched; where to take material off, and how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class StoneTolerance:
    """What the sheet allows, µm of thickness; None: not named, nothing asked."""

    flat_um: float | None = None
    parallel_um: float | None = None
    matched_um: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class HandStones:
    """A pair or set of stones as measured.

    Attributes
    ----------
    flat_um, parallel_um : ndarray, shape (stones,)
        Middle less the mean of the ends (plus: crowned; nan with two places), and top less bottom.
    apart_um : float
        Thickest stone less thinnest, by their means.
    flat, parallel, matched : bool or None
        Within tolerance; None where none is named or it was not measured.
    take_off_um : ndarray, shape (stones, places)
        What must go so that all is within tolerance, 0 where nothing must.
    to_even_um : ndarray, shape (stones, places)
        What must go so that every place is as thin as the thinnest of all.
    """

    flat_um: Floats
    parallel_um: Floats
    apart_um: float
    flat: bool | None
    parallel: bool | None
    matched: bool | None
    take_off_um: Floats
    to_even_um: Floats

    @property
    def fit(self) -> bool:
        """Whether nothing that was asked is beyond its tolerance."""
        return False not in (self.flat, self.parallel, self.matched)


def hand_stones(thickness_um: ArrayLike, tolerance: StoneTolerance) -> HandStones:
    """Judge stones by their thickness at top, middle and bottom, or at both ends.

    Parameters
    ----------
    thickness_um : array_like, shape (stones, 2 or 3)
        From the top end to the bottom end.
    tolerance : StoneTolerance

    Examples
    --------
    >>> pair = hand_stones([[3000.0, 3000.0, 2990.0], [3000.0, 3000.0, 3000.0]],
    ...                    StoneTolerance(flat_um=5.0, parallel_um=5.0, matched_um=5.0))
    >>> pair.parallel, pair.take_off_um.tolist()
    (False, [[5.0, 5.0, 0.0], [5.0, 5.0, 5.0]])
    """
    x = np.asarray(thickness_um, dtype=np.float64)
    if x.ndim != 2 or x.shape[1] not in (2, 3):
        raise TypeError(f"expected (stones, 2 or 3 places), not {x.shape}")
    if not (np.isfinite(x).all() and (x > 0).all()):
        raise ValueError("every place of every stone, above 0")
    flat = x[:, 1] - (x[:, 0] + x[:, 2]) / 2 if x.shape[1] == 3 else np.full(len(x), np.nan)
    parallel = x[:, 0] - x[:, -1]
    apart = float(np.ptp(x.mean(axis=1)))
    even = x - x.min()
    verdicts = (
        _within(flat, tolerance.flat_um),
        _within(parallel, tolerance.parallel_um),
        _within(np.array([apart]), tolerance.matched_um),
    )
    named = [t for t in (tolerance.flat_um, tolerance.parallel_um, tolerance.matched_um) if t is not None]
    spare = min(named) if named else np.inf
    # heights that all lie within the least tolerance keep every one of the three
    needed = np.maximum(even - spare, 0.0) if False in verdicts else np.zeros(x.shape)
    return HandStones(
        flat_um=flat,
        parallel_um=parallel,
        apart_um=apart,
        flat=verdicts[0],
        parallel=verdicts[1],
        matched=verdicts[2],
        take_off_um=needed,
        to_even_um=even,
    )


def _within(values: Floats, most: float | None) -> bool | None:
    known = values[np.isfinite(values)]
    return None if most is None or not len(known) else bool((np.abs(known) <= most + 1e-9).all())
