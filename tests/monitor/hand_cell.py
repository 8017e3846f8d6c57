"""A cell of one block honed by hand, and rounds typed into it."""

from __future__ import annotations

from pathlib import Path

from cellmon.monitor import Monitor
from cellmon.monitor.bore.keeping import TypedRound
from cellmon.sizing.strokes import Strokes
from tests.small_cell import new_cell

SHEET = """
[cell]
name = "Bench"
[part]
number = "B-1"
bores = ["1", "2"]
length_mm = 140.0
material = "grey cast iron"
oversizes_mm = [0.25, 0.5]
[features.diameter]
nominal = 68.000
lower = 68.000
upper = 68.024
[measuring]
planes = { top = 15.0, middle = 70.0, bottom = 125.0 }
directions = { x = 0, y = 90 }
uncertainty_common_um = 0.5
uncertainty_reading_um = 0.8
temperature = "as-read"
[hand]
division_um = 2.0
turn_um = 200
stones = ["rough", "fine"]
finish_allowance_um = 10
"""
PLACES = [(plane, direction) for plane in ("top", "middle", "bottom") for direction in "xy"]
RECEIVED = ["67,945", "67.944", "67.940", "67.941", "67.936", "67.935"]


def hand_cell(folder: Path, *, more: str = "", sheet: str = SHEET) -> Monitor:
    return new_cell(folder, sheet=sheet + more)


def typed(values, *, full=0, top=0, bottom=0, bore="1", part="K1", **rest) -> TypedRound:
    strokes = Strokes(full=full, top=top, bottom=bottom)
    return TypedRound(
        part=part, bore=bore, readings=dict(zip(PLACES, values, strict=True)), strokes=strokes, **rest
    )


def grown(um: float, values=RECEIVED) -> list[str]:
    return [f"{float(v.replace(',', '.')) + um / 1000:.4f}" for v in values]
