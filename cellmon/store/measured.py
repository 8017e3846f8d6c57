"""Measured thickness of stones, a block for each set: years of rounds are read at once, and set by set."""

from __future__ import annotations

from collections.abc import Collection
from itertools import pairwise

from sqlalchemy import Connection, delete, select

from cellmon.records import Kind, StoneMeasurements
from cellmon.store import bulk, schema
from cellmon.store.blocks import edges_of
from cellmon.store.chunks import decode, encode_each


class MeasuredSets:
    """The part of a session that keeps what was measured of each set together."""

    conn: Connection

    def measured_sets(self) -> dict[str, StoneMeasurements]:
        """Return the rows of every set that was measured, in order of time; sets by their name."""
        table = schema.MEASURED_SETS
        rows = self.conn.execute(select(table.c.stone_set, table.c.data).order_by(table.c.stone_set))
        return {name: StoneMeasurements(**decode(data)) for name, data in rows}

    def keep_measured(self, names: Collection[str] | None = None) -> None:
        """Put the rows of some sets together anew, or of all: to be called where rows were added."""
        keep_measured(self.conn, names)


def keep_measured(conn: Connection, names: Collection[str] | None = None) -> None:
    """Put the rows of some sets together anew, or of all."""
    table, kept = schema.ROWS[Kind.STONE_MEASUREMENTS], schema.MEASURED_SETS
    declared = StoneMeasurements.columns()
    query = select(*bulk.declared_columns(table, declared))
    gone = delete(kept)
    if names is not None:
        query = query.where(table.c.stone_set.in_(sorted(names)))
        gone = gone.where(kept.c.stone_set.in_(sorted(names)))
    conn.execute(gone)
    rows = bulk.fetch(conn, query.order_by(table.c.stone_set, table.c.at, table.c.row_key), declared)
    edges = edges_of(rows["stone_set"])
    columns = {
        "stone_set": [rows["stone_set"][begin] for begin, _ in pairwise(edges)],
        "data": list(encode_each(rows, edges)),
    }
    bulk.insert(conn, kept, columns)
