"""The demo of honing by hand: one block, four bores, rounds as they would be typed.

The bores are simulated (`cellmon.simulate.hand`); three are honed by the advice to their end, the fourth
waits after its test round.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import cellmon
from cellmon.errors import WrongUsage
from cellmon.monitor import Monitor
from cellmon.monitor.bore.keeping import TypedRound, strokes_of
from cellmon.monitor.bore.zero import keep_zero
from cellmon.monitor.hand_sheet import HandSheet, new_hand_cell
from cellmon.simulate.hand import Floats, HiddenBore, gauged, hidden_bore, honed, next_bore

SEED = 9
PART = "HM-4001"
BY = "demo"
NOMINAL_MM = 87.3
MOST_ROUNDS = 30
SHEET = HandSheet(
    name="Harrowmere Works, bench",
    part_number="HM-214",
    bores=4,
    unit="mm",
    nominal=NOMINAL_MM,
    lower=NOMINAL_MM,
    upper=NOMINAL_MM + 0.024,
    length=140.0,
    division_um=1.0,
    uncertainty_um=2.4,
    stones=("rough", "fine"),
    finish_allowance_um=12.0,
)


def make_hand_demo(folder: Path) -> Monitor:
    """Make a cell folder with one block honed by hand, and return its monitor.

    Raises
    ------
    WrongUsage
        When the folder already holds a cell: nothing is ever replaced.
    """
    if (folder / "cell.toml").exists():
        raise WrongUsage(f"{folder} already holds a cell; name another folder, or remove it first")
    new_hand_cell(folder, SHEET)
    monitor = cellmon.open_cell(folder)
    keep_zero(monitor, "+0", state="as-found", by=BY)
    rng = np.random.default_rng(SEED)
    first = hidden_bore(rng, target_um=12.0)
    bores = [first, *(next_bore(first, rng, target_um=12.0) for _ in range(3))]
    for i, bore in enumerate(bores):
        _hone(monitor, bore, str(i + 1), rng, rounds=MOST_ROUNDS if i < 3 else 1)
    keep_zero(monitor, "+0.3um", state="as-left", by=BY)
    return monitor


def _hone(monitor: Monitor, bore: HiddenBore, name: str, rng: np.random.Generator, *, rounds: int) -> None:
    um = bore.um
    _type(monitor, name, gauged(bore, um, rng), {}, "")
    for _ in range(rounds):
        told = monitor.bore(part=PART, bore=name).next
        if told is not None and told.change_to is not None:
            told = monitor.bore(part=PART, bore=name, next_stones=told.change_to).next
        if told is None:
            return
        strokes = {"full": told.strokes_full, "top": told.strokes_top, "bottom": told.strokes_bottom}
        if not any(strokes.values()):
            return
        um = honed(bore, um, list(strokes.values()), rng, stage=int(told.stones == "fine"))
        _type(monitor, name, gauged(bore, um, rng), strokes, told.stones)


def _type(monitor: Monitor, name: str, um: Floats, strokes: dict[str, int], stones: str) -> None:
    measuring = monitor.sheet.measuring
    places = [(plane, direction) for plane in measuring.planes for direction in measuring.directions]
    readings = {place: f"{value:+.1f}" for place, value in zip(places, um.ravel(), strict=True)}
    monitor.keep_round(
        TypedRound(
            part=PART,
            bore=name,
            readings=readings,
            strokes=strokes_of(strokes),
            stones=stones,
            part_temp_c=20.5,
            by=BY,
        )
    )
