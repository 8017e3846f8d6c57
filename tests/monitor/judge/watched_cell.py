"""A cell of two spindles with two bores each, and what it makes: quiet, shifted, wider, one wild bore."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np

from cellmon.monitor import Monitor
from tests.small_cell import SHEET, new_cell, write

FOUR_BORES = (
    SHEET.replace('bores = ["1", "2"]\nlength', 'bores = ["1", "2", "3", "4"]\nlength')
    .replace('id = "S1"\nbores = ["1"]', 'id = "S1"\nbores = ["1", "2"]')
    .replace('id = "S2"\nbores = ["2"]', 'id = "S2"\nbores = ["3", "4"]')
)
WATCHED_HEADER = "part,bore,spindle,measured_at,top_x,top_y,bottom_x,bottom_y"
BEGINS = np.datetime64("2026-03-02T05:00:00")
EVERY = np.timedelta64(4, "m")
BORE_SD = 1.2

Moves = Callable[[int, str], float]


def moment(block: int) -> np.datetime64:
    """Return when a block is made."""
    return BEGINS + EVERY * block


def watched_rows(
    blocks: int,
    *,
    first: int = 0,
    seed: int = 71,
    shift: Moves = lambda block, bore: 0.0,
    wide: Moves = lambda block, bore: 1.0,
) -> list[str]:
    """Return bores, one a line; those of a block depend on its number and the seed only."""
    found = []
    for block in range(first, first + blocks):
        rng = np.random.default_rng([seed, block])
        for bore in "1234":
            level = rng.normal(0.0, BORE_SD) * wide(block, bore) + shift(block, bore)
            cells = [f"{50 + (level + v) / 1000:.5f}" for v in rng.normal(0.0, 0.4, 4)]
            spindle = "S1" if bore in "12" else "S2"
            found.append(",".join([f"B{block:04d}", bore, spindle, f"{moment(block)}Z", *cells]))
    return found


EVENT_HEADER = "at,event,spindle,stone_set,value,by"


def logged(
    block: int, event: str, *, spindle: str = "S1", value: str = "", by: str = "", stone_set: str = ""
) -> str:
    """Return an event a minute before a block, as a row."""
    return f"{moment(block) - np.timedelta64(1, 'm')}Z,{event},{spindle},{stone_set},{value},{by}"


def cell_of(lines: Sequence[str], events: Sequence[str] = (), *, sheet: str = FOUR_BORES) -> Monitor:
    """Return a new cell that has taken some bores and events."""
    folder = Path(tempfile.mkdtemp(prefix="watched-"))
    monitor = new_cell(folder / "cell", sheet=sheet)
    files = [write(folder, "events.csv", EVENT_HEADER, events)] if events else []
    monitor.take([*files, write(folder, "bores.csv", WATCHED_HEADER, lines)])
    return monitor


@lru_cache(maxsize=1)
def stepped() -> Monitor:
    """Return a cell, only to be looked at, whose spindle S1 makes bores 4 um larger from block 240 on."""
    return cell_of(watched_rows(300, shift=lambda block, bore: 4.0 * (block >= 240 and bore in "12")))
