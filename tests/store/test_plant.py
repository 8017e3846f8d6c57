"""Many cells in one PostgreSQL database: each as alone, its big tables partitions of the plant's."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Connection, create_engine, text

from cellmon.errors import StoreRefused
from cellmon.store import Store, plant_cells
from cellmon.store.migrations import MIGRATIONS
from cellmon.store.plant import PARTITIONED
from tests.store.conftest import new_database

AT = np.datetime64("2026-03-02T05:00:00", "us")


@pytest.fixture
def plant(postgres_url) -> str:
    """The URL of an empty database."""
    return new_database(postgres_url)


def opened(plant: str, cell: str, folder: Path) -> Store:
    return Store(f"{plant}?cell={cell}", folder=folder, at=0)


def sheet_kept(store: Store, words: str) -> None:
    with store.writing() as session:
        session.add_sheet(words, at=AT, in_force_from=None, sha256=words)


def sheets(store: Store) -> list[str]:
    with store.reading() as session:
        return [sheet.text for sheet in session.sheets()]


def asked(plant: str, query: str) -> set[tuple[str, ...]]:
    engine = create_engine(plant)
    with engine.connect() as conn:
        found = set(map(tuple, conn.execute(text(query))))
    engine.dispose()
    return found


def partitions(plant: str) -> set[tuple[str, ...]]:
    return asked(
        plant,
        "SELECT inhparent::regclass::text, inhrelid::regclass::text, pg_get_expr(relpartbound, oid)"
        " FROM pg_inherits JOIN pg_class ON oid = inhrelid WHERE relkind = 'r'",
    )


def test_the_big_tables_of_each_cell_are_partitions_by_list_of_cells(plant, tmp_path):
    for cell in ("line_1", "line_2"):
        opened(plant, cell, tmp_path).close()
    parents = asked(
        plant, "SELECT relname, partstrat FROM pg_partitioned_table JOIN pg_class ON oid = partrelid"
    )
    assert parents == {(t.name, "l") for t in PARTITIONED}
    parts, version = partitions(plant), len(MIGRATIONS)
    assert (f"plant_{version}.bores", "cell_line_2.bores", "FOR VALUES IN ('line_2')") in parts
    assert len(parts) == 2 * len(PARTITIONED)


def test_a_writer_of_one_cell_waits_for_no_other(plant, tmp_path):
    one, other = opened(plant, "line_1", tmp_path), opened(plant, "line_2", tmp_path)
    with one.writing() as session:
        session.add_sheet("a", at=AT, in_force_from=None, sha256="a")
        beside = threading.Thread(target=sheet_kept, args=(other, "b"), daemon=True)
        beside.start()
        beside.join(60)
        assert not beside.is_alive(), "the second cell waited for the first"
    assert (sheets(one), sheets(other)) == (["a"], ["b"])
    one.close(), other.close()


def test_two_writers_of_one_cell_go_one_after_the_other(plant, tmp_path):
    one, again = opened(plant, "line_1", tmp_path), opened(plant, "line_1", tmp_path)
    with one.writing() as session:
        beside = threading.Thread(target=sheet_kept, args=(again, "b"), daemon=True)
        beside.start()
        beside.join(0.3)
        assert beside.is_alive(), "both wrote at once"
        session.add_sheet("a", at=AT, in_force_from=None, sha256="a")
    beside.join(60)
    assert sheets(one) == ["a", "b"]
    one.close(), again.close()


def test_a_cell_is_updated_alone_and_changes_its_partitions(plant, tmp_path, monkeypatch):
    """The next version gives a partitioned table a column, which no partition takes while it is one."""

    def wider(conn: Connection) -> None:
        conn.execute(text("ALTER TABLE bores ADD COLUMN colour TEXT"))

    for cell in ("line_1", "line_2"):
        store = opened(plant, cell, tmp_path)
        sheet_kept(store, cell)
        store.close()
    later, now = (*MIGRATIONS, wider), len(MIGRATIONS)
    for module in ("engine", "migrations"):
        monkeypatch.setattr(f"cellmon.store.{module}.MIGRATIONS", later)
    store = opened(plant, "line_2", tmp_path)
    assert sheets(store) == ["line_2"]
    store.close()
    bores = {part[:2] for part in partitions(plant) if part[1].endswith(".bores")}
    assert bores == {
        (f"plant_{now}.bores", "cell_line_1.bores"),
        (f"plant_{now + 1}.bores", "cell_line_2.bores"),
    }
    assert [(one.cell, one.schema) for one in plant_cells(plant)] == [("line_1", now), ("line_2", now + 1)]


def test_cells_may_be_made_at_the_same_time(plant, tmp_path):
    names = [f"line_{i}" for i in range(6)]
    makers = [threading.Thread(target=lambda n=n: opened(plant, n, tmp_path).close()) for n in names]
    for maker in makers:
        maker.start()
    for maker in makers:
        maker.join(60)
    assert [one.cell for one in plant_cells(plant)] == names


@pytest.mark.parametrize("name", ["Line", "1st", "a-b", "a;drop", "x" * 41])
def test_a_name_that_is_none_is_refused(plant, name, tmp_path):
    with pytest.raises(StoreRefused, match="small letters, digits"):
        opened(plant, name, tmp_path)


def test_a_file_holds_one_cell(tmp_path):
    with pytest.raises(StoreRefused, match="only a PostgreSQL store holds several cells"):
        Store("sqlite:///cell.db?cell=line_1", folder=tmp_path, at=0)
    with pytest.raises(StoreRefused, match="holds one cell"):
        plant_cells("sqlite:///cell.db")


def test_the_name_of_a_store_tells_its_cell_and_no_password(plant, tmp_path):
    store = opened(plant.replace("cell@", "cell:secret@"), "line_1", tmp_path)
    assert store.name.endswith("?cell=line_1")
    assert "secret" not in store.name
    store.close()
