"""Form of bores from two-point readings: taper, barrel, ovality, twist, roundness, size range.

Signs: taper is the plane of least depth minus the plane of greatest depth; barrel positive is wide
in the middle; ovality is diametral, the lower angle minus the higher. Two directions at right angles
see an oval only as far as it lies along them (nothing at 45 degrees), see no odd lobes at all, and
take four lobes for size. (Definitions: shop practice, common practice, no source; ISO 12181-1 for
roundness.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.bores.size import BLOCK, as_readings

Floats = NDArray[np.float64]
Over = Literal["measured", "whole", "per_100mm"]
_RIGHT_ANGLE_SLACK_DEG = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoPointFeatures:
    """Features of each bore, micrometres; nan where planes, directions or a reading are missing."""

    average: Floats
    least: Floats
    greatest: Floats
    mid_range: Floats
    taper: Floats
    """Mean of the plane of least depth minus mean of the plane of greatest depth."""
    barrel: Floats
    """Plane nearest half depth minus the mean of the outer two."""
    twist: Floats
    """Ovality of the top plane minus that of the bottom plane (along the lowest angle)."""
    ovality: Floats
    """Mean over planes: signed with two directions; with more the diametral size of the mean oval."""
    ovality_worst: Floats
    """Of the plane where it is largest in magnitude, with its sign."""
    ovality_along: Floats
    """Component of the mean oval along the lowest angle; with two directions the same as `ovality`."""
    ovality_across: Floats
    """Component at 45 degrees to the lowest angle; nan with two directions, which cannot see it."""
    ovality_angle_deg: Floats
    """Direction of the long axis, 0 to 180; nan with two directions."""
    roundness: Floats
    """Half of largest less smallest reading in the worst plane: a radial figure, see `two_point_features`."""
    size_range: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class _Plan:
    """How the features of one layout of planes and directions are worked."""

    planes: int
    directions: int
    top: int
    bottom: int
    middle: int | None
    taper_factor: float
    along: Floats | None
    """Weights of a plane's readings that give the oval along the lowest angle; None: not defined."""
    across: Floats | None
    lowest_deg: float


def two_point_features(
    um: ArrayLike,
    *,
    depths_mm: Sequence[float],
    angles_deg: Sequence[float],
    length_mm: float | None = None,
    over: Over = "measured",
) -> TwoPointFeatures:
    """Return the features of every bore.

    Parameters
    ----------
    um : array_like, shape (bores, planes, directions)
        Deviation from nominal, micrometres, nan where nothing was read. A feature that lacks one of
        its own readings is nan, never computed from the rest.
    depths_mm, angles_deg : sequence of float
        Of the planes and the directions, in the order of the array, any order.
    length_mm : float, optional
        Of the bore, for half depth (default: midway between the outer planes) and `over="whole"`.
    over : "measured", "whole" or "per_100mm"
        The length a taper is stated for; the last two extrapolate in proportion.

    Notes
    -----
    Roundness is half of the difference of two diameters, because a diameter sees an oval twice: the
    radial deviation of a pure oval is |ovality| / 2, which is what a roundness limit (ISO 12181)
    means, while 'out of round' in shop talk is the whole. Two-point readings are blind to odd lobes:
    a three-lobed bore has the same diameter everywhere, so this figure is never more than a lower
    limit of the true roundness.

    With three or more directions the oval is fitted by least squares, d = mean + A cos 2t + B sin 2t,
    t from the lowest angle; its size is 2 sqrt(A^2 + B^2), largest less smallest diameter. With two it
    is their difference, if they are at right angles.

    Examples
    --------
    >>> found = two_point_features([[[9.0, 5.0], [6.0, 4.0], [3.0, 3.0]]], depths_mm=[15, 70, 125],
    ...                            angles_deg=[0, 90])
    >>> float(found.taper[0]), float(found.ovality[0]), float(found.roundness[0])
    (4.0, 2.0, 2.0)
    """
    x = as_readings(um)
    plan = _plan(x, depths_mm=depths_mm, angles_deg=angles_deg, length_mm=length_mm, over=over)
    result = _room(len(x), plan)
    flat = x.reshape(len(x), x.shape[1] * x.shape[2])
    for start in range(0, len(x), BLOCK):
        rows = slice(start, min(start + BLOCK, len(x)))
        cells = np.ascontiguousarray(flat[rows].T).reshape(plan.planes, plan.directions, -1)
        _sizes_into(result, rows, cells)
        _lengthwise_into(result, rows, cells, plan)
        _oval_into(result, rows, cells, plan)
    return result


def _room(bores: int, plan: _Plan) -> TwoPointFeatures:
    """Return arrays to fill; what two directions repeat or cannot see takes no memory."""
    room = {f.name: np.empty(0) for f in fields(TwoPointFeatures)}
    seen = {"ovality", "ovality_worst", "twist"} if plan.along is not None else set()
    fitted = {"ovality_along", "ovality_across", "ovality_angle_deg"}
    unseen = {"ovality", "ovality_worst", "twist"} - seen | (fitted if plan.across is None else set())
    for name in room:
        room[name] = np.broadcast_to(np.nan, (bores,)) if name in unseen else np.empty(bores)
    if plan.across is None:
        room["ovality_along"] = room["ovality"]
    return TwoPointFeatures(**room)


def _plan(
    x: Floats, *, depths_mm: Sequence[float], angles_deg: Sequence[float], length_mm: float | None, over: Over
) -> _Plan:
    planes, directions = x.shape[1:]
    if len(depths_mm) != planes or len(angles_deg) != directions:
        raise TypeError(
            f"{planes} planes and {directions} directions, "
            f"but {len(depths_mm)} depths and {len(angles_deg)} angles"
        )
    depths, angles = np.asarray(depths_mm, dtype=np.float64), np.asarray(angles_deg, dtype=np.float64)
    top, bottom = int(depths.argmin()), int(depths.argmax())
    along, across = _oval_weights(angles)
    return _Plan(
        planes=planes,
        directions=directions,
        top=top,
        bottom=bottom,
        middle=_middle_plane(depths, length_mm),
        taper_factor=taper_factor(depths_mm, length_mm=length_mm, over=over),
        along=along,
        across=across,
        lowest_deg=float(angles.min()),
    )


def taper_factor(
    depths_mm: Sequence[float], *, length_mm: float | None = None, over: Over = "measured"
) -> float:
    """Return what the difference of the outer planes is multiplied by to be stated over a length.

    1 over the measured length; nan with a single plane, or over the whole of an unknown length.
    """
    measured = max(depths_mm) - min(depths_mm)
    if measured == 0:
        return float("nan")
    if over == "measured":
        return 1.0
    if over == "per_100mm":
        return 100.0 / measured
    if over != "whole":
        raise ValueError(f"over measured, whole or per_100mm, not {over}")
    return float("nan") if length_mm is None else length_mm / measured


def _middle_plane(depths: Floats, length_mm: float | None) -> int | None:
    """Return the inner plane nearest half depth, or None where there are only outer ones."""
    inner = [i for i in range(len(depths)) if depths.min() < depths[i] < depths.max()]
    half = (depths.min() + depths.max()) / 2 if length_mm is None else length_mm / 2
    return min(inner, key=lambda i: (abs(depths[i] - half), depths[i])) if inner else None


def _oval_weights(angles: Floats) -> tuple[Floats | None, Floats | None]:
    """Return the weights of readings that give the two components of the diametral oval."""
    lowest = angles.min()
    if len(angles) == 2:
        if abs(abs(angles[1] - angles[0]) - 90) > _RIGHT_ANGLE_SLACK_DEG:
            return None, None
        return np.where(angles == lowest, 1.0, -1.0), None
    turn = 2 * np.radians(angles - lowest)
    design = np.column_stack((np.ones(len(angles)), np.cos(turn), np.sin(turn)))
    if len(angles) < 3 or np.linalg.matrix_rank(design, tol=1e-6) < 3:
        return None, None
    solve = np.linalg.pinv(design)
    return 2 * solve[1], 2 * solve[2]


def _sizes_into(result: TwoPointFeatures, rows: slice, cells: Floats) -> None:
    """Mean and extremes of all readings, and roundness from the extremes of each plane."""
    planes, directions = cells.shape[:2]
    total = np.zeros(cells.shape[2])
    least, greatest, worst = (np.empty(cells.shape[2]) for _ in range(3))
    for p in range(planes):
        low, high = cells[p, 0], cells[p, 0]
        total += cells[p, 0]
        for d in range(1, directions):
            total += cells[p, d]
            low, high = np.minimum(low, cells[p, d]), np.maximum(high, cells[p, d])
        if p == 0:
            least[:], greatest[:], worst[:] = low, high, high - low
        else:
            np.minimum(least, low, out=least)
            np.maximum(greatest, high, out=greatest)
            np.maximum(worst, high - low, out=worst)
    np.divide(total, planes * directions, out=result.average[rows])
    result.least[rows], result.greatest[rows] = least, greatest
    np.subtract(greatest, least, out=result.size_range[rows])
    middle = np.add(greatest, least, out=result.mid_range[rows])
    middle /= 2
    if directions < 2:
        result.roundness[rows] = np.nan
    else:
        np.divide(worst, 2, out=result.roundness[rows])


def _lengthwise_into(result: TwoPointFeatures, rows: slice, cells: Floats, plan: _Plan) -> None:
    """Taper and barrel from plane means."""

    def plane_mean(p: int) -> Floats:
        mean = cells[p, 0].copy()
        for d in range(1, plan.directions):
            mean += cells[p, d]
        mean /= plan.directions
        return np.asarray(mean, dtype=np.float64)

    if plan.top == plan.bottom:
        result.taper[rows] = result.barrel[rows] = np.nan
        return
    top, bottom = plane_mean(plan.top), plane_mean(plan.bottom)
    taper = np.subtract(top, bottom, out=result.taper[rows])
    if plan.taper_factor != 1.0:
        taper *= plan.taper_factor
    if plan.middle is None:
        result.barrel[rows] = np.nan
        return
    top += bottom
    top /= 2
    np.subtract(plane_mean(plan.middle), top, out=result.barrel[rows])


def _oval_into(result: TwoPointFeatures, rows: slice, cells: Floats, plan: _Plan) -> None:
    """Ovality and twist from the components of each plane."""
    if plan.along is None:
        return
    along = [_weighted(cells[p], plan.along) for p in range(plan.planes)]
    if plan.top == plan.bottom:
        result.twist[rows] = np.nan
    else:
        np.subtract(along[plan.top], along[plan.bottom], out=result.twist[rows])
    mean_along = _mean_into(result.ovality_along[rows], along)
    if plan.across is None:
        _worst_into(result.ovality_worst[rows], along)
        return
    across = [_weighted(cells[p], plan.across) for p in range(plan.planes)]
    mean_across = _mean_into(result.ovality_across[rows], across)
    np.hypot(mean_along, mean_across, out=result.ovality[rows])
    _worst_into(result.ovality_worst[rows], [np.hypot(a, b) for a, b in zip(along, across, strict=True)])
    angle = np.degrees(np.arctan2(mean_across, mean_along)) / 2 + plan.lowest_deg
    result.ovality_angle_deg[rows] = np.mod(angle, 180.0)


def _weighted(readings: Floats, weights: Floats) -> Floats:
    """Return the weighted sum of one plane's readings; a weight of nought still passes on a nan."""
    if len(weights) == 2:
        first, second = (0, 1) if weights[0] > 0 else (1, 0)
        return np.asarray(readings[first] - readings[second], dtype=np.float64)
    total = weights[0] * readings[0]
    for weight, reading in zip(weights[1:], readings[1:], strict=True):
        total += weight * reading
    return np.asarray(total, dtype=np.float64)


def _mean_into(out: Floats, parts: list[Floats]) -> Floats:
    np.copyto(out, parts[0])
    for part in parts[1:]:
        out += part
    out /= len(parts)
    return out


def _worst_into(out: Floats, parts: list[Floats]) -> None:
    """The part of largest magnitude with its sign; nan where any is nan, as extremes pass it on."""
    low = high = parts[0]
    for part in parts[1:]:
        low, high = np.minimum(low, part), np.maximum(high, part)
    np.copyto(out, low)
    np.copyto(out, high, where=high >= -low)
