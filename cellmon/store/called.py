"""Doubts about rows, and what the detectors called."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from sqlalchemy import Connection, select

from cellmon.judged import Alarms, Doubts
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

    def alarms(self) -> Alarms:
        """Return what the detectors called, in every unit, oldest first."""
        table = schema.ALARMS
        query = select(*bulk.declared_columns(table, Alarms.columns())).order_by(
            table.c.at, table.c.call, table.c.unit_start
        )
        return Alarms(**bulk.fetch(self.conn, query, Alarms.columns()))
