"""A cell that wears, is offset, dressed, fitted anew and zeroed, and whose one spindle jumps at the end.

Two spindles hone three bores, so that every kind of stream is there: bores, means of a spindle and of all,
distances, and what the machine tells of itself. A subgroup is three blocks, a shift three hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.monitor.busy_cell import BUSY_SHEET, MINUTE

SHIFTING_SHEET = (
    BUSY_SHEET.replace('bores = ["1", "2"]', 'bores = ["1", "2", "3"]')
    .replace('bores = ["1"]', 'bores = ["1", "2"]')
    .replace('id = "S2"\nbores = ["2"]', 'id = "S2"\nbores = ["3"]')
    .replace("directions =", 'gauge = "G1"\ndirections =')
)
SHIFTING_HEADER = "part,bore,spindle,measured_at,honed_at,gauge,top_x,top_y,bottom_x,bottom_y,load_pct"
SHIFTING_EVENTS = "at,event,spindle,gauge,stone_set,value,by"
FIRST = np.datetime64("2026-03-02T05:00:00")
BLOCK = 10 * MINUTE
SPINDLES = {"1": "S1", "2": "S1", "3": "S2"}
WEAR = -0.01
"""Micrometres a bore."""


@dataclass(frozen=True, kw_only=True)
class Happening:
    """Something logged before a block is honed, and by how much it moves what is measured from then on."""

    block: int
    event: str
    spindle: str = ""
    value: float | None = None
    by: str = ""
    stone_set: str = ""
    moves: float = 0.0

    @property
    def line(self) -> str:
        """Return it as a row of a file of events."""
        at = FIRST + BLOCK * self.block - 5 * MINUTE
        gauge = "G1" if self.event == "gauge-zeroed" else ""
        value = "" if self.value is None else str(self.value)
        return f"{at}Z,{self.event},{self.spindle},{gauge},{self.stone_set},{value},{self.by}"


def offset(block: int, spindle: str, um: float, *, by: str = "machine") -> Happening:
    """Return an offset that does what it says."""
    return Happening(block=block, event="feed-offset", spindle=spindle, value=um, by=by, moves=um)


HAPPENINGS = (
    Happening(block=0, event="stones-fitted", spindle="S1", stone_set="A1"),
    Happening(block=0, event="stones-fitted", spindle="S2", stone_set="A2"),
    offset(31, "S1", 4.0),  # inside the window the limits are learned from
    offset(44, "S2", -3.0),
    Happening(block=50, event="stones-dressed", spindle="S1"),
    Happening(block=64, event="gauge-zeroed", value=1.5, moves=1.5),
    offset(83, "S2", 6.0, by="A. Person"),  # more than wear asks for ...
    offset(95, "S2", -6.0, by="A. Person"),  # ... and undone two shifts later
    Happening(block=90, event="stones-fitted", spindle="S1", stone_set="A3"),
    Happening(block=112, event="setup-changed", spindle="S2"),
)


def shifting_rows(
    blocks: int = 130,
    *,
    seed: int = 5,
    step_at: int | None = 118,
    step_um: float = 7.0,
    happenings: Sequence[Happening] = HAPPENINGS,
    idle: range = range(0),
) -> list[str]:
    """Return rows of bores; from `step_at` on S1 hones larger; S2 stands still for the blocks `idle`."""
    rng = np.random.default_rng(seed)
    found = []
    for block in range(blocks):
        for bore, spindle in SPINDLES.items():
            um = np.array([2.0, 1.0, -1.0, -2.0]) + rng.normal(0, 1.2) + rng.normal(0, 0.3, 4)
            load = 55 + rng.normal(0, 1)
            if spindle == "S2" and block in idle:
                continue
            um += WEAR * block + sum(
                h.moves for h in happenings if h.block <= block and h.spindle in ("", spindle)
            )
            if spindle == "S1" and step_at is not None and block >= step_at:
                um, load = um + step_um, load + 6
            at = FIRST + BLOCK * block
            cells = ",".join(f"{50 + v / 1000:.4f}" for v in um)
            found.append(f"B{block:04d},{bore},{spindle},{at}Z,{at - 2 * MINUTE}Z,G1,{cells},{load:.1f}")
    return found


def event_rows(happenings: Sequence[Happening] = HAPPENINGS) -> list[str]:
    """Return what happened as rows of a file of events."""
    return [h.line for h in happenings]
