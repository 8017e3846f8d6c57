"""The files a simulated run would have left behind, in the many formats of a real cell."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cellmon.export.dialect_files import Columns, Dialect, columns_of, write_table
from cellmon.export.reading_tables import (
    BESIDE,
    BY_HAND,
    PROCESS,
    Words,
    bore_rows,
    place_decimals,
    reading_rows,
)
from cellmon.records import Events, Readings, StoneMeasurements, Times
from cellmon.simulate.incidents import InchSheet
from cellmon.simulate.moments import inside, worked_shifts
from cellmon.simulate.run import Run


@dataclass(frozen=True, kw_only=True)
class File:
    """One file to be written."""

    name: str
    columns: Columns
    dialect: Dialect


@dataclass(frozen=True, kw_only=True)
class Style:
    """How the station writes the readings of a shift."""

    ending: str
    write: Callable[[Readings], Columns]
    dialect: Callable[[Dialect], Dialect] = lambda plain: plain


def _wide(readings: Readings) -> Columns:
    return bore_rows(readings, beside=BESIDE + PROCESS)


def _long(readings: Readings) -> Columns:
    return reading_rows(readings, beside=BESIDE)


def _long_with_load(readings: Readings) -> Columns:
    return reading_rows(readings, beside=(*BESIDE, "cycle_s", "load_pct", "load_ripple_pct"))


def _deviations(readings: Readings) -> Columns:
    found = reading_rows(readings, beside=BESIDE, size="deviation_um")
    return {"serial" if name == "part" else name: values for name, values in found.items()}


def _with_drawing(readings: Readings) -> Columns:
    return {"part_number": readings.part_number, **_wide(readings)}


def _local(plain: Dialect) -> Dialect:
    return replace(plain, with_offset=False)


def _local_semicolon(plain: Dialect) -> Dialect:
    return replace(plain, with_offset=False, separator=";", decimal=",", line_end="\r\n")


def _local_semicolon_marked(plain: Dialect) -> Dialect:
    return replace(_local_semicolon(plain), byte_order_mark=True)


def _tabs(plain: Dialect) -> Dialect:
    return replace(plain, separator="\t")


COMMA = Style(ending="csv", write=_wide, dialect=_local)
SEMICOLONS = Style(ending="csv", write=_wide, dialect=_local_semicolon)
LONG = Style(ending="csv", write=_long, dialect=_local_semicolon_marked)
LONG_WITH_LOAD = Style(ending="csv", write=_long_with_load, dialect=_local_semicolon_marked)
WORKBOOK = Style(ending="xlsx", write=_wide, dialect=_local)
PARQUET = Style(ending="parquet", write=_with_drawing)
JSON_LINES = Style(ending="jsonl", write=_with_drawing)
DEVIATIONS = Style(ending="tsv", write=_deviations, dialect=_tabs)

STYLES = (
    (COMMA, COMMA, COMMA),
    (LONG, COMMA, SEMICOLONS),
    (SEMICOLONS, LONG_WITH_LOAD, COMMA),
    (WORKBOOK, WORKBOOK, WORKBOOK),
    (PARQUET, PARQUET, PARQUET),
    (JSON_LINES, DEVIATIONS, COMMA),
)
"""By day from Monday, then by shift; a longer run begins again."""


def write_run(run: Run, folder: Path) -> tuple[Path, ...]:
    """Write every file of a run into a folder that exists, and return their paths.

    The same run gives the same files. No file says what was planted in it.
    """
    written = []
    for file in run_files(run):
        path = folder / file.name
        write_table(file.columns, path, dialect=file.dialect)
        written.append(path)
    return tuple(written)


def run_files(run: Run) -> Iterator[File]:
    """Yield every file of a run, none of them written yet."""
    yield from _station_files(run)
    yield from _hand_files(run)
    yield from _log_files(run)
    yield from _other_files(run)


def _plain(run: Run) -> Dialect:
    return Dialect(zone=run.scenario.zone, decimals=place_decimals(run.readings))


def _shift_of(run: Run, times: Times) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    starts = worked_shifts(run.scenario).starts
    return np.clip(np.searchsorted(starts, times, side="right") - 1, 0, None)


def _station_files(run: Run) -> Iterator[File]:
    """Yield one file per shift; a block belongs to the shift in which it was honed."""
    shifts = worked_shifts(run.scenario)
    bores = len(run.scenario.bores.names)
    begun = run.readings.honed_at.reshape(-1, bores).min(axis=1)
    shift_of = _shift_of(run, np.repeat(begun, bores))
    count = len(run.scenario.shift_names)
    for index, (name, date) in enumerate(zip(shifts.names, shifts.dates, strict=True)):
        style = STYLES[index // count % len(STYLES)][index % count]
        rows = run.readings.select(shift_of == index)
        if len(rows):
            yield File(
                name=f"{date}-{name}-station.{style.ending}",
                columns=style.write(rows),
                dialect=style.dialect(_plain(run)),
            )
    if len(run.repeated):
        index = int(_shift_of(run, run.repeated.honed_at)[0])
        style = STYLES[index // count % len(STYLES)][index % count]
        yield File(
            name=f"{shifts.dates[index]}-{shifts.names[index]}-station-exported-again.{style.ending}",
            columns=style.write(run.repeated),
            dialect=style.dialect(_plain(run)),
        )


def _hand_files(run: Run) -> Iterator[File]:
    """Yield one hand sheet per working day, each as another person keeps it."""
    shifts = worked_shifts(run.scenario)
    count = len(run.scenario.shift_names)
    day_of = _shift_of(run, run.audit.measured_at) // count
    for day in np.unique(day_of):
        chosen = np.flatnonzero(day_of == day)
        rows = run.audit.select(chosen)
        words = _words_on(run, chosen)
        yield _hand_file(run, rows, words, date=shifts.dates[day * count], day=int(day))


def _words_on(run: Run, chosen: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Words:
    at = {int(row): i for i, row in enumerate(chosen)}
    return {(at[w.row], w.plane, w.direction): w.text for w in run.words if w.row in at}


def _hand_file(run: Run, rows: Readings, words: Words, *, date: str, day: int) -> File:
    plain = replace(_plain(run), with_offset=False)
    plain = replace(plain, decimals={**plain.decimals, **_whole_micrometres(rows)})
    name = f"{date}-hand-gauge"
    if any(
        inside(rows.measured_at, sheet, run.scenario.zone).any() for sheet in run.scenario.every(InchSheet)
    ):
        inch = reading_rows(rows, beside=BY_HAND, size="diameter_in", words=words)
        return File(name=f"{name}.csv", columns=inch, dialect=plain)
    if day % 3 == 1:
        wide = bore_rows(rows, beside=BY_HAND, words=words)
        return File(name=f"{name}.xlsx", columns=wide, dialect=plain)
    long = reading_rows(rows, beside=BY_HAND, words=words)
    return File(name=f"{name}.csv", columns=long, dialect=_local_semicolon(plain))


def _whole_micrometres(rows: Readings) -> dict[str, int]:
    return {"diameter": 3, **{f"{p}_{d}": 3 for p in rows.planes for d in rows.directions}}


def _log_files(run: Run) -> Iterator[File]:
    """Yield the log and the stone measurements, what lies before the run apart from the rest."""
    plain = _plain(run)
    starts = worked_shifts(run.scenario).starts[0] - np.timedelta64(1, "h")
    before: Events = run.events.select(run.events.at < starts)
    during: Events = run.events.select(run.events.at >= starts)
    yield File(name="cell-log-of-the-weeks-before.csv", columns=columns_of(before), dialect=plain)
    yield File(name="cell-log.csv", columns=columns_of(during), dialect=plain)
    thickness = replace(plain, decimals={"thickness_mm": 3})
    stones = run.stone_measurements
    old: StoneMeasurements = stones.select(stones.at < starts)
    new: StoneMeasurements = stones.select(stones.at >= starts)
    yield File(
        name="stone-thickness-of-the-weeks-before.csv",
        columns=columns_of(old),
        dialect=_local_semicolon(thickness),
    )
    yield File(name="stone-thickness.csv", columns=columns_of(new), dialect=thickness)


def _other_files(run: Run) -> Iterator[File]:
    plain = replace(
        _plain(run),
        decimals={"master_mm": 4, "reading_mm": 4, "diameter_mm": 4, "radius_um": 3, "temp_c": 1},
    )
    yield File(name="stone-sets.csv", columns=columns_of(run.stone_sets), dialect=plain)
    yield File(name="stone-stock.csv", columns=columns_of(run.stock), dialect=plain)
    yield File(name="master-checks.csv", columns=columns_of(run.gauge_checks), dialect=plain)
    yield File(name="gauge-study.xlsx", columns=columns_of(run.study), dialect=plain)
    yield File(name="roundness-and-texture.jsonl", columns=columns_of(run.characteristics), dialect=plain)
    yield File(name="roundness-traces.parquet", columns=columns_of(run.traces), dialect=plain)
    yield File(name="findings.csv", columns=columns_of(run.findings), dialect=plain)
    yield File(name="pistons.csv", columns=columns_of(run.mating_parts), dialect=_local_semicolon(plain))
