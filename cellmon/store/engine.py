"""Opening the store: SQLite in a file (WAL, FULL) or PostgreSQL by its URL."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from cellmon.errors import StoreRefused
from cellmon.store.migrations import MIGRATIONS, current_version, migrate
from cellmon.store.session import Session

WAIT_S = 60
PASSWORD = re.compile(r":(?!//).*@")
LOCK = 0x63656C6C  # one advisory lock of a PostgreSQL database: one writer at a time


class Store:
    """A cell's store; sessions read, or write in one transaction each."""

    def __init__(self, url: str, *, folder: Path, at: int) -> None:
        self.engine = _engine(url, folder)
        try:
            self._bring_up_to_date(at=at)
        except StoreRefused:
            self.close()
            raise

    def _bring_up_to_date(self, *, at: int) -> None:
        with self._refusing(), self.engine.connect() as conn:
            version = current_version(conn)
        if version != len(MIGRATIONS):
            with self.writing() as session:
                migrate(session.conn, at=at)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Yield a session that sees one state of the store."""
        with self._refusing(), self.engine.connect() as conn:
            if conn.dialect.name == "sqlite":
                conn.exec_driver_sql("BEGIN")
            else:
                conn.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            yield Session(conn)

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Yield a session whose work is committed whole at the end, or not at all."""
        with self._refusing(), self.engine.connect() as conn:
            if conn.dialect.name == "sqlite":
                conn.exec_driver_sql("BEGIN IMMEDIATE")
            else:
                conn.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": LOCK})
            yield Session(conn)
            conn.commit()

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    @contextmanager
    def _refusing(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as failed:
            said = str(failed.orig).strip().splitlines()[0]
            raise StoreRefused(f"the store {self.engine.url.render_as_string()} failed: {said}") from failed


def _engine(url: str, folder: Path) -> Engine:
    try:
        address = make_url(url)
        options: dict[str, Any] = {}
        if address.get_backend_name() == "sqlite":
            if address.database in (None, "", ":memory:"):
                raise ArgumentError("it names no file, so nothing would be kept")
            address = address.set(database=str((folder / str(address.database)).resolve()))
            options["connect_args"] = {"timeout": WAIT_S}
        engine = create_engine(address, **options)
    except (ArgumentError, NoSuchModuleError, ImportError, ValueError) as unusable:
        shown = PASSWORD.sub(":***@", url)
        raise StoreRefused(f"the store URL {shown!r} cannot be used: {unusable}") from unusable
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _settle_sqlite)
    return engine


def _settle_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are begun by us, not by the driver
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "cache_size=-65536"):
        connection.execute(f"PRAGMA {pragma}").close()
