"""Some days of one archived cell: their bores and the subgroups cut from them, packed for the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.intake.archive import CellArchive, read_day, read_logged
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.subgroups import Cut, count_streams, cut_subgroups
from cellmon.monitor.rules import Rules
from cellmon.records import Batch, Kind, Stream
from cellmon.store.chunks import decode, encode

DAYS_AT_ONCE = 7
"""Days that one task reads: enough that a task is worth its errand, few enough to be lost cheaply."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Days:
    """Bores and their subgroups, as blocks of columns: a tenth of their size as objects.

    `together` are the subgroups of means and distances, `counts` the charted bores and the subgroups of
    each stream in each unit of judging.
    """

    bores: bytes
    alone: bytes
    together: bytes
    counts: dict[tuple[np.datetime64, Stream], tuple[int, int]]


def rules_of(cell: CellArchive) -> Rules:
    """Return the sheets of an archived cell, each from when it judges."""
    return Rules.of([(one.version, one.since, one.sheet) for one in cell.sheets])


def runs_of_days(cell: CellArchive) -> list[tuple[str, ...]]:
    """Return the days of a cell as the runs that are read at once, oldest first."""
    days = sorted(cell.days)
    return [tuple(days[i : i + DAYS_AT_ONCE]) for i in range(0, len(days), DAYS_AT_ONCE)]


def study_days(cell: CellArchive, days: Sequence[str]) -> Days:
    """Read some days of a cell and cut their subgroups; the same days give the same bytes anywhere."""
    rules, events = rules_of(cell), read_logged(cell, Kind.EVENTS)
    bores = Bores.concat([read_day(cell, day) for day in days])
    context = Context(events=events, suspect=(), corrections={})
    cut: list[Cut] = []
    counts: dict[tuple[np.datetime64, Stream], tuple[int, int]] = {}
    for version in rules.versions:
        mine = bores.select((bores.unit_start >= version.since) & (bores.unit_start < version.until))
        if not len(mine):
            continue
        units = rules.units(mine.unit_start)
        cut.append(cut_subgroups(mine, version.sheet, context, newest=cell.newest, units=units))
        counts |= count_streams(mine, cut[-1].alone, version.sheet)
    return Days(
        bores=_packed(bores),
        alone=_packed(Subgroups.concat([one.alone for one in cut])),
        together=_packed(Subgroups.concat([one.together for one in cut])),
        counts=counts,
    )


def bores_of(days: Days) -> Bores:
    """Return the bores of some days as they were archived."""
    columns = decode(days.bores)
    return Bores(planes=(), directions=(), um=np.zeros((len(columns["flags"]), 0, 0)), **columns)


def cut_of(days: Days) -> Cut:
    """Return the subgroups of some days."""
    alone, together = (Subgroups(**decode(packed)) for packed in (days.alone, days.together))
    return Cut(every=Subgroups.concat([alone, together]), many_alone=len(alone))


def _packed(batch: Batch) -> bytes:
    return encode({name: values for name, values in batch.arrays() if name != "um"})
