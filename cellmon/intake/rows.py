"""Every kind whose rows are plain, read by the columns that its batch declares."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cellmon.intake.cells import Cells
from cellmon.intake.columns import Layout, SizeColumn, base_name
from cellmon.intake.mating import mark_strange_sizes
from cellmon.intake.numbers import COMMA_UNKNOWN, Mark, NumberColumn
from cellmon.intake.sizes import DECIMALS, Scale, Targets, forced
from cellmon.intake.table import Table
from cellmon.intake.taken import Found
from cellmon.intake.words import Words, groups_of, no_words
from cellmon.records import ROW_BATCHES, Batch, Column, ColumnType, EventKind, Flags, Kind, Numbers, Reason
from cellmon.sheet import Sheet
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say

OF_THE_SHEET = {
    Kind.EVENTS: ("spindle", "gauge"),
    Kind.GAUGE_CHECKS: ("gauge",),
    Kind.CHARACTERISTICS: ("bore", "spindle"),
    Kind.FINDINGS: ("bore", "spindle"),
    Kind.TRACES: ("bore", "spindle"),
    Kind.SIZING: ("bore", "plane", "direction", "part_number"),
}
"""Columns in which only what the sheet names will do; instruments of audits need not stand there."""
NEEDS = {
    EventKind.STONES_FITTED: "stone_set",
    EventKind.FEED_OFFSET: "value",
    EventKind.GAUGE_ZEROED: "value",
}
"""What an event means nothing without."""
PER_EVENT = {kind: "gauge" if kind is EventKind.GAUGE_ZEROED else "spindle" for kind in EventKind}


def read_rows(table: Table, layout: Layout, sheet: Sheet, *, unit: LengthUnit | None = None) -> Found:
    """Read a file of any kind but readings.

    Parameters
    ----------
    table : Table
        The file.
    layout : Layout
        Where its columns stand.
    sheet : Sheet
        The cell sheet.
    unit : LengthUnit, optional
        The unit of lengths whose header names none.
    """
    cells = Cells(table, layout, sheet)
    batch = ROW_BATCHES[layout.kind]
    words = {c.name: _words(cells, layout.kind, c) for c in batch.columns() if c.type is ColumnType.TEXT}
    found: dict[str, NDArray[Any]] = {}
    numbers, _ = cells.numbers(batch.columns())
    for column in batch.columns():
        if column.name in numbers:
            found[column.name] = _numbers(cells, column, numbers[column.name][0], words, unit)
        elif column.type is ColumnType.TIME and column.name in layout.place:
            found[column.name] = cells.times(cells.words(column.name), needed=column.needed).at
    if layout.kind is Kind.EVENTS:
        _whole_events(cells, words, found)
    notes, doubt = _notes(cells), None
    if layout.kind is Kind.MATING_PARTS:
        read = numbers["diameter_mm"][0].values
        doubt = mark_strange_sizes(cells, read, found["diameter_mm"], named=unit is not None)
    repeated = _repeats(cells, batch, words, found)
    rows = np.flatnonzero(cells.marks.good & ~repeated)
    texts = {name: column.texts(rows) for name, column in words.items()}
    made = None
    if len(rows):
        taken = {name: values[rows] for name, values in found.items()}
        made = batch(line=table.line[rows], **texts, **taken)
    return Found(
        batch=made,
        refused=cells.marks.refused(table),
        repeated=int(repeated.sum()),
        notes=notes if doubt is None else (*notes, doubt.note),
        units=() if doubt is None else doubt.units,
    )


def _notes(cells: Cells) -> tuple[str, ...]:
    if cells.mark is not Mark.UNKNOWN:
        return ()
    return (say(COMMA_UNKNOWN),)


def _words(cells: Cells, kind: Kind, column: Column) -> Words:
    found = cells.words(column.name)
    if column.needed:
        cells.needed(found)
    if column.choices:
        return cells.known(found, column.choices, Reason.UNKNOWN_WORD)
    if column.name not in OF_THE_SHEET.get(kind, ()):
        return found
    sheet = cells.sheet
    if column.name == "spindle":
        return cells.spindle(found)
    every = tuple(dict.fromkeys(bore for part in sheet.parts for bore in part.bores))
    known, reason = {
        "bore": (every, Reason.UNKNOWN_BORE),
        "gauge": (sheet.gauge_ids, Reason.UNKNOWN_GAUGE),
        "plane": (tuple(sheet.measuring.planes), Reason.UNKNOWN_PLANE),
        "direction": (tuple(sheet.measuring.directions), Reason.UNKNOWN_DIRECTION),
        "part_number": (tuple(part.number for part in sheet.parts), Reason.UNKNOWN_PART),
    }[column.name]
    return cells.known(found, known, reason)


def _numbers(
    cells: Cells, column: Column, read: NumberColumn, words: Mapping[str, Words], unit: LengthUnit | None
) -> Numbers:
    cells.marks.add(read.refused, Reason.NOT_A_NUMBER)
    values = read.values
    size = column.type is ColumnType.LENGTH
    if size:
        values = _length(cells, column, values, words, unit)
    if column.name == "count":
        whole = np.isnan(values) | ((values >= 0) & (values == np.round(values)))
        cells.marks.add(~whole, Reason.NOT_A_NUMBER)
    if column.needed:
        measured = size or column.name == "value"
        cells.marks.add(np.isnan(values), Reason.NOT_MEASURED if measured else Reason.MISSING_FIELD)
    return values


def _length(
    cells: Cells, column: Column, values: Numbers, words: Mapping[str, Words], unit: LengthUnit | None
) -> Numbers:
    """Return lengths in the unit that ends the column's name."""
    gauge = words.get("gauge", no_words(len(values))).filled(cells.sheet.measuring.gauge)
    if cells.layout.sizes and base_name(column.name) == "diameter":
        drawing = words.get("part_number", no_words(len(values)))
        return _deviation(cells, cells.layout.sizes[0], values, gauge, unit, drawing)
    own = LengthUnit(column.name[column.name.rfind("_") + 1 :])
    given = cells.layout.unit[column.name]
    values = np.where(values == 0.0, np.nan, values) if own is LengthUnit.MM else values
    if given is own and unit is None:
        return values
    settled = cells.layout.kind is Kind.MATING_PARTS  # a doubted header, settled by a person
    named = unit or given if settled else given or unit
    if named is not None:
        um_per: Numbers | float = UM_PER[named]
    elif "gauge" in words:
        um_per = _gauge_um(cells.sheet, gauge)
    else:
        um_per = UM_PER[cells.sheet.cell.length_unit]
    found: Numbers = np.round(
        values * um_per / UM_PER[own], DECIMALS if own is LengthUnit.UM else DECIMALS + 3
    )
    return found


def _gauge_um(sheet: Sheet, gauge: Words) -> Numbers:
    """Return micrometres in one of the unit of each row's gauge; the cell's where it reads deviations."""
    known = sheet.gauge_ids
    units = [sheet.gauge(one).unit for one in known]
    if sheet.measuring.reads == "deviation":
        units[0] = sheet.cell.length_unit
    which = np.maximum(gauge.find(known).codes, 0)
    found: Numbers = np.array([UM_PER[unit] for unit in units])[which]
    return found


def _deviation(
    cells: Cells, size: SizeColumn, values: Numbers, gauge: Words, unit: LengthUnit | None, drawing: Words
) -> Numbers:
    """Return sizes as micrometres from the nominal of their drawing, the first part's where none is named."""
    targets = Targets.of(cells.sheet, drawing)
    column = size if unit is None else forced(size, unit, values, targets)
    scale = Scale.of(cells.sheet, column, gauge)
    values = np.where((values == 0.0) & ~scale.deviation, np.nan, values)
    return scale.um(values, targets.nominal_um)


def _whole_events(cells: Cells, words: Mapping[str, Words], found: Mapping[str, NDArray[Any]]) -> None:
    """Set aside events that lack what they are about."""
    size = len(cells.table)
    event = words["event"].codes
    for code, kind in enumerate(EventKind):
        here = event == code
        lacks = words[PER_EVENT[kind]].empty.copy()
        need = NEEDS.get(kind)
        if need is not None and need in words:
            lacks |= words[need].empty
        elif need is not None:
            lacks |= np.isnan(found.get(need, np.full(size, np.nan)))
        cells.marks.add(here & lacks, Reason.MISSING_FIELD)


def _repeats(
    cells: Cells, batch: type[Batch], words: Mapping[str, Words], found: Mapping[str, NDArray[Any]]
) -> Flags:
    """Tell the rows that say again what an earlier one says; set aside those that say otherwise."""
    good = np.flatnonzero(cells.marks.good)
    coded = {name: (column.codes[good], len(column.told)) for name, column in words.items()}
    for name, values in found.items():
        codes, distinct = pd.factorize(values[good].view(np.int64))
        coded[name] = (codes, len(distinct))
    key, count = groups_of([coded[name] for name in batch.key() if name in coded], len(good))
    whole, _ = groups_of(list(coded.values()), len(good))
    first = np.zeros(count, dtype=np.int64)
    first[key[::-1]] = np.arange(len(good))[::-1]
    again = first[key] != np.arange(len(good))
    same = whole == whole[first[key]]
    wrong = np.zeros(len(cells.table), dtype=bool)
    wrong[good] = again & ~same
    cells.marks.add(wrong, Reason.CONTRADICTS)
    repeated = np.zeros(len(cells.table), dtype=bool)
    repeated[good] = again & same
    return repeated
