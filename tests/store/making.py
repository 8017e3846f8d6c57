"""Readings and decisions to put into a store."""

from __future__ import annotations

import numpy as np

from cellmon.records import Readings
from cellmon.store import FileFact, Session

START = np.datetime64("2026-03-02T06:00:00", "us")
NOW = np.datetime64("2026-03-05T06:00:00", "us")


def texts(*words: str | None) -> np.ndarray:
    """Return a column of words."""
    found = np.empty(len(words), dtype=object)
    found[:] = words
    return found


def some_readings(count: int, *, first: int = 0, minutes: int = 10, start: np.datetime64 = START) -> Readings:
    """Return `count` blocks of one bore each, two planes and two directions, `minutes` apart."""
    rng = np.random.default_rng(first)
    um = np.round(rng.normal(0, 2, (count, 2, 2)), 1)
    return Readings(
        planes=("top", "bottom"),
        directions=("x", "y"),
        part=texts(*(f"B{first + i:04d}" for i in range(count))),
        bore=texts(*["1"] * count),
        spindle=texts(*["S1"] * count),
        measured_at=start + np.timedelta64(minutes, "m") * np.arange(first, first + count),
        um=um,
        lines=np.ones(um.shape, dtype=np.int64) * np.arange(2, count + 2)[:, None, None],
        nominal_mm=np.full(count, 50.0),
        repeated_hour=np.zeros(count, dtype=bool),
        gauge=texts(*["G1"] * count),
        line=np.arange(2, count + 2),
    )


def keep_readings(session: Session, batch: Readings, *, name: str = "rows.csv") -> int:
    """Keep a file of readings as `take` does; return its number."""
    file_id = session.add_file(file_fact(name, rows=len(batch)), ())
    session.add_readings(batch, file_id=file_id, late=np.zeros(len(batch), dtype=bool))
    return file_id


def file_fact(name: str, *, rows: int = 1, sha256: str | None = None) -> FileFact:
    """Return the fact that a file was taken whole."""
    return FileFact(
        name=name,
        kind="readings",
        sha256=sha256 or f"sha of {name}",
        at=NOW,
        header="part,bore",
        rows=rows,
        taken=rows,
        known=0,
        set_aside=0,
    )
