"""Cylinders through the traces of several planes: least squares, minimum zone, inscribed, circumscribed.

The axis is a straight line near the instrument's: at each depth it lies ex + gx z, ey + gy z off, and
distances from it are linear in a small move of that line. What is said holds only where all planes were
traced about one axis, in one setting; a bent axis then shows, which no two-point gauge sees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.bores.circles import NO_AXIS, NoCircle, Reference
from cellmon.errors import GapInReadings, NotEnoughData
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say, to_say

Floats = NDArray[np.float64]
MOVES = 20
"""Moves of the axis after which a fit is refused as not settling."""
GAIN_UM = 1e-3
"""Micrometres that a move must gain to be worth another."""
PASSES = 60
EXACT_UM = 1e-6
"""Micrometres within which a point counts as held: what the linear programme itself is sure of."""
ASIDE = 1e-4
ADDED = 12
"""Points that are taken up at a time when a programme of fewer points is solved."""


@dataclass(frozen=True, kw_only=True)
class Cylinder:
    """A fitted cylinder, micrometres; the axis as it stands at two depths."""

    top_x: float
    top_y: float
    """Where the axis crosses the plane of least depth, from the instrument's axis."""
    bottom_x: float
    bottom_y: float
    radius: float
    """Deviation from half the nominal: the mean, the middle of the zone, or the cylinder itself."""
    inner: float
    outer: float
    """Distances of the nearest and farthest point from the axis, less half the nominal."""

    @property
    def form(self) -> float:
        """Cylindricity about this axis: the farthest less the nearest point, a radial figure."""
        return self.outer - self.inner


@dataclass(frozen=True, kw_only=True, eq=False)
class _About:
    """Points as seen from an axis: directions, depth from -1 to 1, distances less half the nominal."""

    moves: Floats
    """Shape (n, 4): how much nearer a point gets as the axis moves; rows cos, sin, depth times each."""
    d: Floats


def fitted_cylinder(
    angle_deg: ArrayLike,
    depth_mm: ArrayLike,
    radius_um: ArrayLike,
    *,
    nominal_mm: float,
    reference: Reference | str,
) -> Cylinder:
    """Return the cylinder of a reference through the points of several planes.

    Parameters
    ----------
    angle_deg, depth_mm, radius_um : array_like, shape (n,)
        Points of all planes one after another; radius is the deviation from half the nominal.
    nominal_mm : float
        Nominal diameter.
    reference : Reference or str
        As for `cellmon.bores.circles.fitted_circle`.

    Raises
    ------
    NotEnoughData
        Fewer than two depths, or six points.
    GapInReadings
        A number that is not finite.
    NoCircle
        When points do not surround an axis.

    References
    ----------
    ISO 12180-1:2011 (references; from memory). Least squares: Gauss-Newton. The others: a linear
    programme for each move of the axis, by the dual simplex code of scipy (HiGHS), points taken up as needed.
    """
    kind = Reference(reference)
    points = _Points.of(angle_deg, depth_mm, radius_um, nominal_mm=nominal_mm)
    axis = np.zeros(4)
    for _ in range(MOVES):
        about = points.about(axis)
        move = _move(about, kind)
        if _settled(about, points.about(axis + move), move, kind, points.half_um):
            return _cylinder(points, axis + move, kind)
        axis = axis + move
    raise NoCircle(say(NO_AXIS, count=MOVES))


def _settled(before: _About, after: _About, move: Floats, kind: Reference, half_um: float) -> bool:
    """Tell whether a move was the last: it was small, or gained nothing where many axes are as good."""
    if float(np.abs(move).max()) < 1e-5 * half_um:
        return True
    if kind is Reference.LEAST_SQUARES:
        return False
    inner, outer = _WEIGHTS[kind]
    gains = [outer * float(a.d.max()) - inner * float(a.d.min()) for a in (before, after)]
    return abs(gains[0] - gains[1]) < GAIN_UM


@dataclass(frozen=True, kw_only=True, eq=False)
class _Points:
    x: Floats
    y: Floats
    z: Floats
    half_um: float

    @classmethod
    def of(
        cls, angle_deg: ArrayLike, depth_mm: ArrayLike, radius_um: ArrayLike, *, nominal_mm: float
    ) -> _Points:
        angle, depth, um = (np.asarray(v, dtype=np.float64) for v in (angle_deg, depth_mm, radius_um))
        if angle.ndim != 1 or not angle.shape == depth.shape == um.shape:
            raise TypeError("expected angles, depths and radii of one length")
        if len(angle) < 6:
            raise NotEnoughData("points of a cylinder", need=6, got=len(angle))
        finite = np.isfinite(angle) & np.isfinite(depth) & np.isfinite(um)
        if not finite.all():
            raise GapInReadings("the traces of a bore", position=int(np.argmin(finite)))
        depths = len(np.unique(depth))
        if depths < 2:
            raise NotEnoughData("planes of a cylinder", need=2, got=depths)
        half = nominal_mm * UM_PER[LengthUnit.MM] / 2
        middle, reach = (depth.max() + depth.min()) / 2, np.ptp(depth) / 2
        x, y = (half + um) * np.cos(np.radians(angle)), (half + um) * np.sin(np.radians(angle))
        return cls(x=x, y=y, z=(depth - middle) / reach, half_um=half)

    def about(self, axis: Floats) -> _About:
        """Return the points as seen from an axis; a lean so small changes no radius."""
        dx, dy = self.x - axis[0] - axis[2] * self.z, self.y - axis[1] - axis[3] * self.z
        rho = np.hypot(dx, dy)
        cos, sin = dx / rho, dy / rho
        return _About(moves=np.stack((cos, sin, cos * self.z, sin * self.z), axis=1), d=rho - self.half_um)


def _cylinder(points: _Points, axis: Floats, kind: Reference) -> Cylinder:
    d = points.about(axis).d
    inner, outer = float(d.min()), float(d.max())
    middle = float(d.mean()) if kind is Reference.LEAST_SQUARES else (inner + outer) / 2
    return Cylinder(
        top_x=float(axis[0] - axis[2]),
        top_y=float(axis[1] - axis[3]),
        bottom_x=float(axis[0] + axis[2]),
        bottom_y=float(axis[1] + axis[3]),
        radius={Reference.INSCRIBED: inner, Reference.CIRCUMSCRIBED: outer}.get(kind, middle),
        inner=inner,
        outer=outer,
    )


def _move(about: _About, kind: Reference) -> Floats:
    basis = np.hstack((about.moves, np.ones((len(about.d), 1))))
    fitted = np.linalg.lstsq(basis, about.d, rcond=None)[0]
    if kind is Reference.LEAST_SQUARES:
        return np.asarray(fitted[:4], dtype=np.float64)
    return _extreme_move(about, kind, about.d - basis @ fitted)


def _extreme_move(about: _About, kind: Reference, error: Floats) -> Floats:
    """Solve for the points that decide, beginning with the worst about the least-squares axis."""
    around = np.arange(0, len(error), max(1, len(error) // (4 * ADDED)))
    out, in_ = [np.union1d(around, np.argsort(s * error)[-4 * ADDED :]) for s in (1.0, -1.0)]
    for _ in range(PASSES):
        move, low, high = _programme(about, out, in_, _WEIGHTS[kind])
        left = about.d - about.moves @ move
        above, below = np.flatnonzero(left > high + EXACT_UM), np.flatnonzero(left < low - EXACT_UM)
        if not len(above) and not len(below):
            return move
        out = np.union1d(out, above[np.argsort(left[above])[-ADDED:]])
        in_ = np.union1d(in_, below[np.argsort(left[below])[:ADDED]])
    raise NoCircle(say("no cylinder settles: these points surround none"))


_WEIGHTS = {
    Reference.MINIMUM_ZONE: (1.0, 1.0),
    Reference.INSCRIBED: (1.0, ASIDE),
    Reference.CIRCUMSCRIBED: (ASIDE, 1.0),
}
"""What the inner and the outer cylinder count. The largest inscribed cylinder of a tapered bore touches
at the tight end only and leaves the axis free to lean: of all such axes the narrowest zone is taken."""


def _programme(
    about: _About, out: NDArray[np.int64], in_: NDArray[np.int64], weights: tuple[float, float]
) -> tuple[Floats, float, float]:
    """Return the move of the axis, and the two cylinders between which these points then lie."""
    from scipy.optimize import linprog  # late: slow to import

    above = np.column_stack((-about.moves[out], np.zeros(len(out)), -np.ones(len(out))))
    below = np.column_stack((about.moves[in_], np.ones(len(in_)), np.zeros(len(in_))))
    found = linprog(
        np.array([0.0, 0.0, 0.0, 0.0, -weights[0], weights[1]]),
        A_ub=np.vstack((above, below)),
        b_ub=np.concatenate((-about.d[out], about.d[in_])),
        bounds=[(None, None)] * 6,
        method="highs-ds",
    )
    if found.x is None:
        text = to_say("the points leave half a turn or more empty: no such cylinder is held by them")
        raise NoCircle(say(text))
    return np.asarray(found.x[:4], dtype=np.float64), float(found.x[4]), float(found.x[5])
