"""A batch that comes after what a cell holds: its newest bores again, later and with other numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np

from cellmon.export.dialect_files import Dialect, columns_of, write_table
from cellmon.monitor import Monitor
from cellmon.records import Batch, Kind, Readings
from tests.bench.test_take import wide_file

BORES = 48
SEARCHED = np.timedelta64(400, "D")
"""So far back rows of a kind are looked for."""
STEP = np.timedelta64(30, "s")
SHIFT = np.timedelta64(8, "h")


def next_files(monitor: Monitor, folder: Path, *, bores: int) -> Callable[[], Path]:
    """Return what writes a file of the next so many bores each time it is called."""
    numbers = count()

    def write() -> Path:
        number = next(numbers)
        return wide_file(_later(monitor, bores, f"N{number:04d}"), folder / f"next-{number:04d}.csv")

    return write


def next_rows(monitor: Monitor, folder: Path, kind: Kind, *, rows: int) -> Path:
    """Write a file of the newest so many rows of a kind again: other blocks, after all that is stored."""
    with monitor._store.reading() as session:
        newest = session.newest_reading()
    last = _newest_rows(monitor, kind, rows)
    parts = np.array([f"N-{part.split('-')[-1]}" for part in last.part], dtype=object)
    later = replace(last, part=parts, at=last.at + (newest - last.at.min() + STEP))
    return _written(later, folder / f"next-{kind}.csv")


def rows_again(monitor: Monitor, folder: Path, kind: Kind, *, rows: int) -> Path:
    """Write a file of the newest so many rows of a kind again: the same blocks, a shift later."""
    last = _newest_rows(monitor, kind, rows)
    return _written(replace(last, at=last.at + SHIFT), folder / f"again-{kind}.csv")


def a_finding(monitor: Monitor, folder: Path, part: str) -> Path:
    """Write a file of the newest finding once more: of another block, at the moment of the newest bore."""
    with monitor._store.reading() as session:
        newest = session.newest_reading()
    last = _newest_rows(monitor, Kind.FINDINGS, 1).select(slice(0, 1))
    found = replace(last, part=np.array([part], dtype=object), at=np.array([newest]))
    return _written(found, folder / f"finding-{part}.csv")


def _newest_rows(monitor: Monitor, kind: Kind, rows: int) -> Any:
    with monitor._store.reading() as session:
        newest = session.newest_reading()
        assert newest is not None
        stored = session.rows(kind, start=newest - SEARCHED)
    return stored.select(stored.at >= np.sort(stored.at)[-rows])


def _written(rows: Batch, path: Path) -> Path:
    write_table(columns_of(rows), path, dialect=Dialect())
    return path


def next_batches(monitor: Monitor, folder: Path, *, bores: int = BORES) -> Callable[[], None]:
    """Return what commits the next batch of so many bores each time it is called."""
    write = next_files(monitor, folder, bores=bores)

    def commit() -> None:
        taken = monitor.take([write()]).files[0]
        if taken.taken != taken.rows or not taken.rows:
            raise SystemExit(f"of {taken.rows} rows of the next batch {taken.taken} were taken")

    return commit


def _later(monitor: Monitor, bores: int, mark: str) -> Readings:
    """Return the newest whole bores, begun anew after the last of them."""
    with monitor._store.reading() as session:
        newest = session.newest_reading()
        assert newest is not None
        stored = session.readings_between(newest - np.timedelta64(1, "D"), newest + np.timedelta64(1, "us"))
    assert stored is not None
    rows = stored.readings
    honed = ~np.isnat(rows.honed_at) & np.isfinite(rows.sequence)
    last = rows.select(honed & np.isfinite(rows.um).all(axis=(1, 2)))
    last = last.select(slice(max(len(last) - bores, 0), None))
    by = newest - np.nanmin(last.honed_at) + STEP
    parts = np.array([f"{mark}-{part.split('-')[-1]}" for part in last.part], dtype=object)
    return replace(last, part=parts, measured_at=last.measured_at + by, honed_at=last.honed_at + by)
