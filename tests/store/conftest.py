"""An empty store of each kind: SQLite in a file, and PostgreSQL."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from sqlalchemy import create_engine, text

from cellmon.store import Store

NUMBERS = itertools.count()


@pytest.fixture(params=["sqlite", "postgresql"])
def open_store(request, tmp_path) -> Callable[[], Store]:
    """Return a function that opens the same store, empty at first, each time it is called."""
    url = "sqlite:///cell.db" if request.param == "sqlite" else new_database(request)
    opened: list[Store] = []

    def open_() -> Store:
        opened.append(Store(url, folder=tmp_path, at=0))
        return opened[-1]

    yield open_
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store) -> Store:
    """An empty store of each kind."""
    return open_store()


def new_database(request) -> str:
    """Make a database of its own on the PostgreSQL cluster of the session; return its URL."""
    server = request.getfixturevalue("postgres_url")
    name = f"store_{next(NUMBERS)}"
    engine = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as conn:
        conn.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return f"{server}/{name}"
