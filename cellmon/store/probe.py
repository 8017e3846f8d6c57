"""Which stored rows concern the same bores as a batch: a join, so that history's length does not count."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Column, Connection, MetaData, Table, Text, select, tuple_

from cellmon.judged import Bores
from cellmon.records import Readings
from cellmon.store import bulk

PROBE = Table(
    "probe",
    MetaData(),
    Column("part", Text, nullable=False),
    Column("bore", Text, nullable=False),
    prefixes=["TEMPORARY"],
)


@contextmanager
def same_bores(conn: Connection, batch: Readings | Bores, table: Table) -> Iterator[Any]:
    """Yield a condition that holds for the rows of a table that are of any bore of the batch."""
    pairs = sorted(set(zip(batch.part.tolist(), batch.bore.tolist(), strict=True)))
    parts, bores = zip(*pairs, strict=True)
    PROBE.create(conn, checkfirst=False)
    bulk.insert(conn, PROBE, {"part": parts, "bore": bores})
    yield tuple_(table.c.part, table.c.bore).in_(select(PROBE.c.part, PROBE.c.bore))
    PROBE.drop(conn, checkfirst=False)
