"""A whole store counted and copied: for a backup, and to move a cell to another database."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, func, select

from cellmon.errors import StoreRefused
from cellmon.store import bulk, schema
from cellmon.store.session import Session
from cellmon.words import say, to_say

OF_THE_STORE = (schema.SCHEMA_VERSION, schema.MOVED)
TABLES: tuple[Table, ...] = tuple(t for t in schema.METADATA.sorted_tables if t not in OF_THE_STORE)
"""What a cell is, in an order in which every row finds what it refers to."""
ROWS_AT_ONCE = 500
WHOLE = 1 << 256


@dataclass(frozen=True, kw_only=True)
class Tally:
    """What a table holds.

    Attributes
    ----------
    table : str
        Its name.
    rows : int
        How many rows.
    sha256 : str
        The SHA-256 of each row, added up modulo 2^256: it does not depend on the order of the rows.
    """

    table: str
    rows: int
    sha256: str


def tallies(session: Session) -> tuple[Tally, ...]:
    """Count and hash every table as one session sees it."""
    return tuple(_tally(session.conn, table) for table in TABLES)


def copy_into(
    session: Session, into: Session, *, progress: Callable[[str], None] | None = None
) -> tuple[Tally, ...]:
    """Copy every row into an empty store, in that store's one transaction, and return what both hold.

    A store that holds just what is to be copied was filled by a move that was cut short; it serves.

    Raises
    ------
    StoreRefused
        When the other store holds anything else, or does not hold afterwards what was copied.
    """
    before, there = tallies(session), tallies(into)
    if there == before:
        return there
    held = [t.table for t in there if t.rows]
    if held:
        text = to_say("the other store is not empty ({tables}); name an empty one")
        raise StoreRefused(say(text, tables=", ".join(held[:3])))
    for table in TABLES:
        if progress is not None:
            progress(say("copying {table}", table=table.name))
        names = [c.name for c in table.columns]
        for rows in _rows(session.conn, table):
            bulk.insert(into.conn, table, dict(zip(names, map(list, zip(*rows, strict=True)), strict=True)))
        _count_on(into.conn, table)
    after = tallies(into)
    differing = [a.table for a, b in zip(before, after, strict=True) if a != b]
    if differing:
        text = to_say("the copy differs in {tables}; nothing was kept of it")
        raise StoreRefused(say(text, tables=", ".join(differing)))
    return after


def leave(session: Session, *, to: str, at: int) -> None:
    """Write down where the cell went: from now on this store refuses to be read or written."""
    session.conn.execute(schema.MOVED.insert().values(at=at, to=to))


def _rows(conn: Connection, table: Table) -> Iterator[Sequence[Sequence[Any]]]:
    found = conn.execute(select(table), execution_options={"yield_per": ROWS_AT_ONCE})
    yield from found.partitions()


def _tally(conn: Connection, table: Table) -> Tally:
    count, total = 0, 0
    for rows in _rows(conn, table):
        count += len(rows)
        for row in rows:
            total += int.from_bytes(_digest(row))
    return Tally(table=table.name, rows=count, sha256=f"{total % WHOLE:064x}")


def _digest(row: Sequence[Any]) -> bytes:
    cells = [
        hashlib.sha256(cell).hexdigest() if isinstance(cell, bytes | memoryview) else cell for cell in row
    ]
    return hashlib.sha256(json.dumps(cells).encode()).digest()


def _count_on(conn: Connection, table: Table) -> None:
    """Let PostgreSQL number new rows after those copied; SQLite does so by itself."""
    if conn.dialect.name != "postgresql" or table.autoincrement_column is None:
        return
    column = table.autoincrement_column
    newest = conn.execute(select(func.max(column))).scalar()
    sequence = conn.execute(select(func.pg_get_serial_sequence(table.name, column.name))).scalar()
    if newest is not None and sequence is not None:
        conn.execute(select(func.setval(sequence, newest)))
