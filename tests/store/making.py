"""Readings, and what is judged from them, to put into a store."""

from __future__ import annotations

from typing import Any

import numpy as np

from cellmon.judged import STREAM_COLUMNS, Alarms, Bores, StoredReadings, Subgroups
from cellmon.records import ColumnType, Readings, Stream
from cellmon.store import FileFact, Session

START = np.datetime64("2026-03-02T06:00:00", "us")
NOW = np.datetime64("2026-03-05T06:00:00", "us")
UNIT = np.timedelta64(12, "h")
MINUTE = np.timedelta64(1, "m")
UNITS = [START + UNIT * i for i in range(4)]
PER_UNIT = 6  # bores in a unit, and subgroups of a stream in it
S1 = Stream(part_number="P-1", spindle="S1", bore="1", feature="size")
S2 = Stream(part_number="P-1", spindle="S2", bore="2", feature="size", fixture="F1")
ALL = Stream(part_number="P-1", spindle=None, bore=None, feature="size")
OF_S1 = Stream(part_number="P-1", spindle="S1", bore=None, feature="size")
APART = Stream(part_number="P-1", spindle="S1", bore="1", feature="size", part_of="distance")


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


def as_taken(batch: Readings, *, late: Any = None) -> StoredReadings:
    """Return rows as a take would keep them: in time, unless some are said to be late."""
    none = np.zeros(len(batch), dtype=bool)
    return StoredReadings(readings=batch, late=none if late is None else late, ahead=none)


def keep_readings(session: Session, batch: Readings, *, name: str = "rows.csv") -> int:
    """Keep a file of readings as `take` does; return its number."""
    file_id = session.add_file(file_fact(name, rows=len(batch)), ())
    session.add_readings(as_taken(batch), file_id=file_id)
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


def filled(batch, size, /, **given):
    """Return a derived batch; a needed column that is not given holds its own name, 0 or the start."""
    kinds = {ColumnType.TEXT: object, ColumnType.TIME: "datetime64[us]", ColumnType.WHOLE: np.int64}
    blank = {ColumnType.TIME: START, ColumnType.WHOLE: 0, ColumnType.NUMBER: 0.0}
    columns = {
        c.name: np.full(size, given.pop(c.name, blank.get(c.type, c.name)), dtype=kinds.get(c.type, float))
        for c in batch.columns()
        if c.needed or c.name in given
    }
    return batch(**columns, **given)


def some_bores(unit: int, *, first: int = 0, **given) -> Bores:
    """Return the bores of one unit, ten minutes apart: S1 hones bore 1, S2 bore 2 of the same blocks."""
    steps = np.arange(PER_UNIT)
    odd = steps % 2 == 1
    um = np.arange(PER_UNIT * 4.0).reshape(PER_UNIT, 2, 2) / 7 + unit
    columns = {
        "part_number": "P-1",
        "part": texts(*(f"B{first + unit * PER_UNIT // 2 + i // 2:04d}" for i in range(PER_UNIT))),
        "bore": np.where(odd, "2", "1").astype(object),
        "spindle": np.where(odd, "S2", "S1").astype(object),
        "measured_at": UNITS[unit] + 10 * MINUTE * steps,
        "unit_start": UNITS[unit],
        "shift_start": UNITS[unit],
        "charted": 1,
        "position": steps,
        "average": um.mean(axis=(1, 2)),
        **given,
    }
    return filled(Bores, PER_UNIT, planes=("top", "bottom"), directions=("x", "y"), um=um, **columns)


def some_subgroups(unit: int, stream: Stream, **given) -> Subgroups:
    """Return the subgroups of one stream in one unit, an hour apart."""
    at = UNITS[unit] + 60 * MINUTE * (1 + np.arange(PER_UNIT))
    columns = {
        **{name: getattr(stream, name) for name in STREAM_COLUMNS},
        "unit_start": UNITS[unit],
        "first_at": at - 20 * MINUTE,
        "at": at,
        "n": 3,
        "mean": unit + np.arange(PER_UNIT) / 10,
        **given,
    }
    return filled(Subgroups, PER_UNIT, **columns)


def alarm(call: str, unit: int, stream: Stream = S1, **given) -> Alarms:
    """Return one call of a detector of one stream, five minutes into a unit."""
    where = {name: getattr(stream, name) for name in STREAM_COLUMNS}
    at = UNITS[unit] + 5 * MINUTE
    return filled(Alarms, 1, call=call, unit_start=UNITS[unit], at=at, **where, **given)
