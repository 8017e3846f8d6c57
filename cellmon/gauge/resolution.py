"""Whether a gauge reads finely enough: its step against the tolerance and against what it repeats to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cellmon.errors import NotEnoughData

FINEST = 1e-4
"""Differences below this, in the unit of the readings, are rounding of the file and no step."""
OF_TOLERANCE = 0.10
"""A step of at most a tenth of the tolerance: the bare minimum (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class ResolutionTest:
    """A gauge's step against what it must tell apart."""

    step: float
    of_tolerance: float | None
    """Step over tolerance; None without one."""
    of_sigma: float | None
    """Step over the standard deviation of repetition; None where that is not known."""
    fine_for_tolerance: bool | None
    fine_for_sigma: bool | None
    """A step of more than one standard deviation hides how well the gauge repeats."""


def step_seen(readings: ArrayLike, *, finest: float = FINEST) -> float:
    """Return the smallest step between readings that differ.

    Raises
    ------
    NotEnoughData
        When no two readings differ.

    Examples
    --------
    >>> round(step_seen([0.4, 0.1, 0.3, 0.1]), 6)
    0.1
    """
    x = np.asarray(readings, dtype=np.float64).ravel()
    steps = np.diff(np.sort(x[np.isfinite(x)]))
    steps = steps[steps > finest]
    if not len(steps):
        raise NotEnoughData("different readings", need=2, got=min(len(x), 1))
    return float(steps.min())


def resolution_test(step: float, *, sigma: float | None, tolerance: float | None) -> ResolutionTest:
    """Return the step against the tolerance (a tenth) and against repetition (one standard deviation).

    References
    ----------
    A tenth: common practice, no source. One standard deviation: Wheeler and Lyday, Evaluating the
    Measurement Process, chapter on inadequate measurement units; from memory.
    """
    of_tolerance = None if not tolerance else step / tolerance
    of_sigma = None if not sigma else step / sigma
    return ResolutionTest(
        step=step,
        of_tolerance=of_tolerance,
        of_sigma=of_sigma,
        fine_for_tolerance=None if of_tolerance is None else of_tolerance <= OF_TOLERANCE,
        fine_for_sigma=None if of_sigma is None else of_sigma <= 1,
    )
