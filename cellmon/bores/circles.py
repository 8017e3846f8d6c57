"""Circles through the points of a section: least squares, minimum zone, inscribed, circumscribed.

All four work on distances from a centre that is moved until it stays: in each round the distances are
linear in the next small move, d - ex cos(phi) - ey sin(phi), and that problem is solved exactly. The
functions 1, cos, sin vanish together at no three directions, so a minimum zone touches four points
alternately out and in, and a single exchange of points ends at the one best circle.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from math import atan2, hypot

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.errors import CellmonError, GapInReadings, NotEnoughData
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say, to_say

Floats = NDArray[np.float64]
ROUNDS = 200
"""Moves of the centre, and exchanges of points, after which a fit is refused as not settling."""
EXACT = 1e-12
"""Part of a radius below which two distances are the same in double precision."""


class Reference(StrEnum):
    """Which circle or cylinder deviations are counted from (ISO 12181-1, ISO 12180-1)."""

    LEAST_SQUARES = "least-squares"
    MINIMUM_ZONE = "minimum-zone"
    INSCRIBED = "inscribed"
    CIRCUMSCRIBED = "circumscribed"


NO_CENTRE = to_say("no centre settles in {count} moves: these points surround no circle")
NO_ZONE = to_say("no minimum zone settles in {count} exchanges")
NOT_SETTLED = to_say("no circle settles in {count} exchanges")
NO_AXIS = to_say("no axis settles in {count} moves: these points surround no cylinder")
OF_CIRCLES = (NO_CENTRE, NO_ZONE, NOT_SETTLED, NO_AXIS)
"""What is said where points hold no circle or cylinder, with a count in it."""


class NoCircle(CellmonError, ValueError):
    """Points that hold no circle of the kind asked for."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Points:
    """Points of one section around an origin inside it; x and y in one unit."""

    x: Floats
    y: Floats

    def __len__(self) -> int:
        return len(self.x)


@dataclass(frozen=True, kw_only=True)
class Circle:
    """A fitted circle, in the unit of the points, and how the points lie about its centre."""

    x: float
    y: float
    radius: float
    """Least squares: the mean distance; minimum zone: the middle of the zone; else the circle itself."""
    inner: float
    """Distance of the nearest point from the centre."""
    outer: float
    """Distance of the farthest point."""

    @property
    def form(self) -> float:
        """Roundness about this centre: the farthest less the nearest point, a radial figure."""
        return self.outer - self.inner


@dataclass(frozen=True, kw_only=True, eq=False)
class _About:
    """The points as seen from a centre: directions, and distances less a common one."""

    cos: Floats
    sin: Floats
    d: Floats
    common: float


@dataclass(frozen=True, kw_only=True)
class _Move:
    """The next move of the centre and the points that decided it, to begin the next round with."""

    x: float
    y: float
    held_by: tuple[int, ...] = ()


def points_at(x: ArrayLike, y: ArrayLike) -> Points:
    """Return points given by coordinates, or refuse them.

    Raises
    ------
    NotEnoughData
        Fewer than four points.
    GapInReadings
        A coordinate that is not a finite number.
    """
    at = [np.ascontiguousarray(v, dtype=np.float64) for v in (x, y)]
    if at[0].ndim != 1 or at[0].shape != at[1].shape:
        raise TypeError(f"expected x and y of one length, got {at[0].shape} and {at[1].shape}")
    if len(at[0]) < 4:
        raise NotEnoughData("points of a section", need=4, got=len(at[0]))
    finite = np.isfinite(at[0]) & np.isfinite(at[1])
    if not finite.all():
        raise GapInReadings("a section", position=int(np.argmin(finite)))
    return Points(x=at[0], y=at[1])


def points_around(angle_deg: ArrayLike, deviation_um: ArrayLike, *, nominal_mm: float) -> Points:
    """Return the points of a trace, micrometres: deviations from half the nominal at each angle."""
    angle = np.radians(np.asarray(angle_deg, dtype=np.float64))
    radius = nominal_mm * UM_PER[LengthUnit.MM] / 2 + np.asarray(deviation_um, dtype=np.float64)
    return points_at(radius * np.cos(angle), radius * np.sin(angle))


def fitted_circle(points: Points, reference: Reference | str) -> Circle:
    """Return the circle of a reference.

    Parameters
    ----------
    points : Points
        In any order; see `points_at` and `points_around` for refusals.
    reference : Reference or str
        Least squares minimises the squared distances to the circle, minimum zone the width of the ring
        that holds all points; the inscribed circle is the largest that holds none, the circumscribed
        the smallest that holds all.

    Raises
    ------
    NoCircle
        When points leave more than half a turn empty (inscribed, circumscribed), or no centre settles.

    References
    ----------
    ISO 12181-1:2011 (the four references; definitions from memory). Least squares: Gauss-Newton, Gander,
    Golub and Strebel, BIT 34 (1994). Minimum zone: exchange after Remez, Cheney, *Introduction to
    Approximation Theory* (1966), memory; the other two: the dual simplex method on three points.

    Examples
    --------
    >>> a = np.radians(np.arange(0, 360, 2.0))
    >>> r = 42.0 + 0.003 * np.cos(3 * a)
    >>> circle = fitted_circle(points_at(r * np.cos(a), r * np.sin(a)), "minimum-zone")
    >>> round(circle.form, 6)
    0.006
    """
    kind = Reference(reference)
    centre = _settled(points, _STEPS[kind], quadratic=kind is not Reference.LEAST_SQUARES)
    distance = _distances(points, centre.x, centre.y)[2]
    inner, outer = float(distance.min()), float(distance.max())
    middle = distance.mean() if kind is Reference.LEAST_SQUARES else (inner + outer) / 2
    radius = {Reference.INSCRIBED: inner, Reference.CIRCUMSCRIBED: outer}.get(kind, float(middle))
    return Circle(x=centre.x, y=centre.y, radius=radius, inner=inner, outer=outer)


def _settled(points: Points, step: Callable[[_About, tuple[int, ...]], _Move], *, quadratic: bool) -> _Move:
    """Move the centre until it stays; an exact step is out by its own square, least squares more."""
    x = y = 0.0
    held: tuple[int, ...] = ()
    for _ in range(ROUNDS):
        dx, dy, rho = _distances(points, x, y)
        common = float(rho[0])
        if not rho.all():
            raise NoCircle(say("a point lies at the centre: these points surround no circle"))
        about = _About(cos=dx / rho, sin=dy / rho, d=rho - common, common=common)
        move = step(about, held)
        x, y, held = x + move.x, y + move.y, move.held_by
        moved = hypot(move.x, move.y) / common
        if moved < (1e-5 if quadratic else 1e-10):
            return _Move(x=x, y=y)
    raise NoCircle(say(NO_CENTRE, count=ROUNDS))


def _distances(points: Points, x: float, y: float) -> tuple[Floats, Floats, Floats]:
    """Return the points less a centre, and how far from it they lie."""
    dx, dy = points.x - x, points.y - y
    squares = dx * dx
    squares += dy * dy
    return dx, dy, np.sqrt(squares, out=squares)


def _least_squares(about: _About, _held: tuple[int, ...]) -> _Move:
    basis = np.empty((3, len(about.d)))
    basis[0], basis[1], basis[2] = 1.0, about.cos, about.sin
    try:
        found = np.linalg.solve(basis @ basis.T, basis @ about.d)
    except np.linalg.LinAlgError as singular:
        raise NoCircle(say("the points lie in fewer than three directions")) from singular
    return _Move(x=float(found[1]), y=float(found[2]))


def _minimum_zone(about: _About, held: tuple[int, ...]) -> _Move:
    """Fit c + ex cos + ey sin with the least greatest error, exchanging one of four points a time."""
    four = list(held) if held else _first_four(about)
    slack = EXACT * about.common
    for _ in range(ROUNDS):
        c, ex, ey, height = _levelled(about, four)
        error = about.d - c
        error -= ex * about.cos
        error -= ey * about.sin
        high, low = int(error.argmax()), int(error.argmin())
        above, below = float(error[high]), -float(error[low])
        if max(above, below) <= abs(height) + slack:
            return _Move(x=ex, y=ey, held_by=tuple(four))
        out = above >= below
        four = _with_neighbour(about, four, high if out else low, first=out == (height > 0))
    raise NoCircle(say(NO_ZONE, count=ROUNDS))


def _levelled(about: _About, four: list[int]) -> tuple[float, float, float, float]:
    """Return c, ex, ey and the height h that leave d = c + ex cos + ey sin +h, -h, +h, -h at four points.

    The chords between the first and third and the second and fourth point cross: never parallel.
    """
    (c0, c1, c2, c3), (s0, s1, s2, s3) = about.cos[four].tolist(), about.sin[four].tolist()
    d0, d1, d2, d3 = about.d[four].tolist()
    ex, ey = _crossing(c2 - c0, s2 - s0, d2 - d0, c3 - c1, s3 - s1, d3 - d1)
    outer, inner = d0 - ex * c0 - ey * s0, d1 - ex * c1 - ey * s1
    return (outer + inner) / 2, ex, ey, (outer - inner) / 2


def _crossing(a: float, b: float, p: float, c: float, d: float, q: float) -> tuple[float, float]:
    """Return x, y of a x + b y = p and c x + d y = q."""
    determinant = a * d - b * c
    return (p * d - b * q) / determinant, (a * q - p * c) / determinant


def _with_neighbour(about: _About, four: list[int], new: int, *, first: bool) -> list[int]:
    """Put a point in place of the neighbour on its own side: the first and third, or the others."""
    angles = [atan2(about.sin[i], about.cos[i]) for i in four]
    mine = atan2(about.sin[new], about.cos[new])
    turn = sorted(range(4), key=lambda k: angles[k])
    after = next((n for n, k in enumerate(turn) if angles[k] > mine), 0)
    near = (turn[after - 1], turn[after])
    place = near[0] if (near[0] % 2 == 0) == first else near[1]
    return [new if k == place else old for k, old in enumerate(four)]


def _first_four(about: _About) -> list[int]:
    """Choose four points, out and in by turns, one from each quarter of the trace, in order of direction.

    Any four in four directions will do; these are near the end where the points come in order.
    """
    n = len(about.d)
    error = about.d - 2 / n * float(about.d @ about.cos) * about.cos
    error -= 2 / n * float(about.d @ about.sin) * about.sin
    quarters = [(k * n // 4, (k + 1) * n // 4) for k in range(4)]
    highs = [a + int(error[a:b].argmax()) for a, b in quarters]
    lows = [a + int(error[a:b].argmin()) for a, b in quarters]
    four, other = [highs[0], lows[1], highs[2], lows[3]], [lows[0], highs[1], lows[2], highs[3]]
    height = error[four[0]] - error[four[1]] + error[four[2]] - error[four[3]]
    against = error[other[1]] - error[other[0]] + error[other[3]] - error[other[2]]
    chosen = four if height >= against else other
    return sorted(chosen, key=lambda i: atan2(about.sin[i], about.cos[i]))


def _circumscribed(about: _About, held: tuple[int, ...]) -> _Move:
    """Make the greatest of d - ex cos - ey sin as small as can be: three points decide."""
    three = list(held) if held else _first_three(about)
    slack = EXACT * about.common
    for turn in range(ROUNDS):
        (c0, c1, c2), (s0, s1, s2) = about.cos[three].tolist(), about.sin[three].tolist()
        d0, d1, d2 = about.d[three].tolist()
        ex, ey = _crossing(c1 - c0, s1 - s0, d1 - d0, c2 - c0, s2 - s0, d2 - d0)
        over = about.d - (d0 - ex * c0 - ey * s0)
        over -= ex * about.cos
        over -= ey * about.sin
        # the farthest point first; should that run in a ring, the first one over always ends
        new = int(over.argmax()) if turn < ROUNDS // 2 else int(np.argmax(over > slack))
        if over[new] <= slack:
            return _Move(x=ex, y=ey, held_by=tuple(three))
        three[_leaving(about, three, new)] = new
    raise NoCircle(say(NOT_SETTLED, count=ROUNDS))


def _leaving(about: _About, three: list[int], new: int) -> int:
    """Return which of three points gives way: the one without which the others still hold the centre."""
    held = _shares(about, three, 0.0, 0.0)
    enters = _shares(about, three, float(about.cos[new]), float(about.sin[new]))
    ratio = [h / e if e > EXACT else float("inf") for h, e in zip(held, enters, strict=True)]
    return ratio.index(min(ratio))


def _shares(about: _About, three: list[int], x: float, y: float) -> tuple[float, float, float]:
    """Return the weights, summing to one, with which three directions make a place."""
    (c0, c1, c2), (s0, s1, s2) = about.cos[three].tolist(), about.sin[three].tolist()
    second, third = _crossing(c1 - c0, c2 - c0, x - c0, s1 - s0, s2 - s0, y - s0)
    return 1 - second - third, second, third


def _inscribed(about: _About, held: tuple[int, ...]) -> _Move:
    """Make the least of d - ex cos - ey sin as large as can be: the same with every sign turned."""
    move = _circumscribed(replace(about, d=-about.d), held)
    return _Move(x=-move.x, y=-move.y, held_by=move.held_by)


def _first_three(about: _About) -> list[int]:
    """Choose three points that hold the centre between them, one of them the farthest."""
    first = int(about.d.argmax())
    turned = np.arctan2(about.sin, about.cos) - atan2(about.sin[first], about.cos[first])
    turned = np.mod(turned, 2 * np.pi)
    turned[first] = 0.0
    before, beyond = turned < np.pi - EXACT, turned >= np.pi - EXACT
    before[first] = False
    if beyond.any() and before.any():
        second = int(np.argmax(np.where(before, turned, -1.0)))
        third = int(np.argmin(np.where(beyond, turned, np.inf)))
        if turned[third] - turned[second] <= np.pi + EXACT:
            return [first, second, third]
    raise NoCircle(say("the points leave half a turn or more empty: no such circle is held by them"))


_STEPS: dict[Reference, Callable[[_About, tuple[int, ...]], _Move]] = {
    Reference.LEAST_SQUARES: _least_squares,
    Reference.MINIMUM_ZONE: _minimum_zone,
    Reference.INSCRIBED: _inscribed,
    Reference.CIRCUMSCRIBED: _circumscribed,
}
