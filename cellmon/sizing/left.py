"""What one bore's readings say: tight, wide, out of round, how much is left, and what cannot be settled."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.stats.normal import quantile

Floats = NDArray[np.float64]

COARSE = 0.25
"""Expanded uncertainty (k = 2) over the tolerance, from which the gauge cannot settle what it should."""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Size limits of a bore, µm from nominal."""

    lower: float
    target: float
    upper: float

    def __post_init__(self) -> None:
        if not self.lower < self.upper or not self.lower <= self.target <= self.upper:
            raise ValueError(f"limits in order, not {self.lower}, {self.target}, {self.upper}")


@dataclass(frozen=True, kw_only=True)
class GaugeDoubt:
    """Standard uncertainties (k = 1) of the gauge, µm: shared by all readings, and of one reading alone."""

    common_um: float
    reading_um: float

    @property
    def one_um(self) -> float:
        """Of one reading as a size."""
        return hypot(self.common_um, self.reading_um)

    def guard_um(self, conformance: float = 0.95) -> float:
        """Return the guard band at a limit for one reading (ISO 14253-1, from memory)."""
        return float(quantile(conformance)) * self.one_um

    def tells_um(self, readings: int = 1) -> float:
        """Return the least difference of two means of so many readings that the gauge can tell (95 %)."""
        return float(quantile(0.975)) * sqrt(2 / readings) * self.reading_um


@dataclass(frozen=True, kw_only=True)
class Place:
    """A plane and a direction by their indices in the sheet's order, and what was read there, µm."""

    plane: int
    direction: int
    um: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Left:
    """One bore as it was read.

    Attributes
    ----------
    to_lower, to_target, to_upper : ndarray, shape (planes, directions)
        What is left, µm of diameter; negative once past. nan where not read.
    uncertainty_um : float
        Expanded (k = 2), of each of these.
    tight, wide : Place
        The least and the greatest reading.
    plane_um, wide_um : ndarray, shape (planes,)
        Mean and greatest reading of each plane.
    oval_um : ndarray, shape (planes,)
        Greatest less least reading of a plane.
    oval_direction : ndarray of int, shape (planes,)
        The wide direction of a plane, -1 where the readings do not differ by more than the gauge tells.
    taper_um : float or None
        First plane less last; None with one plane. `taper_told`: more than the gauge can tell apart.
    ends_tight : bool
        Both ends are tighter than the planes between them, by more than the gauge can tell.
    guard_um : float
        Guard band at each limit.
    """

    to_lower: Floats
    to_target: Floats
    to_upper: Floats
    uncertainty_um: float
    tight: Place
    wide: Place
    plane_um: Floats
    wide_um: Floats
    oval_um: Floats
    oval_direction: NDArray[np.int64]
    taper_um: float | None
    taper_told: bool
    ends_tight: bool
    guard_um: float

    @property
    def proven_above_lower(self) -> bool:
        """Whether the tightest place is above the lower limit by the guard band."""
        return bool(np.nanmin(-self.to_lower) >= self.guard_um)

    @property
    def proven_below_upper(self) -> bool:
        """Whether the widest place is below the upper limit by the guard band."""
        return bool(np.nanmin(self.to_upper) >= self.guard_um)

    @property
    def proven_too_wide(self) -> bool:
        """Whether the widest place is above the upper limit by the guard band."""
        return bool(np.nanmin(self.to_upper) < -self.guard_um)


def left_of(um: ArrayLike, limits: Limits, doubt: GaugeDoubt, *, conformance: float = 0.95) -> Left:
    """Say how much one bore has left, and where.

    Parameters
    ----------
    um : array_like, shape (planes, directions)
        Readings, µm from nominal, planes from the top down; nan where not read, at least one read.
    limits : Limits
    doubt : GaugeDoubt
    conformance : float
        Of the guard band.

    Examples
    --------
    >>> left = left_of([[-20.0, -22.0], [-30.0, -31.0]], Limits(lower=0, target=12, upper=24),
    ...                GaugeDoubt(common_um=0.5, reading_um=0.5))
    >>> left.tight.um, left.wide.um, left.taper_um, float(left.to_target[1, 1])
    (-31.0, -20.0, 9.5, 43.0)
    """
    x = np.asarray(um, dtype=np.float64)
    if x.ndim != 2:
        raise TypeError(f"expected (planes, directions), got {x.ndim} dimension(s)")
    if not np.isfinite(x).any():
        raise ValueError("at least one reading")
    read = np.isfinite(x)
    count = np.maximum(read.sum(axis=1), 1)
    some = read.any(axis=1)
    planes = np.where(some, np.where(read, x, 0.0).sum(axis=1) / count, np.nan)
    high, low = np.where(read, x, -np.inf).max(axis=1), np.where(read, x, np.inf).min(axis=1)
    oval = np.where(some, high - low, np.nan)
    told = oval > doubt.tells_um()
    ends = planes[some]
    taper = float(ends[0] - ends[-1]) if len(ends) > 1 else None
    return Left(
        to_lower=limits.lower - x,
        to_target=limits.target - x,
        to_upper=limits.upper - x,
        uncertainty_um=2 * doubt.one_um,
        tight=_place(np.where(read, x, np.inf), x, np.argmin),
        wide=_place(np.where(read, x, -np.inf), x, np.argmax),
        plane_um=planes,
        wide_um=np.where(some, high, np.nan),
        oval_um=oval,
        oval_direction=np.where(told, np.where(read, x, -np.inf).argmax(axis=1), -1),
        taper_um=taper,
        taper_told=taper is not None and abs(taper) > doubt.tells_um(int(count[some].min())),
        ends_tight=len(ends) > 2
        and float(ends[1:-1].min() - max(ends[0], ends[-1])) > doubt.tells_um(int(count[some].min())),
        guard_um=doubt.guard_um(conformance),
    )


def _place(filled: Floats, x: Floats, pick: object) -> Place:
    flat = int(pick(filled))  # type: ignore[operator]
    plane, direction = divmod(flat, x.shape[1])
    return Place(plane=plane, direction=direction, um=float(x[plane, direction]))


@dataclass(frozen=True, kw_only=True)
class Aim:
    """The size to aim at, and whether the gauge can settle the limits at all; µm from nominal.

    Attributes
    ----------
    settles : bool
        The expanded uncertainty is at most a quarter of the tolerance.
    from_um, to_um : float
        Readings that prove conformity; crossed (`from_um > to_um`) where no reading can.
    aim_um : float
        The target held inside them; their middle where no reading proves anything.
    """

    settles: bool
    from_um: float
    to_um: float
    aim_um: float


def aim_of(limits: Limits, doubt: GaugeDoubt, *, conformance: float = 0.95) -> Aim:
    """Return which readings prove a size good, and where to aim.

    Examples
    --------
    >>> aim_of(Limits(lower=0, target=12, upper=24), GaugeDoubt(common_um=3.0, reading_um=4.0)).settles
    False
    """
    guard = doubt.guard_um(conformance)
    low, high = limits.lower + guard, limits.upper - guard
    middle = (limits.lower + limits.upper) / 2
    return Aim(
        settles=2 * doubt.one_um <= COARSE * (limits.upper - limits.lower),
        from_um=low,
        to_um=high,
        aim_um=min(max(limits.target, low), high) if low <= high else middle,
    )


@dataclass(frozen=True, kw_only=True)
class CleanUp:
    """Whether a bore as received cleans up at this size.

    Attributes
    ----------
    cleans_up : bool or None
        None where the gauge cannot settle it.
    room_um : float
        From the deepest place with its allowance to the upper limit less the guard band.
    least_size_um : float
        The size at which the deepest place is just cleaned, µm from nominal.
    """

    cleans_up: bool | None
    room_um: float
    least_size_um: float


def clean_up(left: Left, limits: Limits, *, allowance_um: float, deepest_um: float = 0.0) -> CleanUp:
    """Say before the first stroke whether the widest place still cleans up inside the limits.

    Parameters
    ----------
    left : Left
        The bore as received.
    allowance_um : float
        What must come off the widest place, on diameter, so that its surface is new.
    deepest_um : float
        How much deeper a mark lies than the widest reading, on diameter (twice the depth of a scratch).
    """
    least = left.wide.um + deepest_um + allowance_um
    room = limits.upper - left.guard_um - least
    sure = room >= 0, room < -2 * left.guard_um
    return CleanUp(
        cleans_up=True if sure[0] else False if sure[1] else None, room_um=room, least_size_um=least
    )


def oversize_for(
    least_size_um: float, oversizes_um: ArrayLike, *, guard_um: float, half_um: float
) -> float | None:
    """Return the smallest oversize that takes a bore which cannot be saved at this size, or None: scrap.

    Parameters
    ----------
    least_size_um : float
        Size at which the bore is just clean, µm from nominal.
    oversizes_um : array_like
        Oversizes named in the sheet, µm added to every limit.
    guard_um, half_um : float
        Guard band, and upper limit less nominal of this size: it moves with the oversize.
    """
    fits = [
        o
        for o in sorted(np.asarray(oversizes_um, dtype=np.float64))
        if least_size_um <= o + half_um - guard_um
    ]
    return float(fits[0]) if fits else None
