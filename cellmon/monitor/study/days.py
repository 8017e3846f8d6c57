"""Some days of one archived cell: their bores and the subgroups cut from them, packed for the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon.intake.archive import CellArchive, read_day, read_events
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.subgroups import cut_alone
from cellmon.monitor.rules import Rules
from cellmon.records import Batch, Events
from cellmon.store.chunks import decode, encode

DAYS_AT_ONCE = 7
"""Days that one task reads: enough that a task is worth its errand, few enough to be lost cheaply."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Days:
    """Charted bores and their subgroups, as blocks of columns: a tenth of their size as objects."""

    bores: bytes
    subgroups: bytes


def rules_of(cell: CellArchive) -> Rules:
    """Return the sheets of an archived cell, each from when it judges."""
    return Rules.of([(one.version, one.since, one.sheet) for one in cell.sheets])


def runs_of_days(cell: CellArchive) -> list[tuple[str, ...]]:
    """Return the days of a cell as the runs that are read at once, oldest first."""
    days = sorted(cell.days)
    return [tuple(days[i : i + DAYS_AT_ONCE]) for i in range(0, len(days), DAYS_AT_ONCE)]


def study_days(cell: CellArchive, days: Sequence[str]) -> Days:
    """Read some days of a cell and cut their subgroups; the same days give the same bytes anywhere."""
    rules, events = rules_of(cell), read_events(cell)
    bores = [read_day(cell, day) for day in days]
    cut = [part for one in bores for part in _cut(one, rules, events, cell.newest)]
    whole = Bores.concat(bores)
    charted = whole.select(whole.charted == 1)
    return Days(bores=_packed(charted), subgroups=_packed(Subgroups.concat(cut)))


def _cut(bores: Bores, rules: Rules, events: Events, newest: np.datetime64) -> list[Subgroups]:
    context = Context(events=events, suspect=(), corrections={})
    cut = []
    for version in rules.versions:
        mine = bores.select((bores.unit_start >= version.since) & (bores.unit_start < version.until))
        units = rules.units(mine.unit_start)
        cut.append(cut_alone(mine, version.sheet, context, newest=newest, units=units))
    return cut


def bores_of(days: Sequence[Days]) -> Bores:
    """Return the charted bores of some days in the order in which they were made."""
    found = [_bores(decode(one.bores)) for one in days]
    bores = Bores.concat(found)
    return bores.select(np.lexsort((bores.position, bores.unit_start)))


def subgroups_of(days: Sequence[Days]) -> Subgroups:
    """Return the subgroups of some days in the order in which they ended."""
    subgroups = Subgroups.concat([Subgroups(**decode(one.subgroups)) for one in days])
    return subgroups.select(np.lexsort((subgroups.first_at, subgroups.at)))


def _bores(columns: dict[str, Any]) -> Bores:
    return Bores(planes=(), directions=(), um=np.zeros((len(columns["flags"]), 0, 0)), **columns)


def _packed(batch: Batch) -> bytes:
    return encode({name: values for name, values in batch.arrays() if name != "um"})
