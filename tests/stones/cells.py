"""Cells with stone sets: a sheet, and measurements as a setter would write them down."""

from __future__ import annotations

import numpy as np

from tests.small_cell import SHEET

EVENTS = "at,event,spindle,stone_set,value,note"
MEASURED = "at,stone_set,stone,position,thickness_mm,holder,round"
SETS = "stone_set,kind,maker,lot"
STONE_SHEET = SHEET.replace(
    "[checks]",
    """
[stones]
id = "D64"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
stones_per_set = 4
flat_um = 5.0
parallel_um = 10.0
matched_um = 10.0
expected_life_bores = [6000, 12000]
[planning]
bores_per_shift = { S1 = 300, S2 = 300 }
[checks]""",
)


def measured_rows(rng, name, at, bores, *, rate, sd=2.0, uneven=(0.995, 1.0, 1.012), path=None, new=3000.0):
    """Rows of a set of four stones measured at some moments; wear follows `path` or is even."""
    worn = rate * np.asarray(bores, float) if path is None else np.asarray(path, float)
    rows = []
    height = new + 3.0 * rng.standard_normal(4)
    for k, moment in enumerate(at):
        for stone in range(4):
            for place, factor in zip(("top", "middle", "bottom"), uneven, strict=True):
                um = height[stone] - worn[k] * factor + sd * rng.standard_normal()
                rows.append(f"{moment}Z,{name},{stone + 1},{place},{um / 1000:.3f},{'abcd'[stone]},{k}")
    return rows
