"""Doubts about rows, and what the detectors called."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from sqlalchemy import Connection, select

from cellmon.judged import Alarms, Doubts
from cellmon.records import Flag, Times, no_rows
from cellmon.store import bulk, schema


class Called:
    """The doubts and the calls of a session."""

    conn: Connection

    def add(self, batch: Doubts | Alarms) -> None:
        """Add doubts or signals."""
        bulk.insert(self.conn, schema.UNIT_TABLES[type(batch)], bulk.columns_of(batch))

    def doubts(self, *, id_: str | None = None) -> Doubts:
        """Return doubts, oldest first."""
        table = schema.DOUBTS
        query = select(*bulk.declared_columns(table, Doubts.columns())).order_by(
            table.c.measured_at, table.c.id
        )
        if id_ is not None:
            query = query.where(table.c.id == id_)
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def doubts_of_part(self, part: str, units: Sequence[np.datetime64]) -> Doubts:
        """Return the doubts about one block that arose in some units of judging, oldest first."""
        table = schema.DOUBTS
        query = (
            select(*bulk.declared_columns(table, Doubts.columns()))
            .where(table.c.unit_start.in_([bulk.moment(u) for u in units]), table.c.part == part)
            .order_by(table.c.measured_at, table.c.id)
        )
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def doubts_since(self, flag: Flag, moment: np.datetime64) -> Doubts:
        """Return the doubts of one kind about what was measured from a moment on, oldest first."""
        table = schema.DOUBTS
        query = (
            select(*bulk.declared_columns(table, Doubts.columns()))
            .where(table.c.flag == flag.value, table.c.measured_at >= bulk.moment(moment))
            .order_by(table.c.measured_at, table.c.id)
        )
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def last_doubts(self, flag: Flag, before: np.datetime64, most: int) -> Times:
        """Return when the last rows before a moment that are so doubted were measured, newest first."""
        when = schema.DOUBTS.c.measured_at
        query = select(when).where(schema.DOUBTS.c.flag == flag.value, when < bulk.moment(before))
        return bulk.moments(list(self.conn.execute(query.order_by(when.desc()).limit(most)).scalars()))

    def alarms(self, at: Collection[np.datetime64] | None = None) -> Alarms:
        """Return what the detectors called, in every unit, oldest first; with `at`, at those moments only."""
        table = schema.ALARMS
        query = select(*bulk.declared_columns(table, Alarms.columns()))
        order = (table.c.at, table.c.call, table.c.unit_start)
        if at is None:
            return Alarms(**bulk.fetch(self.conn, query.order_by(*order), Alarms.columns()))
        found, moments = [no_rows(Alarms)], sorted(map(bulk.moment, at))
        for i in range(0, len(moments), 500):
            some = query.where(table.c.at.in_(moments[i : i + 500])).order_by(*order)
            found.append(Alarms(**bulk.fetch(self.conn, some, Alarms.columns())))
        return Alarms.concat(found)

    def called_in(self, first: np.datetime64, last: np.datetime64) -> Times:
        """Return when was called what has a row in the units of judging from one to another."""
        table = schema.ALARMS
        begin, end = bulk.moment(first), bulk.moment(last)
        query = select(table.c.at).where(table.c.unit_start.between(begin, end)).distinct()
        return bulk.moments(sorted(self.conn.execute(query).scalars()))
