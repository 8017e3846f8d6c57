"""How many bores and subgroups each stream has in each unit of judging."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, func, select

from cellmon.judged import STREAM_COLUMNS
from cellmon.records import Stream, Texts, Times, Whole
from cellmon.store import bulk, schema


@dataclass(frozen=True, kw_only=True)
class MadeInUnit:
    """Charted bores of one part that one spindle made in one unit of judging, and the unit's last moment."""

    start: np.datetime64
    end: np.datetime64
    spindle: str
    part_number: str
    bores: int


@dataclass(frozen=True, kw_only=True)
class MadeAtPosition:
    """Charted bores of one position in one unit of judging; the part number as its streams carry it."""

    start: np.datetime64
    part_number: str
    spindle: str | None
    bore: str
    bores: int


@dataclass(frozen=True, kw_only=True, eq=False)
class MadeBySpindles:
    """Charted bores, one entry a unit or shift and spindle; a spindle that is not known is an empty text."""

    start: Times
    spindle: Texts
    bores: Whole


class Counts:
    """The counts of a session."""

    conn: Connection

    def add_counts(self, counts: Mapping[tuple[np.datetime64, Stream], tuple[int, int]]) -> None:
        """Keep how many bores and subgroups each stream has in each unit."""
        columns: dict[str, list[Any]] = {
            "unit_start": [bulk.moment(unit) for unit, _ in counts],
            **{name: [getattr(s, name) for _, s in counts] for name in STREAM_COLUMNS},
            "bores": [bores for bores, _ in counts.values()],
            "subgroups": [subgroups for _, subgroups in counts.values()],
        }
        bulk.insert(self.conn, schema.COUNTS, columns)

    def counts(self) -> dict[Stream, tuple[int, int]]:
        """Return how many bores and subgroups each stream has."""
        table = schema.COUNTS
        columns = [table.c[name] for name in STREAM_COLUMNS]
        query = select(*columns, func.sum(table.c.bores), func.sum(table.c.subgroups)).group_by(*columns)
        return {
            Stream(**dict(zip(STREAM_COLUMNS, row[:6], strict=True))): (int(row[6]), int(row[7]))
            for row in self.conn.execute(query)
        }

    def bores_by_unit(self) -> MadeBySpindles:
        """Return how many charted bores each spindle made in each unit, at positions with a subgroup."""
        table = schema.COUNTS
        of_bores = (table.c.feature == "diameter") & (table.c.part_of == "itself") & table.c.bore.is_not(None)
        query = select(table.c.unit_start, table.c.spindle, func.sum(table.c.bores)).where(of_bores)
        rows = self.conn.execute(query.group_by(table.c.unit_start, table.c.spindle)).fetchall()
        return MadeBySpindles(
            start=bulk.moments([row[0] for row in rows]),
            spindle=np.array([row[1] or "" for row in rows], dtype=object),
            bores=np.array([row[2] for row in rows], dtype=np.int64),
        )

    def made_at_positions(self, *, start: np.datetime64, end: np.datetime64) -> list[MadeAtPosition]:
        """Return how many charted bores each position has in each unit begun in [start, end], newest first.

        A unit in which a position has no whole subgroup is left out.
        """
        table = schema.COUNTS
        group = (table.c.unit_start, table.c.part_number, table.c.spindle, table.c.bore)
        query = select(*group, func.max(table.c.bores)).where(
            table.c.part_of == "itself",
            table.c.bore.is_not(None),
            table.c.unit_start.between(bulk.moment(start), bulk.moment(end)),
        )
        rows = list(self.conn.execute(query.group_by(*group).order_by(table.c.unit_start.desc())))
        starts = bulk.moments([row[0] for row in rows])
        return [
            MadeAtPosition(
                start=starts[i], part_number=row[1], spindle=row[2], bore=row[3], bores=int(row[4])
            )
            for i, row in enumerate(rows)
        ]

    def first_unit(self) -> np.datetime64 | None:
        """Return the start of the oldest unit with a subgroup."""
        found = self.conn.execute(select(func.min(schema.COUNTS.c.unit_start))).scalar()
        return None if found is None else bulk.moments([found])[0]

    def made_by_unit(self) -> list[MadeInUnit]:
        """Return how many charted bores of each part every spindle made in each unit, oldest first."""
        table, bores = schema.COUNTS, schema.BORES
        of_bores = (table.c.feature == "diameter") & (table.c.part_of == "itself") & table.c.bore.is_not(None)
        group = (table.c.unit_start, bores.c.last_at, table.c.spindle, table.c.part_number)
        joined = table.join(bores, table.c.unit_start == bores.c.unit_start)
        query = select(*group, func.sum(table.c.bores)).select_from(joined).where(of_bores)
        rows = list(self.conn.execute(query.group_by(*group).order_by(table.c.unit_start)))
        starts, ends = bulk.moments([row[0] for row in rows]), bulk.moments([row[1] for row in rows])
        return [
            MadeInUnit(
                start=starts[i], end=ends[i], spindle=row[2] or "", part_number=row[3], bores=int(row[4])
            )
            for i, row in enumerate(rows)
        ]
