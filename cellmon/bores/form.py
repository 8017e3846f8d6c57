"""Form of bores from two-point readings: taper, barrel, ovality, twist, roundness, size range.

Signs: taper is the plane of least depth minus the plane of greatest depth; barrel positive is wide
in the middle; ovality is diametral, the lower angle minus the higher. Two directions at right angles
see an oval only as far as it lies along them (nothing at 45 degrees), see no odd lobes at all, and
take four lobes for size. (Definitions: shop practice, common practice, no source; ISO 12181-1 for
roundness.)
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.bores.layout import Over, Plan, planned
from cellmon.bores.readings import BLOCK, as_readings

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoPointFeatures:
    """Features of each bore, micrometres; nan where planes, directions or a reading are missing."""

    average: Floats
    """This and the next three: rank-order sizes of the local sizes read (ISO 14405-1)."""
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


_NAMES = frozenset(f.name for f in fields(TwoPointFeatures))
_OF_FIT = frozenset(("ovality_along", "ovality_across", "ovality_angle_deg"))
"""Given by three or more directions only; two repeat `ovality` as what lies along."""
_OF_OVAL = _OF_FIT | {"ovality", "ovality_worst", "twist"}


def two_point_features(
    um: ArrayLike,
    *,
    depths_mm: Sequence[float],
    angles_deg: Sequence[float],
    length_mm: float | None = None,
    over: Over = "measured",
    only: Collection[str] | None = None,
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
    only : collection of str, optional
        Names of the features wanted, the others are left nan; by default all.

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
    plan = planned(x, depths_mm=depths_mm, angles_deg=angles_deg, length_mm=length_mm, over=over)
    asked = _asked(only)
    result = _room(len(x), plan, asked)
    flat = x.reshape(len(x), x.shape[1] * x.shape[2])
    for start in range(0, len(x), BLOCK):
        rows = slice(start, min(start + BLOCK, len(x)))
        cells = np.ascontiguousarray(flat[rows].T).reshape(plan.planes, plan.directions, -1)
        _sizes_into(result, rows, cells, asked)
        _roundness_into(result, rows, cells, asked)
        _lengthwise_into(result, rows, cells, plan, asked)
        _oval_into(result, rows, cells, plan, asked)
    return result


def _asked(only: Collection[str] | None) -> frozenset[str]:
    if only is None:
        return _NAMES
    asked = frozenset(only)
    if not asked <= _NAMES:
        raise ValueError(f"no feature of a bore: {', '.join(sorted(asked - _NAMES))}")
    return asked | {"ovality"} if "ovality_along" in asked else asked


def _room(bores: int, plan: Plan, asked: frozenset[str]) -> TwoPointFeatures:
    """Return arrays to fill; what was not asked, cannot be seen or is the same again takes no memory."""
    unseen: frozenset[str] = _OF_OVAL if plan.along is None else frozenset()
    if plan.across is None:
        unseen |= _OF_FIT
    if plan.top == plan.bottom:
        unseen |= {"taper", "barrel", "twist"}
    if plan.middle is None:
        unseen |= {"barrel"}
    if plan.directions < 2:
        unseen |= {"roundness"}
    nothing = np.broadcast_to(np.nan, (bores,))
    room = {name: np.empty(bores) if name in asked - unseen else nothing for name in _NAMES}
    if plan.across is None:
        room["ovality_along"] = room["ovality"]
    return TwoPointFeatures(**room)


def _sizes_into(result: TwoPointFeatures, rows: slice, cells: Floats, asked: frozenset[str]) -> None:
    """Mean and extremes of all readings, and what follows from the extremes."""
    readings = cells.reshape(-1, cells.shape[2])
    if "average" in asked:
        _mean_into(result.average[rows], readings)
    if asked.isdisjoint(("least", "greatest", "mid_range", "size_range")):
        return
    least = readings.min(axis=0, out=result.least[rows] if "least" in asked else None)
    greatest = readings.max(axis=0, out=result.greatest[rows] if "greatest" in asked else None)
    if "size_range" in asked:
        np.subtract(greatest, least, out=result.size_range[rows])
    if "mid_range" in asked:
        _halved(np.add(greatest, least, out=result.mid_range[rows]))


def _roundness_into(result: TwoPointFeatures, rows: slice, cells: Floats, asked: frozenset[str]) -> None:
    """Half of the largest range of a plane."""
    if "roundness" not in asked or cells.shape[1] < 2:
        return
    if cells.shape[1] == 2:
        ranges = cells[:, 0] - cells[:, 1]
        np.abs(ranges, out=ranges)
    else:
        ranges = cells.max(axis=1)
        ranges -= cells.min(axis=1)
    _halved(ranges.max(axis=0, out=result.roundness[rows]))


def _lengthwise_into(
    result: TwoPointFeatures, rows: slice, cells: Floats, plan: Plan, asked: frozenset[str]
) -> None:
    """Taper and barrel from plane means."""
    if plan.top == plan.bottom or asked.isdisjoint(("taper", "barrel")):
        return
    top, bottom = (_mean_into(np.empty(cells.shape[2]), cells[p]) for p in (plan.top, plan.bottom))
    if "taper" in asked:
        taper = np.subtract(top, bottom, out=result.taper[rows])
        if plan.taper_factor != 1.0:
            taper *= plan.taper_factor
    if "barrel" in asked and plan.middle is not None:
        top += bottom
        barrel = _mean_into(result.barrel[rows], cells[plan.middle])
        barrel -= _halved(top)


def _oval_into(
    result: TwoPointFeatures, rows: slice, cells: Floats, plan: Plan, asked: frozenset[str]
) -> None:
    """Ovality and twist from the components of each plane."""
    if plan.along is None or asked.isdisjoint(_OF_OVAL):
        return
    along = _weighted(cells, plan.along)
    if "twist" in asked and plan.top != plan.bottom:
        np.subtract(along[plan.top], along[plan.bottom], out=result.twist[rows])
    if plan.across is not None:
        _fitted_into(result, rows, along, _weighted(cells, plan.across), plan, asked)
        return
    if "ovality" in asked:
        _mean_into(result.ovality[rows], along)
    if "ovality_worst" in asked:
        _worst_into(result.ovality_worst[rows], along)


def _fitted_into(
    result: TwoPointFeatures, rows: slice, along: Floats, across: Floats, plan: Plan, asked: frozenset[str]
) -> None:
    """Size and direction of the mean oval from both components of each plane."""
    means = {"ovality_along": along.mean(axis=0), "ovality_across": across.mean(axis=0)}
    for name in asked.intersection(means):
        getattr(result, name)[rows] = means[name]
    mean_along, mean_across = means.values()
    if "ovality" in asked:
        np.hypot(mean_along, mean_across, out=result.ovality[rows])
    if "ovality_worst" in asked:
        _worst_into(result.ovality_worst[rows], np.hypot(along, across))
    if "ovality_angle_deg" in asked:
        angle = np.degrees(np.arctan2(mean_across, mean_along)) / 2 + plan.lowest_deg
        result.ovality_angle_deg[rows] = np.mod(angle, 180.0)


def _weighted(cells: Floats, weights: Floats) -> Floats:
    """Return the weighted sum of each plane's readings; a weight of nought still passes on a nan."""
    if len(weights) == 2:
        first, second = (0, 1) if weights[0] > 0 else (1, 0)
        return np.asarray(cells[:, first] - cells[:, second], dtype=np.float64)
    return np.asarray((cells * weights[:, None]).sum(axis=1), dtype=np.float64)


def _mean_into(out: Floats, parts: Floats) -> Floats:
    np.add.reduce(parts, axis=0, out=out)
    if len(parts) == 2:
        return _halved(out)
    out /= len(parts)
    return out


def _halved(x: Floats) -> Floats:
    """Halve in place: here to multiply is exact too, and twice as fast as to divide."""
    x *= 0.5
    return x


def _worst_into(out: Floats, parts: Floats) -> None:
    """The part of largest magnitude with its sign; nan where any is nan, as extremes pass it on."""
    low, high = parts.min(axis=0, out=out), parts.max(axis=0)
    np.copyto(out, high, where=high >= -low)
