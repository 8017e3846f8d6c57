"""An empty store of each kind: SQLite in a file, PostgreSQL, and a cell of a plant in PostgreSQL."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import create_engine, text

from cellmon.store import Store, schema

NUMBERS = itertools.count()


@pytest.fixture(params=["sqlite", "postgresql", "plant"])
def kind(request) -> str:
    """Each kind of store in turn."""
    return request.param


@pytest.fixture
def open_store(kind, request, tmp_path) -> Iterator[Callable[[], Store]]:
    """Return a function that opens the same store, made for this test, each time it is called."""
    url = "sqlite:///cell.db"
    if kind != "sqlite":
        url = new_database(request.getfixturevalue("postgres_url"))
    if kind == "plant":
        url += "?cell=line_1"
    opened: list[Store] = []

    def open_() -> Store:
        opened.append(Store(url, folder=tmp_path, at=0))
        return opened[-1]

    yield open_
    for store in opened:
        store.close()


@pytest.fixture
def store(kind, request, tmp_path) -> Iterator[Store]:
    """An empty store of each kind; on PostgreSQL one that was emptied, which is quicker than a new one."""
    if kind != "sqlite":
        yield emptied(request.getfixturevalue("kept_store" if kind == "postgresql" else "kept_cell"))
        return
    store = Store("sqlite:///cell.db", folder=tmp_path, at=0)
    yield store
    store.close()


@pytest.fixture(scope="session")
def kept_store(postgres_url, tmp_path_factory) -> Iterator[Store]:
    """A PostgreSQL store for the whole session."""
    store = Store(new_database(postgres_url), folder=tmp_path_factory.mktemp("kept"), at=0)
    yield store
    store.close()


@pytest.fixture(scope="session")
def kept_cell(postgres_url, tmp_path_factory) -> Iterator[Store]:
    """The store of one cell of a plant, with another cell beside it, for the whole session."""
    plant, folder = new_database(postgres_url), tmp_path_factory.mktemp("kept")
    Store(f"{plant}?cell=line_2", folder=folder, at=0).close()
    store = Store(f"{plant}?cell=line_1", folder=folder, at=0)
    yield store
    store.close()


def emptied(store: Store) -> Store:
    """Empty every table of a store but the record of its schema, and count from 1 again."""
    names = ", ".join(name for name in schema.METADATA.tables if name != schema.SCHEMA_VERSION.name)
    with store.writing() as session:
        session.conn.execute(text(f"TRUNCATE {names} RESTART IDENTITY"))
    return store


def new_database(server: str) -> str:
    """Make a database of its own on a PostgreSQL cluster; return its URL."""
    name = f"store_{next(NUMBERS)}"
    engine = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as conn:
        conn.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return f"{server}/{name}"
