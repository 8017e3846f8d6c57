"""All that is known of one block, in a store of ten thousand bores, of a million, and of ten million.

The million is taken, file by file; the ten are that store with nine more pasts before it.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

import cellmon
from cellmon.export.dialect_files import write_table
from cellmon.export.run_files import run_files
from cellmon.monitor import Monitor
from cellmon.simulate.harrowmere import harrowmere_year
from cellmon.simulate.line import run
from cellmon.simulate.run import Run
from cellmon.simulate.sheet_text import sheet_text
from tests.bench.longer_store import lengthen
from tests.bench.test_take import wide_file

BATCH = 25_000
SIZES = (10_000, 1_000_000)
WEEKS = 45
PASTS = 9
"""How often the past of the larger store is stored once more, each time 46 weeks earlier."""
ASKED = 40
ROUNDS = 3
WANTED_S = 0.3


@pytest.fixture(scope="module")
def year() -> Run:
    return run(harrowmere_year(weeks=WEEKS), seed=5)


def filled(made: Run, folder: Path, *, bores: int) -> tuple[Monitor, np.ndarray]:
    """Return a cell that took so many bores with the logs beside them, and the serials of its blocks."""
    folder.mkdir()
    (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    readings = made.readings.select(slice(0, bores))
    monitor = cellmon.open_cell(folder)
    for start in range(0, len(readings), BATCH):
        monitor.take([wide_file(readings.select(slice(start, start + BATCH)), folder / "rows.csv")])
        if not start:
            monitor.take(logs(made, folder, until=readings.measured_at[-1]))
    return monitor, np.unique(readings.part.astype(str))


def logs(made: Run, folder: Path, *, until: np.datetime64) -> list[Path]:
    """Write what is logged beside the readings: events, checks, audits, findings, traces."""
    found = []
    for file in run_files(made):
        if not file.name[:4].isdigit():
            write_table(file.columns, folder / file.name, dialect=file.dialect)
            found.append(folder / file.name)
    return found


def quickest(monitor: Monitor, serial: str) -> float:
    """Return the seconds of the quickest of three answers: other work slows single ones."""
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        assert monitor.part(serial).measurements
        took.append(time.perf_counter() - began)
    return min(took)


def asked_of(monitor: Monitor, serials: np.ndarray, *, bores: int) -> float:
    """Return the seconds of the slowest of some blocks, each the quickest of three."""
    asked = np.random.default_rng(3).choice(serials, ASKED, replace=False)
    took = [quickest(monitor, str(serial)) for serial in asked]
    print(
        f"\n{bores:,} bores, {ASKED} blocks: median {1000 * float(np.median(took)):.0f} ms, "
        f"slowest {1000 * max(took):.0f} ms"
    )
    return max(took)


@pytest.mark.bench
def test_a_block_of_a_million_bores_is_told_as_fast_as_one_of_ten_thousand(year, tmp_path):
    small, serials = filled(year, tmp_path / f"cell-{SIZES[0]}", bores=SIZES[0])
    worst = [asked_of(small, serials, bores=SIZES[0])]
    small.close()
    monitor, serials = filled(year, tmp_path / f"cell-{SIZES[1]}", bores=SIZES[1])
    worst.append(asked_of(monitor, serials, bores=SIZES[1]))
    with monitor._store.writing() as session:
        lengthen(session, copies=PASTS, weeks=WEEKS + 1)
    marked = np.char.add(np.random.default_rng(7).integers(1, PASTS + 1, len(serials)).astype(str), "-")
    worst.append(asked_of(monitor, np.char.add(marked, serials), bores=SIZES[-1] * (PASTS + 1)))
    monitor.close()
    assert max(worst) < WANTED_S, worst
