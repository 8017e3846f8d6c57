"""Strokes of one round by zone, and where along the bore each zone cuts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ZONES = ("full", "top", "bottom")
UNEVEN_SD = 0.08
"""How much less or more a full stroke takes off one plane than off the bore, share of the removal."""
ZONE_SD = 0.20
"""How unsure the reach of short strokes is before a round has shown it, share of a full stroke's removal."""


@dataclass(frozen=True, kw_only=True)
class Strokes:
    """Double strokes over the whole bore, and short ones at its top and at its bottom."""

    full: int = 0
    top: int = 0
    bottom: int = 0

    def __post_init__(self) -> None:
        if min(self.full, self.top, self.bottom) < 0:
            raise ValueError("strokes cannot be negative")

    @property
    def total(self) -> int:
        """Strokes of all zones together."""
        return self.full + self.top + self.bottom

    @property
    def counts(self) -> Floats:
        """As an array in the order of `ZONES`."""
        return np.array([self.full, self.top, self.bottom], dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class Reach:
    """What one stroke of a zone takes off a plane, as a share of a full stroke's removal from the bore.

    Attributes
    ----------
    mean, sd : ndarray, shape (3, planes)
        Expected share and how unsure it is; zones in the order of `ZONES`.
    """

    mean: Floats
    sd: Floats


def expected_reach(depths_mm: ArrayLike) -> Reach:
    """Return the reach that is expected before a round has shown it.

    Full strokes cut every plane alike. Short strokes cut their own end like a full stroke and fall off to
    a tenth at the other end, as stones of half the bore's length do (*common practice, no source*); the
    deviations are wide on purpose.

    Parameters
    ----------
    depths_mm : array_like, shape (planes,)
        Depth of each plane, from the top down.

    Examples
    --------
    >>> expected_reach([15.0, 70.0, 125.0]).mean[1].round(2).tolist()
    [1.0, 0.55, 0.1]
    """
    depths = np.asarray(depths_mm, dtype=np.float64)
    span = np.ptp(depths)
    down = np.full(depths.shape, 0.5) if span == 0 else (depths - depths.min()) / span
    mean = np.array([np.ones(depths.shape), 1 - 0.9 * down, 0.1 + 0.9 * down])
    sd = np.array([np.full(depths.shape, UNEVEN_SD), *np.full((2, len(depths)), ZONE_SD)])
    return Reach(mean=mean, sd=sd)
