"""Sizes of bores from two-point readings: the rank-order sizes of ISO 14405-1 that they support.

A two-point reading is a local size (modifier LP). What follows here is calculated from the local
sizes read; sizes that need a fitted element (least-squares, inscribed, circumscribed) need a trace.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
BLOCK = 8192
"""Bores worked at a time, so that a block stays in the processor's cache."""


class SizeKind(StrEnum):
    """Which figure stands for the size of a bore (ISO 14405-1 modifiers SA SN SX SD SM SR SQ)."""

    AVERAGE = "average"
    LEAST = "least"
    GREATEST = "greatest"
    MID_RANGE = "mid-range"
    MEDIAN = "median"
    RANGE = "range"
    SD = "sd"


def as_readings(um: ArrayLike) -> Floats:
    """Return readings as floats of shape (bores, planes, directions), or refuse them.

    Raises
    ------
    TypeError
        When they have more or fewer dimensions than three, or no plane or direction.
    """
    x = np.ascontiguousarray(um, dtype=np.float64)
    if x.ndim != 3 or min(x.shape[1:]) < 1:
        raise TypeError(f"expected (bores, planes, directions), got shape {x.shape}")
    return x


def size(um: ArrayLike, kind: SizeKind | str) -> Floats:
    """Return one size of each bore, micrometres from nominal (range and sd: micrometres).

    Parameters
    ----------
    um : array_like, shape (bores, planes, directions)
        Deviations from nominal. A bore that lacks a reading has no size: nan.
    kind : SizeKind or str
        sd has the divisor readings - 1 and is nan for a single reading.

    References
    ----------
    ISO 14405-1:2016, rank-order sizes (names from memory).

    Examples
    --------
    >>> size([[[1.0, 3.0], [2.0, 6.0]]], "mid-range")
    array([3.5])
    """
    x = as_readings(um)
    figure = _FIGURES[SizeKind(kind)]
    bores = x.reshape(len(x), x.shape[1] * x.shape[2])
    result = np.empty(len(x))
    for start in range(0, len(x), BLOCK):
        result[start : start + BLOCK] = figure(np.ascontiguousarray(bores[start : start + BLOCK].T))
    return result


def _mean(cells: Floats) -> Floats:
    return np.asarray(cells.mean(axis=0), dtype=np.float64)


def _mid_range(cells: Floats) -> Floats:
    return np.asarray((cells.min(axis=0) + cells.max(axis=0)) / 2, dtype=np.float64)


def _median(cells: Floats) -> Floats:
    """np.median warns of nan before it returns it; sorting puts nan last, where it shows."""
    ordered, count = np.sort(cells, axis=0), len(cells)
    middle = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    return np.asarray(np.where(np.isnan(ordered[-1]), np.nan, middle), dtype=np.float64)


def _sd(cells: Floats) -> Floats:
    if len(cells) < 2:
        return np.full(cells.shape[1], np.nan)
    return np.asarray(cells.std(axis=0, ddof=1), dtype=np.float64)


_FIGURES: dict[SizeKind, Callable[[Floats], Floats]] = {
    SizeKind.AVERAGE: _mean,
    SizeKind.LEAST: lambda cells: np.asarray(cells.min(axis=0), dtype=np.float64),
    SizeKind.GREATEST: lambda cells: np.asarray(cells.max(axis=0), dtype=np.float64),
    SizeKind.MID_RANGE: _mid_range,
    SizeKind.MEDIAN: _median,
    SizeKind.RANGE: lambda cells: np.asarray(cells.max(axis=0) - cells.min(axis=0), dtype=np.float64),
    SizeKind.SD: _sd,
}
