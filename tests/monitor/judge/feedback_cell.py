"""A spindle whose stones wear while feedback holds its size: bores a minute apart, and the offsets given."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.small_cell import SHEET

FEEDBACK_HEADER = "part,bore,spindle,measured_at,top_x,top_y,bottom_x,bottom_y"
OFFSET_HEADER = "at,event,spindle,stone_set,value,by"
BEGINS = np.datetime64("2026-03-02T05:00:00")
"""The start of a shift of 720 bores."""
BORE_SD, PLANE_SD = 0.8, 0.3
DEAD_BAND, STEP, LOOKED_AT, WAIT = 1.0, 1.0, 5, 10
FEEDBACK_SHEET = (
    SHEET.replace("size = 3", "size = 5")
    + """
[alarms]
false_alarms_per_week = 0.1
[planning]
bores_per_shift = { S1 = 720 }
"""
)


@dataclass(frozen=True, kw_only=True)
class Held:
    """Rows of bores, and of the offsets that held them at size."""

    bores: tuple[str, ...]
    offsets: tuple[str, ...]


def moment(bore: int) -> np.datetime64:
    """Return when a bore is honed."""
    return BEGINS + np.timedelta64(1, "m") * bore


def offset(bore: int, um: float, *, by: str = "machine") -> str:
    """Return an offset half a minute before a bore, as a row."""
    return f"{moment(bore) - np.timedelta64(30, 's')}Z,feed-offset,S1,,{um},{by}"


def held(bores: int, *, wear_um: Callable[[int], float], seed: int = 19, feedback: bool = True) -> Held:
    """Return what is made while every bore wears the stones by `wear_um` of it, micrometres of diameter.

    Once the mean of the last five bores is below the dead band, an offset of 1 um is given.
    """
    random = np.random.default_rng(seed)
    level, since, shown = 0.0, 0, []
    rows, offsets = [], []
    for i in range(bores):
        if feedback and since >= WAIT and np.mean(shown[-LOOKED_AT:]) < -DEAD_BAND:
            level, since = level + STEP, 0
            offsets.append(offset(i, STEP))
        size = level + random.normal(0.0, BORE_SD)
        shown.append(size)
        cells = [f"{50 + (size + v) / 1000:.5f}" for v in random.normal(0.0, PLANE_SD, 4)]
        rows.append(",".join([f"B{i:05d}", "1", "S1", f"{moment(i)}Z", *cells]))
        level, since = level - wear_um(i), since + 1
    return Held(bores=tuple(rows), offsets=tuple(offsets))
