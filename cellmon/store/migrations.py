"""Schema changes: numbered functions, each run once, in one transaction with the record that it ran."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, func, inspect, select

from cellmon.errors import StoreRefused
from cellmon.records import Kind
from cellmon.store import schema


def _first_tables(conn: Connection) -> None:
    schema.METADATA.create_all(conn)


def _derived_anew(conn: Connection) -> None:
    """Throw away what was derived, which has other columns now; the monitor derives it again."""
    known = inspect(conn)
    for name in ("episodes", *(table.name for table in schema.DERIVED)):
        if known.has_table(name):
            conn.exec_driver_sql(f"DROP TABLE {name}")
    schema.METADATA.create_all(conn)


def _found_by_part(conn: Connection) -> None:
    """Make rows of other instruments found by the serial of their block, however many there are."""
    for table in schema.ROWS.values():
        for index in table.indexes:
            index.create(conn, checkfirst=True)


def _signals_told(conn: Connection) -> None:
    """Make room for signals as they were put together; the next judging fills it."""
    schema.METADATA.create_all(conn)


def _stock_in_words(conn: Connection) -> None:
    """Make room for what a stock movement was and until when its sets may be used."""
    table = schema.ROWS[Kind.STOCK]
    there = {column["name"] for column in inspect(conn).get_columns(table.name)}
    for name in ("movement", "use_by"):
        if name not in there:
            type_ = table.c[name].type.compile(dialect=conn.dialect)
            conn.exec_driver_sql(f"ALTER TABLE {table.name} ADD COLUMN {name} {type_}")


MIGRATIONS: tuple[Callable[[Connection], None], ...] = (
    _first_tables,
    _derived_anew,
    _derived_anew,
    _found_by_part,
    _signals_told,
    _stock_in_words,
)


def migrate(conn: Connection, *, at: int) -> int:
    """Bring the schema up to date and return its version.

    Parameters
    ----------
    conn : Connection
        Inside a transaction that the caller commits.
    at : int
        The moment, microseconds since 1970 UTC, that is kept beside each migration.

    Raises
    ------
    StoreRefused
        When the store was written by a newer program.
    """
    version = current_version(conn)
    if version > len(MIGRATIONS):
        raise StoreRefused(f"the store has schema {version}, this program knows {len(MIGRATIONS)}")
    for number in range(version + 1, len(MIGRATIONS) + 1):
        MIGRATIONS[number - 1](conn)
        conn.execute(schema.SCHEMA_VERSION.insert().values(version=number, at=at))
    return len(MIGRATIONS)


def current_version(conn: Connection) -> int:
    """Return the number of the last migration that ran, 0 for an empty store."""
    if not inspect(conn).has_table(schema.SCHEMA_VERSION.name):
        return 0
    return conn.execute(select(func.max(schema.SCHEMA_VERSION.c.version))).scalar() or 0
