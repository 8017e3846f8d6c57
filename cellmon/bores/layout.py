"""The layout of planes and directions: what of a bore's form its readings give, and with which weights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Over = Literal["measured", "whole", "per_100mm"]
_RIGHT_ANGLE_SLACK_DEG = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
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


def planned(
    x: Floats, *, depths_mm: Sequence[float], angles_deg: Sequence[float], length_mm: float | None, over: Over
) -> Plan:
    """Return how the features of readings of shape (bores, planes, directions) are worked."""
    planes, directions = x.shape[1:]
    if len(depths_mm) != planes or len(angles_deg) != directions:
        raise TypeError(
            f"{planes} planes and {directions} directions, "
            f"but {len(depths_mm)} depths and {len(angles_deg)} angles"
        )
    depths, angles = np.asarray(depths_mm, dtype=np.float64), np.asarray(angles_deg, dtype=np.float64)
    top, bottom = int(depths.argmin()), int(depths.argmax())
    along, across = _oval_weights(angles)
    return Plan(
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
