"""Readings as tables: one reading a row or one bore a row, in millimetres, inches or deviations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cellmon.export.dialect_files import Columns
from cellmon.records import Readings
from cellmon.units import UM_PER, LengthUnit

Size = Literal["diameter", "diameter_in", "deviation_um"]
DECIMALS = {"diameter": 4, "diameter_in": 5, "deviation_um": 1}
BESIDE = ("part", "bore", "spindle", "stone_set", "gauge", "fixture", "sequence", "honed_at", "measured_at")
PROCESS = ("part_temp_c", "master_temp_c", "feed_um", "cycle_s", "load_pct", "load_ripple_pct")
BY_HAND = ("part", "bore", "spindle", "gauge", "operator", "why_measured", "measured_at")

Words = Mapping[tuple[int, int, int], str]
"""What stands instead of a size: by row of the readings, plane and direction."""


def sizes(readings: Readings, size: Size) -> NDArray[np.float64]:
    """Return every reading in the unit of the column, shape (rows, planes, directions)."""
    if size == "deviation_um":
        return readings.um
    um = readings.nominal_mm[:, None, None] * UM_PER[LengthUnit.MM] + readings.um
    unit = LengthUnit.INCH if size == "diameter_in" else LengthUnit.MM
    found: NDArray[np.float64] = np.round(um / UM_PER[unit], DECIMALS[size])
    return found


def bore_rows(readings: Readings, *, beside: tuple[str, ...], words: Words | None = None) -> Columns:
    """Return one bore a row: a column `<plane>_<direction>` for each place, in millimetres."""
    found: Columns = {name: getattr(readings, name) for name in beside if name not in PROCESS}
    mm = _worded(sizes(readings, "diameter"), words)
    for p, plane in enumerate(readings.planes):
        for d, direction in enumerate(readings.directions):
            found[f"{plane}_{direction}"] = mm[:, p, d]
    return found | {name: getattr(readings, name) for name in beside if name in PROCESS}


def reading_rows(
    readings: Readings, *, beside: tuple[str, ...], size: Size = "diameter", words: Words | None = None
) -> Columns:
    """Return one reading a row, places of a bore in order of plane, then direction."""
    rows, planes, directions = readings.um.shape
    places = planes * directions
    found: Columns = {name: np.repeat(getattr(readings, name), places) for name in beside}
    found["plane"] = np.tile(np.repeat(np.array(readings.planes, dtype=object), directions), rows)
    found["direction"] = np.tile(np.array(readings.directions, dtype=object), rows * planes)
    found[size] = _worded(sizes(readings, size), words).ravel()
    return found


def place_decimals(readings: Readings) -> dict[str, int]:
    """Return the decimals of the columns of `bore_rows` and `reading_rows`."""
    places = {f"{p}_{d}": DECIMALS["diameter"] for p in readings.planes for d in readings.directions}
    return {**DECIMALS, **places}


def _worded(values: NDArray[np.float64], words: Words | None) -> NDArray[Any]:
    if not words:
        return values
    found = values.astype(object)
    for place, word in words.items():
        found[place] = word
    return found
