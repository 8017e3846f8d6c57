"""A plain cell written down: its sheet, its log, its readings; taken into a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

import cellmon
from cellmon.export.dialect_files import Columns, Dialect, write_table
from tests.monitor.detection.cells import (
    DIRECTIONS,
    NOMINAL_MM,
    NOMINAL_UM,
    PLANES,
    SECOND,
    SHIFT_S,
    CellPlan,
    Made,
    cell_truth,
    make,
)
from tests.monitor.detection.truth import Truth


def sheet_of(plan: CellPlan) -> str:
    """Return the sheet of a plain cell."""
    per_shift = SHIFT_S // plan.cycle_s
    planned = ", ".join(f"{s} = {per_shift * len(own)}" for s, own in plan.spindles.items())
    spindles = "".join(
        f'[[spindles]]\nid = "{s}"\nbores = {list(own)!r}\n' for s, own in plan.spindles.items()
    ).replace("'", '"')
    bores = str(list(plan.bores)).replace("'", '"')
    return f"""
[cell]
name = "Plain cell"
timezone = "Europe/Berlin"
[part]
number = "PC-1"
bores = {bores}
length_mm = 140.0
[features.diameter]
nominal = {NOMINAL_MM}
lower = {NOMINAL_MM - 0.015}
upper = {NOMINAL_MM + 0.015}
[features.taper]
lower = -8.0
upper = 8.0
[features.barrel]
lower = -6.0
upper = 6.0
[features.ovality]
lower = -8.0
upper = 8.0
[measuring]
planes = {{ top = 15.0, middle = 70.0, bottom = 125.0 }}
directions = {{ x = 0, y = 90 }}
gauge = "G1"
resolution_um = {plan.resolution_um}
uncertainty_common_um = 0.3
uncertainty_reading_um = 0.3
[alarms]
false_alarms_per_week = {plan.false_alarms_per_week}
[subgroups]
size = {plan.subgroup}
[planning]
bores_per_shift = {{ {planned} }}
[[shifts]]
name = "early"
starts = "06:00"
[[shifts]]
name = "late"
starts = "14:00"
[[shifts]]
name = "night"
starts = "22:00"
{spindles}"""


def write_files(made: Made, folder: Path, *, ending: Literal["parquet", "csv"] = "parquet") -> list[Path]:
    """Write sheet, log and readings into a folder; return the files in order of taking."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "cell.toml").write_text(sheet_of(made.plan), encoding="utf-8")
    digits = {f"{p}_{d}": 5 for p in PLANES for d in DIRECTIONS}
    dialect = Dialect(zone=ZoneInfo("Europe/Berlin"), decimals=digits)
    readings, log = folder / f"readings.{ending}", folder / "log.csv"
    write_table(log_columns(made), log, dialect=dialect)
    write_table(reading_columns(made), readings, dialect=dialect)
    return [log, readings]


def reading_columns(made: Made) -> Columns:
    """Return one bore a row, sizes in millimetres."""
    blocks, bores = made.um.shape[:2]
    found: Columns = {
        "part": np.repeat(made.parts, bores),
        "bore": np.tile(np.array(made.plan.bores, dtype=object), blocks),
        "spindle": np.tile(np.array(made.plan.spindle_of, dtype=object), blocks),
        "measured_at": np.repeat(made.times, bores),
        "sequence": np.repeat(np.arange(float(blocks)), bores),
    }
    for p, plane in enumerate(PLANES):
        for d, direction in enumerate(DIRECTIONS):
            found[f"{plane}_{direction}"] = np.round((NOMINAL_UM + made.um[:, :, p, d].ravel()) / 1000, 6)
    return found


def log_columns(made: Made) -> Columns:
    """Return the log, each line half a cycle before the block it comes before."""
    half = made.plan.cycle_s * SECOND // 2
    lines = made.log
    return {
        "at": np.array([made.times[line.block] - half for line in lines], dtype="datetime64[us]"),
        "event": np.array([line.event for line in lines], dtype=object),
        "spindle": np.array([line.spindle for line in lines], dtype=object),
        "value": np.array([line.value for line in lines], dtype=np.float64),
        "stone_set": np.array(
            [f"A-{line.spindle}" if line.event != "feed-offset" else None for line in lines], dtype=object
        ),
    }


def write_cell(
    plan: CellPlan,
    folder: Path,
    *,
    seed: int,
    ending: Literal["parquet", "csv"] = "parquet",
    freeze: bool = True,
) -> Truth:
    """Make a cell in a folder, take it, freeze limits over its beginning; return what is true of it."""
    made = make(plan, seed=seed)
    paths = write_files(made, folder, ending=ending)
    monitor = cellmon.open_cell(folder)
    monitor.take(paths)
    if freeze:
        monitor.freeze(by="harness", why="the first quiet subgroups")
    monitor.close()
    return cell_truth(made)
