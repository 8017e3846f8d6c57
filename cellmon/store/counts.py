"""How many bores and subgroups each stream has in each unit of judging."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, func, select

from cellmon.judged import STREAM_COLUMNS
from cellmon.records import Stream, Texts, Times, Whole
from cellmon.store import bulk, schema


@dataclass(frozen=True, kw_only=True)
class UnitStored:
    """A unit of judging as it is stored: it begins, its last moment, and the bytes of its bores."""

    start: np.datetime64
    end: np.datetime64
    size: int


Position = tuple[str, str | None, str | None]
"""Part number as its streams carry it, spindle, bore."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MadeAtPosition:
    """Charted bores of one position, one entry a unit of judging, the newest first."""

    start: Times
    bores: Whole


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

    def counts(self, stream: Stream | None = None) -> dict[Stream, tuple[int, int]]:
        """Return how many bores and subgroups each stream has, or one: an index leads to it."""
        table = schema.COUNTS
        columns = [table.c[name] for name in STREAM_COLUMNS]
        query = select(*columns, func.sum(table.c.bores), func.sum(table.c.subgroups)).group_by(*columns)
        for column in columns if stream is not None else ():
            query = query.where(column == getattr(stream, column.name))
        return {
            Stream(**dict(zip(STREAM_COLUMNS, row[:6], strict=True))): (int(row[6]), int(row[7]))
            for row in self.conn.execute(query)
        }

    def bores_by_unit(self, *, start: np.datetime64 | None = None) -> MadeBySpindles:
        """Return how many charted bores each spindle made in each unit, at positions with a subgroup.

        With `start` of units begun from then on.
        """
        table = schema.COUNTS
        query = select(table.c.unit_start, table.c.spindle, func.sum(table.c.bores)).where(_of_bores())
        if start is not None:
            query = query.where(table.c.unit_start >= bulk.moment(start))
        rows = self.conn.execute(query.group_by(table.c.unit_start, table.c.spindle)).fetchall()
        return MadeBySpindles(
            start=bulk.moments([row[0] for row in rows]),
            spindle=np.array([row[1] or "" for row in rows], dtype=object),
            bores=np.array([row[2] for row in rows], dtype=np.int64),
        )

    def made_between(self, spindle: str, after: np.datetime64, before: np.datetime64) -> bool:
        """Return whether a spindle has charted bores in a unit begun between two moments, not at them.

        A spindle that is not known is an empty text.
        """
        table = schema.COUNTS
        of = table.c.spindle == spindle if spindle else table.c.spindle.is_(None)
        within = (table.c.unit_start > bulk.moment(after)) & (table.c.unit_start < bulk.moment(before))
        query = select(table.c.unit_start).where(_of_bores(), of, within, table.c.bores > 0).limit(1)
        return self.conn.execute(query).scalar() is not None

    def made_at_positions(
        self, *, start: np.datetime64, end: np.datetime64
    ) -> dict[Position, MadeAtPosition]:
        """Return how many charted bores each position has in each unit begun in [start, end].

        A unit in which a position has no whole subgroup is left out.
        """
        table = schema.COUNTS
        group = (table.c.unit_start, table.c.part_number, table.c.spindle, table.c.bore)
        query = select(*group, func.max(table.c.bores)).where(
            table.c.part_of == "itself",
            table.c.bore.is_not(None),
            table.c.unit_start.between(bulk.moment(start), bulk.moment(end)),
        )
        found: dict[Position, list[tuple[int, int]]] = {}
        rows = self.conn.execute(query.group_by(*group).order_by(table.c.unit_start.desc())).fetchall()
        for at, number, spindle, bore, bores in rows:
            found.setdefault((number, spindle, bore), []).append((at, bores))
        return {
            position: MadeAtPosition(
                start=bulk.moments([at for at, _ in made]),
                bores=np.array([bores for _, bores in made], dtype=np.int64),
            )
            for position, made in found.items()
        }

    def first_unit(self) -> np.datetime64 | None:
        """Return the start of the oldest unit with a subgroup."""
        found = self.conn.execute(select(func.min(schema.COUNTS.c.unit_start))).scalar()
        return None if found is None else bulk.moments([found])[0]

    def units_since(self, start: np.datetime64, *, until: np.datetime64 | None = None) -> list[UnitStored]:
        """Return the units that began at a moment or later, and no later than another, the oldest first."""
        table = schema.BORES
        query = select(table.c.unit_start, table.c.last_at, func.length(table.c.data))
        query = query.where(table.c.unit_start >= bulk.moment(start)).order_by(table.c.unit_start)
        if until is not None:
            query = query.where(table.c.unit_start <= bulk.moment(until))
        return _units(self.conn.execute(query))

    def units_holding(self, start: np.datetime64, end: np.datetime64) -> list[UnitStored]:
        """Return the units that may hold bores measured between two moments, the oldest first."""
        table = schema.BORES
        query = select(table.c.unit_start, table.c.last_at, func.length(table.c.data))
        # units do not overlap: that which holds the first moment began last of those begun by then
        holds = select(func.max(table.c.unit_start)).where(table.c.unit_start <= bulk.moment(start))
        begun = func.coalesce(holds.scalar_subquery(), bulk.moment(start))
        within = (table.c.unit_start >= begun, table.c.unit_start <= bulk.moment(end))
        return _units(self.conn.execute(query.where(*within).order_by(table.c.unit_start)))

    def stamp_of_units(self) -> tuple[int, int]:
        """Return how many units there are, and the sum of their moments: others where units come or go."""
        table = schema.BORES
        query = select(func.count(), func.sum(table.c.unit_start / 1_000_000)).select_from(table)
        count, moments = self.conn.execute(query).one()
        return int(count), int(moments or 0)

    def size_of_units(self, *, before: np.datetime64) -> tuple[int, ...]:
        """Return how many units began before a moment, and the sums of their moments and of their bytes.

        A bore that comes late into one of them makes its bytes more.
        """
        table = schema.BORES
        last = table.c.last_at / 1_000_000
        sums = (func.count(), func.sum(last), func.sum(func.length(table.c.data)))
        found = self.conn.execute(select(*sums).where(table.c.unit_start < bulk.moment(before))).one()
        return tuple(int(one or 0) for one in found)

    def measured_upto(self) -> tuple[int, int]:
        """Return the numbers of the readings and traces added last, 0 where there are none."""
        ids = (schema.READINGS.c.id, schema.TRACE_BLOCKS.c.id)
        found = [self.conn.execute(select(func.max(one))).scalar() for one in ids]
        return int(found[0] or 0), int(found[1] or 0)

    def oldest_measured(self, *, after: tuple[int, int]) -> np.datetime64 | None:
        """Return the earliest moment of what was measured of bores and added after those numbers.

        A trace without a moment may be of any time.
        """
        readings, traces = schema.READINGS, schema.TRACE_BLOCKS
        added = (
            select(func.min(readings.c.first_at + 0)).where(
                readings.c.id > after[0]
            ),  # + 0: not by its index
            select(func.min(func.coalesce(traces.c.at, 0))).where(traces.c.id > after[1]),
        )
        found = [at for query in added if (at := self.conn.execute(query).scalar()) is not None]
        return np.datetime64(int(min(found)), "us") if found else None


def _of_bores() -> Any:
    """Return what the rows of one feature of single bores have in common: each bore counts once."""
    table = schema.COUNTS
    return (table.c.feature == "diameter") & (table.c.part_of == "itself") & table.c.bore.is_not(None)


def _units(rows: Iterable[Any]) -> list[UnitStored]:
    return [
        UnitStored(start=np.datetime64(row[0], "us"), end=np.datetime64(row[1], "us"), size=int(row[2]))
        for row in rows
    ]
