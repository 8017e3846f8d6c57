"""Cells that hold ten thousand bores, a hundred thousand, a million and ten million, made once and kept.

Up to a million they are taken, file by file; the ten million are the million with nine more pasts before it.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

import cellmon
from cellmon.export.dialect_files import write_table
from cellmon.export.run_files import run_files
from cellmon.monitor import Monitor
from cellmon.simulate.line import run
from cellmon.simulate.run import Run
from cellmon.simulate.sheet_text import sheet_text
from tests.bench.inputs import SIZES
from tests.bench.longer_store import lengthen
from tests.bench.test_take import wide_file
from tests.simulate.year import harrowmere_year

BATCH = 25_000
LOGGED = ("events", "stone_measurements", "stock", "gauge_checks", "characteristics", "findings", "traces")
WEEKS = 45
PASTS = 9
"""How often the past of the largest store is stored once more, each time 46 weeks earlier."""


@cache
def year() -> Run:
    """Return what the virtual cell makes in 45 weeks, a little over a million bores."""
    return run(harrowmere_year(weeks=WEEKS), seed=5)


def grown_cell(folder: Path, size: str) -> Path:
    """Return the folder of a cell with so many bores, made if it is not there; copy it before you write."""
    found = folder / f"cell-{size}"
    if found.exists():
        return found
    part = folder / f"cell-{size}.part"
    shutil.rmtree(part, ignore_errors=True)
    if SIZES[size] > SIZES["1m"]:
        shutil.copytree(grown_cell(folder, "1m"), part)
        monitor = cellmon.open_cell(part)
        with monitor._store.writing() as session:
            lengthen(session, copies=PASTS, weeks=WEEKS + 1)
    else:
        monitor = filled(part, bores=SIZES[size])
    monitor.close()
    part.rename(found)
    return found


def filled(folder: Path, *, bores: int) -> Monitor:
    """Return a cell that took so many bores, and all that was logged beside them."""
    folder.mkdir()
    (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    readings = year().readings.select(slice(0, bores))
    monitor = cellmon.open_cell(folder)
    for start in range(0, len(readings), BATCH):
        monitor.take([wide_file(readings.select(slice(start, start + BATCH)), folder / "rows.csv")])
        if not start:
            monitor.take(_logs(year(), folder, until=readings.measured_at.max()))
    return monitor


def _logs(made: Run, folder: Path, *, until: np.datetime64) -> list[Path]:
    """Write what was logged beside the readings up to a moment: events, checks, audits, findings, traces."""
    logged = {name: batch.select(batch.at <= until) for name, batch in vars(made).items() if name in LOGGED}
    found = []
    for file in run_files(replace(made, **logged)):
        if not file.name[:4].isdigit():  # a day of readings
            write_table(file.columns, folder / file.name, dialect=file.dialect)
            found.append(folder / file.name)
    return found
