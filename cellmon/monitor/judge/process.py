"""What is watched beside the bores: figures of a spindle, temperatures, and the offsets it was given.

With feedback on, size stays where it is and the offsets tell what the process does; so they are summed
over blocks of 100 bores, each of five twenties whose scatter says how even they come.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.charts.subgroups import cut, statistics
from cellmon.judged import OF_ALL, OF_SPINDLE, OFFSETS, Bores, Subgroups
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.inputs import CHANGES
from cellmon.monitor.judge.made_of import from_bores
from cellmon.monitor.judge.together import Rows, of_all, of_spindles
from cellmon.monitor.rules import Unit
from cellmon.records import EventKind, Events, Flags, Numbers, Times, Whole
from cellmon.sheet import Part, Sheet

BLOCK = 100
"""Bores over which offsets are summed."""
TWENTY = 20
"""Bores of a piece of a block."""
PIECES = BLOCK // TWENTY
SETTLING = np.timedelta64(2, "h")
"""So long after stones were fitted or the set-up was changed offsets bring the spindle to size."""
LEAST_PIECES = 3
"""So many whole twenties at the end of a unit are a block still; of fewer nothing is told."""
LEAST_BORES = LEAST_PIECES * TWENTY


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Rows of one kind of stream, and each figure that any of them has."""

    rows: Rows
    figures: Mapping[str, Numbers]


def evidence(bores: Bores, segment: Whole, over: Flags, part: Part, sheet: Sheet) -> Iterator[Evidence]:
    """Yield what machine and gauge wrote beside one part's charted bores, which come in making order.

    A block has the mean of those of its bores that have the figure: half the rows may be empty.
    """
    for names, every in ((OF_SPINDLE, of_spindles), (OF_ALL, of_all)):
        known = [name for name in names if np.isfinite(getattr(bores, name)).any()]
        for rows in every(bores, segment, over, part, sheet) if known else ():
            figures = {name: _mean_of_known(getattr(bores, name)[rows.members]) for name in known}
            told = {name: values for name, values in figures.items() if np.isfinite(values).any()}
            if told:
                yield Evidence(rows=rows, figures=told)


def _mean_of_known(values: Numbers) -> Numbers:
    """Return the mean of each row's figures that are known; nan where none is."""
    known = np.isfinite(values)
    count = known.sum(axis=1)
    total: Numbers = np.where(known, values, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def offsets_given(
    bores: Bores, over: Flags, sheet: Sheet, context: Context, *, units: Sequence[Unit]
) -> list[Subgroups]:
    """Return the offsets given to each spindle per 100 bores, of bores in making order.

    Blocks begin anew in each unit. They are told from the first offset on that was ever logged of the
    spindle: it shows that offsets are logged, and does not count itself. An offset counts with the
    first bore of its own unit that was honed after it, or the last one; where a unit has no bore of the
    spindle, its offsets count nowhere. Nor do those that bring other stones to size (`SETTLING`).

    Parameters
    ----------
    bores : Bores
        All that were charted in whole units, of every part.
    over : array of bool, shape (bores,)
        Whether the bore's unit is over, so that a remainder counts.
    units : sequence of Unit
        Those units, in order of time.
    """
    found = []
    for spindle in sheet.spindle_ids:
        events = context.of_kind(spindle, EventKind.FEED_OFFSET)
        mine = np.flatnonzero(bores.spindle == spindle)
        if not len(events) or not len(mine):
            continue
        of_spindle, ended = bores.select(mine), over[mine]
        when = _running(of_spindle)
        told = when >= events.at[0]
        counted = _counted(events, context.of_kind(spindle, *CHANGES).at)
        given = _given(of_spindle, when, counted, units)
        for part in sheet.parts:
            rows = np.flatnonzero(told & (of_spindle.part_number == part.number))
            if len(rows):
                found.append(_blocks(of_spindle.select(rows), given[rows], ended[rows]))
    return found


def _counted(events: Events, changes: Times) -> Events:
    """Leave out the first offset of all, and those that bring other stones or another set-up to size."""
    before = np.searchsorted(changes, events.at, side="right") - 1
    settling = np.zeros(len(events), dtype=bool)
    known = before >= 0
    settling[known] = events.at[known] - changes[before[known]] <= SETTLING
    settling[0] = True
    return events.select(~settling)


def _running(bores: Bores) -> Times:
    """Return when each bore was honed, or the latest one made before it in its unit."""
    when: Times = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    for run in _runs(bores.unit_start):
        when[run] = np.maximum.accumulate(when[run])
    return when


def _runs(values: Times) -> Iterator[slice]:
    """Yield each run of equal values."""
    ends = (np.flatnonzero(values[1:] != values[:-1]) + 1).tolist()
    for first, last in zip([0, *ends], [*ends, len(values)], strict=True):
        yield slice(first, last)


def _given(bores: Bores, when: Times, events: Events, units: Sequence[Unit]) -> Numbers:
    """Return what was given before each bore, micrometres of diameter."""
    found = np.zeros(len(bores))
    ends = {unit.start: unit.end for unit in units}
    for run in _runs(bores.unit_start):
        start = bores.unit_start[run.start]
        mine = events.select(slice(*np.searchsorted(events.at, [start, ends[start]])))
        row = run.start + np.searchsorted(when[run], mine.at)
        np.add.at(found, np.minimum(row, run.stop - 1), np.nan_to_num(mine.value))
    return found


def _blocks(bores: Bores, given: Numbers, over: Flags) -> Subgroups:
    """Cut the bores of one part and spindle into blocks of five twenties."""
    unit = np.unique(bores.unit_start, return_inverse=True)[1].astype(np.int64)
    block = cut(unit, size=BLOCK)
    twenty = cut(block, size=TWENTY)
    begins = np.searchsorted(twenty, np.arange(int(twenty[-1]) + 1))
    whole = np.diff(begins, append=len(twenty)) == TWENTY
    per_block = np.add.reduceat(given, begins)[whole] * PIECES
    begins = begins[whole]
    found = statistics(per_block, block[begins])
    first, last = begins[found.first], begins[found.last] + TWENTY - 1
    kept = (found.n == PIECES) | ((found.n >= LEAST_PIECES) & over[last])
    return from_bores(bores, first[kept], last[kept], found.select(kept), feature=OFFSETS)
