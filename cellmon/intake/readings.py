"""Readings, one a row or one bore a row, to a batch of records and the rows set aside."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from cellmon.intake.cells import Cells
from cellmon.intake.columns import Layout, SizeColumn
from cellmon.intake.extra import extra_texts
from cellmon.intake.numbers import COMMA_UNKNOWN, Mark, NumberColumn
from cellmon.intake.pivot import Coded, Pivot, pivot_long, pivot_wide
from cellmon.intake.runs import Runs
from cellmon.intake.sizes import Scale, Targets, fits, fitting, forced, not_this_bore
from cellmon.intake.table import Table
from cellmon.intake.taken import Found, UnitDoubt
from cellmon.intake.times import Order, TimeColumn
from cellmon.intake.words import Words, groups_of
from cellmon.records import ColumnType, Numbers, Readings, Reason
from cellmon.sheet import Sheet
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say

PLAIN_TEXT = ("stone_set", "operator", "fixture", "measurement", "why_measured")
DEFAULT_STAGE = "finish"
MM = UM_PER[LengthUnit.MM]


@dataclass(frozen=True, kw_only=True, eq=False)
class Described:
    """What every row says of itself, the sizes left out; once a run where the cells have runs."""

    words: dict[str, Words]
    numbers: dict[str, tuple[NumberColumn, Words]]
    measured_at: TimeColumn
    honed_at: tuple[TimeColumn, Words]
    targets: Targets


@dataclass(frozen=True, kw_only=True, eq=False)
class Sizes:
    """The sizes of rows: deviation in micrometres, shape (n, columns), nan where nothing was read."""

    um: NDArray[np.float64]
    notes: tuple[str, ...]
    units: tuple[LengthUnit, ...] = ()


def read_readings(table: Table, layout: Layout, sheet: Sheet, *, unit: LengthUnit | None = None) -> Found:
    """Read readings in either shape.

    Parameters
    ----------
    table : Table
        The file.
    layout : Layout
        Where its columns stand.
    sheet : Sheet
        The cell sheet.
    unit : LengthUnit, optional
        The unit of its sizes, whatever header and gauge say.
    """
    cells = Cells(table, layout, sheet, row_by_row=None if layout.wide else _row_by_row(layout))
    words = _words(cells)
    targets = Targets.of(sheet, words["part_number"])
    if cells.runs is not None:
        targets = targets.select(cells.runs.run)
    place = None if layout.wide else _places(cells)
    described, sizes = _read(cells, words, targets, unit)
    if layout.wide:
        pivot, rows = _pivot_wide(cells, described, sizes.um)
    else:
        pivot, rows = _pivot_long(cells, described, sizes.um[:, 0], place)
    batch = _batch(cells, described, pivot, rows) if len(pivot.first) else None
    return Found(
        batch=batch,
        refused=cells.marks.refused(table),
        repeated=int(pivot.repeated.sum()),
        notes=sizes.notes,
        units=sizes.units,
    )


def _row_by_row(layout: Layout) -> tuple[str, ...]:
    """Return the columns that tell the readings of one bore apart."""
    sizes = {size.place for size in layout.sizes}
    return ("plane", "direction", *(name for name, place in layout.place.items() if place in sizes))


def _words(cells: Cells) -> dict[str, Words]:
    """Read the columns of words, and set aside the rows that name what the sheet does not."""
    sheet = cells.sheet
    found = {name: cells.words(name) for name in PLAIN_TEXT}
    found["part"] = cells.needed(cells.words("part"))
    bore, spindle = cells.needed(cells.words("bore")), cells.needed(cells.words("spindle"))
    gauge = cells.known(cells.words("gauge"), sheet.gauge_ids, Reason.UNKNOWN_GAUGE)
    numbers = [part.number for part in sheet.parts]
    part_number = cells.known(cells.words("part_number"), numbers, Reason.UNKNOWN_PART)
    stages = next(c.choices for c in Readings.columns() if c.name == "stage")
    stage = cells.known(cells.words("stage"), stages, Reason.UNKNOWN_WORD)
    found["gauge"] = gauge.filled(sheet.measuring.gauge)
    found["part_number"] = part_number.filled(numbers[0])
    found["stage"] = stage.filled(DEFAULT_STAGE)
    found["spindle"] = cells.spindle(spindle)
    found["bore"] = _bores(cells, bore, found["part_number"])
    return found


def _bores(cells: Cells, bore: Words, part_number: Words) -> Words:
    parts = cells.sheet.parts
    every = tuple(dict.fromkeys(name for part in parts for name in part.bores))
    found = cells.known(bore, every, Reason.UNKNOWN_BORE)
    if len(parts) > 1:
        has = np.array([[name in part.bores for name in every] for part in parts])
        which = part_number.find([part.number for part in parts]).codes
        cells.marks.add((found.codes >= 0) & ~has[which, found.codes], Reason.UNKNOWN_BORE)
    return found


def _places(cells: Cells) -> NDArray[np.integer[Any]]:
    """Return where in its bore each row was read: plane times directions plus direction."""
    measuring = cells.sheet.measuring
    plane = cells.needed(cells.words("plane"))
    direction = cells.needed(cells.words("direction"))
    planes = cells.known(plane, tuple(measuring.planes), Reason.UNKNOWN_PLANE)
    directions = cells.known(direction, tuple(measuring.directions), Reason.UNKNOWN_DIRECTION)
    return planes.codes * len(measuring.directions) + directions.codes


def _read(
    cells: Cells, words: dict[str, Words], targets: Targets, unit: LengthUnit | None
) -> tuple[Described, Sizes]:
    """Read numbers, sizes and times; times come last, for a repeated hour is settled by a number."""
    layout, sheet = cells.layout, cells.sheet
    gauge = words["gauge"] if cells.runs is None else words["gauge"].select(cells.runs.run)

    def near(rank: int, values: Numbers) -> bool:
        return fits(_um(sheet, layout.sizes[rank], gauge, values, targets, unit), targets)

    declared = [c for c in Readings.columns() if c.type is ColumnType.NUMBER]
    numbers, read = cells.numbers(declared, [size.place for size in layout.sizes], decided=near)
    for column, _ in numbers.values():
        cells.marks.add(column.refused, Reason.NOT_A_NUMBER)
    sequence = numbers["sequence"][0].values if "sequence" in numbers else None
    order = None if sequence is None else Order(streams=lambda: _streams(words), sequence=sequence)
    measured_at = cells.times(cells.words("measured_at"), needed=True, order=order)
    honed = cells.words("honed_at")
    described = Described(
        words=words,
        numbers=numbers,
        measured_at=measured_at,
        honed_at=(cells.times(honed, needed=False, order=order), honed),
        targets=targets,
    )
    return described, _sizes(cells, read, gauge, targets, unit)


def _streams(words: dict[str, Words]) -> NDArray[np.int64]:
    columns = [(words[name].codes, len(words[name].told)) for name in ("gauge", "spindle", "bore")]
    return groups_of(columns, len(words["part"]))[0]


def _um(
    sheet: Sheet,
    size: SizeColumn,
    gauge: Words,
    values: Numbers,
    targets: Targets,
    unit: LengthUnit | None,
) -> Numbers:
    column = size if unit is None else forced(size, unit, values, targets)
    return Scale.of(sheet, column, gauge).um(values, targets.nominal_um)


def _sizes(
    cells: Cells,
    read: tuple[NumberColumn, ...],
    gauge: Words,
    targets: Targets,
    unit: LengthUnit | None,
) -> Sizes:
    """Return deviations from nominal; mark what was not measured, is no number or not of this bore."""
    columns = cells.layout.sizes
    um = np.empty((len(cells.table), len(columns)))
    for i, (size, found) in enumerate(zip(columns, read, strict=True)):
        column = size if unit is None else forced(size, unit, found.values, targets)
        scale = Scale.of(cells.sheet, column, gauge)
        um[:, i] = scale.um(found.values, targets.nominal_um)
        um[(found.values == 0.0) & ~scale.deviation, i] = np.nan
        cells.marks.add(found.refused, Reason.NOT_A_NUMBER)
    cells.marks.add(np.asarray(np.isnan(um).all(axis=1)), Reason.NOT_MEASURED)
    notes = []
    if cells.mark is Mark.UNKNOWN:
        notes.append(say(COMMA_UNKNOWN))
    doubt = _doubt(cells, read, um, targets) if unit is None else None
    if doubt is not None:
        notes.append(doubt.note)
        cells.marks.add(np.ones(len(um), dtype=bool), Reason.UNIT_DOUBT)
    for i in range(len(columns)):
        cells.marks.add(not_this_bore(um[:, i], targets), Reason.NOT_THIS_BORE)
    return Sizes(um=um, notes=tuple(notes), units=() if doubt is None else doubt.units)


def _doubt(
    cells: Cells, read: tuple[NumberColumn, ...], um: NDArray[np.float64], targets: Targets
) -> UnitDoubt | None:
    """Return what to say of a file that lies far from nominal in its unit and near it in another."""
    good, repeat = _rows(cells), um.shape[1]
    spread = targets
    if repeat > 1 or not isinstance(good, slice):
        spread = targets.select(np.repeat(np.arange(len(um))[good], repeat))
    if fits(um[good].ravel(), spread):
        return None
    numbers = np.column_stack([found.values for found in read])[good].ravel()
    numbers = np.where(numbers == 0.0, np.nan, numbers)
    found = fitting(numbers, spread, from_nominal=bool(cells.layout.sizes[0].deviation))
    if not found:
        return None
    or_ = say(" or ")
    note = say(
        "its sizes lie more than ten tolerances from nominal in their unit and near it in {units}: "
        "{again} takes it",
        units=or_.join(map(str, found)),
        again=or_.join(f"--unit {fit.unit.value}" for fit in found),
    )
    return UnitDoubt(note=note, units=tuple(dict.fromkeys(fit.unit for fit in found)))


def _keys(described: Described, rows: NDArray[Any] | slice) -> Iterator[Coded]:
    """Yield the columns that make the key, as codes."""
    for name in ("gauge", "part", "bore"):
        yield _code(described.words[name], rows)
    yield _moments(described.measured_at.at[rows])


def _others(described: Described, rows: NDArray[Any] | slice) -> Iterator[Coded]:
    """Yield those that must agree besides."""
    columns = [described.words[name] for name in ("spindle", "part_number", "stage", *PLAIN_TEXT)]
    columns += [column for _, column in described.numbers.values()]
    for column in columns:
        if len(column.told):
            yield _code(column, rows)
    honed, written = described.honed_at
    if len(written.told):
        yield _moments(honed.at[rows])


def _code(column: Words, rows: NDArray[Any] | slice) -> Coded:
    return column.codes[rows], len(column.told)


def _moments(at: NDArray[np.datetime64]) -> Coded:
    codes, found = pd.factorize(at.view(np.int64))
    return codes, len(found)


def _rows(cells: Cells) -> NDArray[np.int64] | slice:
    good = cells.marks.good
    return slice(None) if good.all() else np.flatnonzero(good)


def _runs(runs: Runs, rows: NDArray[np.int64] | slice) -> tuple[NDArray[np.int64] | slice, NDArray[np.int64]]:
    """Return the runs that some rows are of, and the place of each row's among them."""
    return (rows, runs.run) if isinstance(rows, slice) else runs.select(rows)


def _pivot_long(
    cells: Cells, described: Described, um: Numbers, place: NDArray[np.integer[Any]] | None
) -> tuple[Pivot, NDArray[np.int64] | slice]:
    assert place is not None and cells.runs is not None
    rows = _rows(cells)
    kept, run = _runs(cells.runs, rows)
    measuring = cells.sheet.measuring
    pivot = pivot_long(
        _keys(described, kept),
        _others(described, kept),
        run=run,
        runs=len(cells.runs.heads) if isinstance(kept, slice) else len(kept),
        place=place[rows],
        places=len(measuring.planes) * len(measuring.directions),
        um=um[rows],
        line=cells.table.line[rows],
    )
    _mark_contradictions(cells, pivot, rows)
    return pivot, rows


def _pivot_wide(
    cells: Cells, described: Described, um: NDArray[np.float64]
) -> tuple[Pivot, NDArray[np.int64] | slice]:
    rows = _rows(cells)
    pivot = pivot_wide(_keys(described, rows), um=um[rows], line=cells.table.line[rows])
    _mark_contradictions(cells, pivot, rows)
    return pivot, rows


def _mark_contradictions(cells: Cells, pivot: Pivot, rows: NDArray[np.int64] | slice) -> None:
    if pivot.contradicts.any():
        where = np.zeros(len(cells.table), dtype=bool)
        where[rows] = pivot.contradicts
        cells.marks.add(where, Reason.CONTRADICTS)


def _batch(cells: Cells, described: Described, pivot: Pivot, rows: NDArray[np.int64] | slice) -> Readings:
    measuring, table = cells.sheet.measuring, cells.table
    first = pivot.first if isinstance(rows, slice) else rows[pivot.first]
    shape = (len(first), len(measuring.planes), len(measuring.directions))
    extra = cells.layout.extra
    said = first if cells.runs is None else cells.runs.run[first]
    texts: dict[str, Any] = {name: column.texts(said) for name, column in described.words.items()}
    numbers: dict[str, Any] = {name: column.values[said] for name, (column, _) in described.numbers.items()}
    return Readings(
        planes=tuple(measuring.planes),
        directions=tuple(measuring.directions),
        um=pivot.um.reshape(shape),
        lines=pivot.lines.reshape(shape),
        line=table.line[first],
        measured_at=described.measured_at.at[said],
        repeated_hour=described.measured_at.repeated_hour[said],
        honed_at=described.honed_at[0].at[said],
        nominal_mm=np.broadcast_to(described.targets.select(first).nominal_um, len(first)) / MM,
        extra=extra_texts(
            [table.header[i] for i in extra],
            [_taken(table.columns[i], rows) for i in extra],
            first=pivot.first,
            bore=pivot.bore,
        ),
        **texts,
        **numbers,
    )


def _taken(column: Any, rows: NDArray[np.int64] | slice) -> Any:
    """Return the rows of an Arrow array."""
    return column if isinstance(rows, slice) else column.take(pa.array(rows))
