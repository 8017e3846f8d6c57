"""The schema is made once, in one transaction with the record that it was, and a newer one is refused."""

from __future__ import annotations

import pytest
from sqlalchemy import inspect, select

from cellmon.errors import StoreRefused
from cellmon.store import Store, migrations, schema


def versions(store):
    with store.reading() as session:
        return session.conn.execute(select(schema.SCHEMA_VERSION.c.version)).scalars().all()


def test_an_empty_store_gets_every_table_and_the_record_of_it(store):
    with store.reading() as session:
        tables = set(inspect(session.conn).get_table_names())
    assert set(schema.METADATA.tables) <= tables
    assert versions(store) == list(range(1, len(migrations.MIGRATIONS) + 1))


def test_opening_again_runs_nothing_twice(open_store):
    first = versions(open_store())
    assert versions(open_store()) == first
    store = open_store()
    with store.writing() as session:
        assert migrations.migrate(session.conn, at=1) == len(migrations.MIGRATIONS)
    assert versions(store) == first


def test_a_store_of_a_newer_program_is_refused_and_left_alone(open_store):
    store = open_store()
    newer = len(migrations.MIGRATIONS) + 1
    with store.writing() as session:
        session.conn.execute(schema.SCHEMA_VERSION.insert().values(version=newer, at=0))
    with pytest.raises(StoreRefused, match=f"schema {newer}, this program knows {newer - 1}"):
        open_store()
    assert versions(store)[-1] == newer


def test_a_migration_that_fails_leaves_neither_table_nor_record(open_store, monkeypatch):
    def broken(conn):
        conn.exec_driver_sql("CREATE TABLE half_done (a INTEGER)")
        raise RuntimeError("the power went")

    store = open_store()
    before = versions(store)
    monkeypatch.setattr(migrations, "MIGRATIONS", (*migrations.MIGRATIONS, broken))
    with pytest.raises(RuntimeError), store.writing() as session:
        migrations.migrate(session.conn, at=1)
    assert versions(store) == before
    with store.reading() as session:
        assert not inspect(session.conn).has_table("half_done")


def test_a_second_program_that_opens_an_empty_store_meanwhile_waits_and_finds_it_made(tmp_path):
    import threading

    opened: list[Store] = []
    threads = [
        threading.Thread(target=lambda: opened.append(Store("sqlite:///cell.db", folder=tmp_path, at=0)))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(opened) == 4
    assert versions(opened[0]) == list(range(1, len(migrations.MIGRATIONS) + 1))
    for store in opened:
        store.close()
