"""Opening the store: SQLite in a file (WAL, FULL) or PostgreSQL by its URL."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from cellmon.errors import NothingKept, PerhapsKept, StoreRefused
from cellmon.store import plant
from cellmon.store.migrations import MIGRATIONS, current_version, migrate
from cellmon.store.schema import MOVED
from cellmon.store.session import Session
from cellmon.store.turns import NotYet, in_line
from cellmon.words import say, to_say

WAIT_S = 300
"""So long a writer waits for those before it: deriving a long history anew takes minutes."""
PASSWORD = re.compile(r":(?!//).*@")
MOVED_TO = select(MOVED.c.to)
LOCK = 0x63656C6C  # one advisory lock of a PostgreSQL database: one writer at a time


class Store:
    """A cell's store; sessions read, or write in one transaction each."""

    def __init__(self, url: str, *, folder: Path, at: int) -> None:
        self.engine = _engine(url, folder)
        self._cell = plant.cell_of(make_url(url))
        self._file: tuple[int, int] | None = None
        self._is_up_to_date = False
        try:
            self._bring_up_to_date(at=at)
        finally:
            if not self._is_up_to_date:
                self.close()
        self._file = self._file_now()

    def _bring_up_to_date(self, *, at: int) -> None:
        with self._refusing(), self.engine.connect() as conn:
            version = current_version(conn)
        if version != len(MIGRATIONS):
            self._migrate(at=at, is_new=version == 0)
        self._is_up_to_date = True

    def _migrate(self, *, at: int, is_new: bool) -> None:
        """Bring the schema up to date; of a cell in a plant apart from those of the others."""
        if self._cell is not None and is_new:
            with self._refusing():
                plant.make_room(self.engine.url, self._cell)
        with self.writing() as session:
            if self._cell is not None:
                plant.leave_partitions(session.conn, self._cell)
            version = migrate(session.conn, at=at)
            if self._cell is not None:
                plant.join_partitions(session.conn, self._cell, version=version)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Yield a session that sees one state of the store."""
        self._see_that_it_is_there()
        with self._refusing(), self.engine.connect() as conn:
            if conn.dialect.name == "sqlite":
                conn.exec_driver_sql("BEGIN")
            else:
                conn.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            if self._is_up_to_date:
                _must_be_here(conn)
            session = Session(conn)
            session.only_reads = True
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Yield a session whose work is committed whole at the end, or not at all.

        Raises
        ------
        NothingKept
            Where the store fails before the commit.
        PerhapsKept
            Where a server does not answer to the commit. A file that cannot take a commit has taken nothing.
        """
        with self._refusing(NothingKept):
            self._see_that_it_is_there()
        with self._refusing(NothingKept), self._line(), self.engine.connect() as conn:
            if conn.dialect.name == "sqlite":
                conn.exec_driver_sql("BEGIN IMMEDIATE")
            elif self._cell is not None:
                plant.hold(conn, self._cell)
            else:
                conn.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": LOCK})
            if self._is_up_to_date:
                _must_be_here(conn)
            yield Session(conn)
            with self._refusing(NothingKept if conn.dialect.name == "sqlite" else PerhapsKept):
                conn.commit()

    def _line(self) -> AbstractContextManager[None]:
        """Return the line in which writers wait; PostgreSQL keeps one of its own."""
        if self.engine.dialect.name != "sqlite":
            return nullcontext()
        return in_line(Path(str(self.engine.url.database)), wait_s=WAIT_S)

    def _see_that_it_is_there(self) -> None:
        """Refuse where the file was taken away; let go of an open one where another lies in its place.

        A file that was moved can still be written through connections that are open, and a connection
        that is opened after that would make an empty one.
        """
        if self._file is None:
            return
        now = self._file_now()
        if now is None:
            raise StoreRefused(say("the store {store} is not there", store=self.name))
        if now != self._file:
            self.engine.dispose()
            self._file = now

    def _file_now(self) -> tuple[int, int] | None:
        """Return what tells the file of the store from another one; None where there is none."""
        if self.engine.dialect.name != "sqlite":
            return None
        try:
            found = Path(str(self.engine.url.database)).stat()
        except OSError:
            return None
        return found.st_dev, found.st_ino

    @property
    def place(self) -> tuple[int, int] | None:
        """What tells its file from another that is put in its place; None where it is none."""
        return self._file

    def before_each_look(self, call: Callable[[], None]) -> None:
        """Have something called before each statement that is sent."""
        event.listen(self.engine, "before_cursor_execute", lambda *_: call())

    @property
    def name(self) -> str:
        """The address, its password hidden."""
        of_cell = {} if self._cell is None else {plant.CELL: self._cell}
        return self.engine.url.update_query_dict(of_cell).render_as_string()

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    def _refusing(self, kind: type[StoreRefused] = StoreRefused) -> AbstractContextManager[None]:
        return _refused_as_of(self.name, kind)


@contextmanager
def _refused_as_of(name: str, kind: type[StoreRefused] = StoreRefused) -> Iterator[None]:
    try:
        yield
    except DBAPIError as failed:
        said = _in_words(str(failed.orig).strip().splitlines()[0])
        raise kind(say("the store {store} failed: {why}", store=name, why=said)) from failed
    except NotYet as waited:
        raise kind(say("the store {store} failed: {why}", store=name, why=_busy())) from waited
    except StoreRefused as refused:
        if type(refused) is StoreRefused and kind is not StoreRefused:
            raise kind(str(refused)) from refused
        raise


def plant_cells(url: str) -> tuple[plant.PlantCell, ...]:
    """Return every cell of a plant, by name; its cells need not be open.

    Raises
    ------
    StoreRefused
        Where the URL names no database that can hold several, or it cannot be reached.
    """
    engine = _engine(url, Path())
    try:
        if engine.dialect.name == "sqlite":
            text = to_say("{store} holds one cell; a plant is a PostgreSQL database")
            raise StoreRefused(say(text, store=url))
        with _refused_as_of(engine.url.render_as_string()):
            return plant.cells_of_plant(engine)
    finally:
        engine.dispose()


def _in_words(said: str) -> str:
    """Return what a driver said, in words of a person where it speaks of its own workings."""
    busy = ("database is locked", "database table is locked", "locking protocol")
    full = ("database or disk is full", "No space left on device")
    if any(one in said for one in full):
        return say("its disk is full; make room there, then try again")
    return _busy() if any(one in said for one in busy) else said


def _busy() -> str:
    return say("another program has been writing into it for {seconds} s; try again", seconds=WAIT_S)


def _must_be_here(conn: Connection) -> None:
    """Refuse a store that its cell has left; a program that runs since before must be started anew."""
    to = conn.execute(MOVED_TO).scalar()
    if to is not None:
        text = to_say(
            "the cell has moved to {store}; start again with the sheet that names it in [store] url"
        )
        raise StoreRefused(say(text, store=to))


def _engine(url: str, folder: Path) -> Engine:
    try:
        address = make_url(url)
        cell = plant.cell_of(address)
        address = plant.without_cell(address)
        options: dict[str, Any] = {}
        if address.get_backend_name() == "sqlite":
            if address.database in (None, "", ":memory:"):
                raise ArgumentError(say("it names no file, so nothing would be kept"))
            address = address.set(database=str((folder / str(address.database)).resolve()))
            options["connect_args"] = {"timeout": WAIT_S}
        else:
            options["pool_pre_ping"] = True  # the server may have been started anew since
            options["connect_args"] = {} if cell is None else plant.search_path(cell)
        engine = create_engine(address, **options)
    except (ArgumentError, NoSuchModuleError, ImportError, ValueError) as unusable:
        shown = PASSWORD.sub(":***@", url)
        text = to_say("the store URL {url} cannot be used: {why}")
        raise StoreRefused(say(text, url=repr(shown), why=unusable)) from unusable
    settle = _settle_sqlite if engine.dialect.name == "sqlite" else _settle_postgresql
    event.listen(engine, "connect", settle)
    return engine


def _settle_postgresql(connection: Any, _record: Any) -> None:
    """Have no statement compiled by the server: that takes seconds, and each is answered in a part of one."""
    before, connection.autocommit = connection.autocommit, True
    with connection.cursor() as cursor:
        cursor.execute("SET jit = off")
    connection.autocommit = before


def _settle_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are begun by us, not by the driver
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "cache_size=-65536"):
        connection.execute(f"PRAGMA {pragma}").close()
