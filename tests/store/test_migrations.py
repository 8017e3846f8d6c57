"""The schema is made once, in one transaction with the record that it was, and a newer one is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import func, inspect, select

from cellmon.errors import StoreRefused
from cellmon.records import Kind, StockMovements
from cellmon.store import Announcement, AuditStand, Store, ToldSignal, migrations, schema
from tests.store.making import (
    ALL,
    NOW,
    PER_UNIT,
    S1,
    START,
    alarm,
    file_fact,
    keep_readings,
    some_bores,
    some_readings,
    some_subgroups,
    texts,
)


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


def laid_out(conn):
    """Return the columns and indexes of every table, by name; not those of a plant's partitions."""
    known = inspect(conn)
    return {
        name: (
            sorted((c["name"], str(c["type"])) for c in known.get_columns(name)),
            sorted((i["name"], tuple(i["column_names"])) for i in known.get_indexes(name)),
        )
        for name in known.get_table_names()
    }


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"], indirect=True)  # a plant's tables have partitions
def test_a_new_store_lacks_nothing_that_the_changes_would_make(open_store):
    store = open_store()
    with store.writing() as session:
        before = laid_out(session.conn)
        for change in migrations.MIGRATIONS:
            change(session.conn)
        assert laid_out(session.conn) == before


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


OLD_DERIVED = (
    "CREATE TABLE episodes (id TEXT NOT NULL, unit_start BIGINT NOT NULL, points INTEGER NOT NULL)",
    "INSERT INTO episodes VALUES ('S-1', 7, 2)",
    "CREATE TABLE counts (unit_start BIGINT NOT NULL, part_number TEXT NOT NULL, bores INTEGER NOT NULL)",
    "INSERT INTO counts VALUES (7, 'P-1', 3)",
    "CREATE TABLE provisional (part_number TEXT NOT NULL, centre FLOAT, sigma FLOAT)",
    "INSERT INTO provisional VALUES ('P-1', 0.5, 1.5)",
)


def as_version_1(store):
    """Make a store what it was under schema 1: facts as now, derived tables of other columns."""
    with store.writing() as session:
        for table in ("alarms", "watched", "subgroups_together", "counts", "provisional"):
            session.conn.exec_driver_sql(f"DROP TABLE {table}")
        for statement in OLD_DERIVED:
            session.conn.exec_driver_sql(statement)
        recorded = schema.SCHEMA_VERSION
        session.conn.execute(recorded.delete().where(recorded.c.version > 1))


def facts(store):
    """Return every row of every table that is not derived, but for the record of the schema."""
    derived = {table.name for table in schema.DERIVED}
    with store.reading() as session:
        return {
            name: [tuple(row) for row in session.conn.execute(select(table))]
            for name, table in schema.METADATA.tables.items()
            if name not in derived and name != schema.SCHEMA_VERSION.name
        }


def test_a_store_of_schema_1_keeps_every_fact_and_loses_all_that_was_derived(open_store):
    store = open_store()
    with store.writing() as session:
        keep_readings(session, some_readings(6))
        session.add_bores(some_bores(0))
        session.add_subgroups(some_subgroups(0, S1), some_subgroups(0, ALL))
        session.announce([Announcement(id="S-1", at=NOW, unit_start=START, stream="a", body={"points": 2})])
        session.decide(at=NOW, by="A. Person", why="offset", kind="respond", subject="S-1", body={})
    as_version_1(store)
    assert versions(store) == [1]
    before = facts(store)
    assert before["readings"] and before["decisions"] and before["announced"]
    again = open_store()
    assert versions(again) == list(range(1, len(migrations.MIGRATIONS) + 1))
    assert facts(again) == before
    with again.reading() as session:
        assert not inspect(session.conn).has_table("episodes")
        for table in schema.DERIVED:
            known = {column["name"] for column in inspect(session.conn).get_columns(table.name)}
            wanted = {column.name for column in table.columns}
            assert known - ({"cell"} - wanted) == wanted, table.name  # of a plant's partitions one more
            assert session.conn.execute(select(table)).first() is None, table.name
        assert session.is_underived(), "the monitor derives it again"
    with again.writing() as session:  # every table takes rows of its new columns
        session.add_bores(some_bores(0))
        session.add_subgroups(some_subgroups(0, S1), some_subgroups(0, ALL))
        session.add_counts({(START, ALL): (3, 1)})
        session.add(alarm("c", 0, ALL))
        session.put_watched({START: b"place"})


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


def test_a_stock_table_of_older_days_gains_its_columns_and_keeps_its_rows(open_store):
    store = open_store()
    table = schema.ROWS[Kind.STOCK]
    taken = StockMovements(
        at=np.array(["2026-03-02"], dtype="datetime64[us]"),
        kind=np.array(["D64"], dtype=object),
        change=np.array([-1.0]),
    )
    with store.writing() as session:
        session.add_rows(taken, ["k"], file_id=session.add_file(file_fact("stock.csv"), ()))
        for name in ("movement", "use_by"):
            session.conn.exec_driver_sql(f"ALTER TABLE {table.name} DROP COLUMN {name}")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 6")
    again = open_store()
    with again.reading() as session:
        found = session.rows(Kind.STOCK)
    assert found.change.tolist() == [-1.0]
    assert found.movement.tolist() == [None] and np.isnat(found.use_by).all()


def plan(session, statement):
    """Return how SQLite would go about a query."""
    query = str(statement.compile(session.conn, compile_kwargs={"literal_binds": True}))
    return " ".join(row[-1] for row in session.conn.exec_driver_sql(f"EXPLAIN QUERY PLAN {query}"))


def test_an_older_store_gains_the_ways_to_its_newest_events_and_its_counts(open_store, kind):
    store = open_store()
    with store.writing() as session:
        session.conn.exec_driver_sql("DROP INDEX events_by_event")
        session.conn.exec_driver_sql("DROP INDEX counts_by_stream")
        session.conn.exec_driver_sql("DROP INDEX counts_by_unit")
        session.conn.exec_driver_sql("CREATE INDEX counts_by_unit ON counts (unit_start)")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 15")
    again = open_store()
    with again.reading() as session:
        for table, name in (
            (schema.ROWS[Kind.EVENTS], "events_by_event"),
            (schema.COUNTS, "counts_by_stream"),
        ):
            assert name in {index["name"] for index in inspect(session.conn).get_indexes(table.name)}
        if kind == "sqlite":  # which way a server takes it decides by how much it holds
            counts = schema.COUNTS
            by_stream = select(func.sum(counts.c.bores)).group_by(counts.c.part_number, counts.c.spindle)
            assert "counts_by_stream" in plan(session, by_stream)
            by_unit = select(func.sum(counts.c.bores)).group_by(counts.c.unit_start)
            assert "COVERING INDEX counts_by_unit" in plan(session, by_unit)


def test_an_older_store_gains_the_way_to_one_series_of_audits_and_still_reads_new_ones_by_time(
    open_store, kind
):
    store = open_store()
    with store.writing() as session:
        session.conn.exec_driver_sql("DROP INDEX characteristics_by_bore")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 18")
    again = open_store()
    rows = schema.ROWS[Kind.CHARACTERISTICS]
    with again.reading() as session:
        assert "characteristics_by_bore" in {i["name"] for i in inspect(session.conn).get_indexes(rows.name)}
        if kind == "sqlite":
            named = select(rows).where(rows.c.characteristic.in_(["Rk"])).order_by(rows.c.at, rows.c.row_key)
            assert "characteristics_by_bore" in plan(session, named.where(rows.c.bore.in_(["1"])))
            assert "characteristics_by_time" in plan(session, named.where(rows.c.at >= 0))


def test_where_audits_stood_is_forgotten_once_so_that_they_are_judged_from_their_first_on(open_store):
    store = open_store()
    with store.writing() as session:
        stood = AuditStand(characteristic="Rk", at=START, body={"last": {"S1": 0}})
        session.put_audit_stands("Rk", [stood], since=START)
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 19")
    with open_store().reading() as session:
        assert session.audit_stands() == []


def test_bores_honed_are_counted_once_in_a_store_that_did_not_keep_how_many(open_store):
    store = open_store()
    again = replace(some_bores(1), bore=texts("1", "2", "1", "1", "2", "1"))  # some measured twice
    with store.writing() as session:
        session.add_bores(some_bores(0))
        session.add_bores(again)
        kept = rows_of(session, schema.HONED)
        session.conn.exec_driver_sql("DROP TABLE honed")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 20")
    with open_store().reading() as session:
        assert rows_of(session, schema.HONED) == kept
    assert sum(row[3] for row in kept) == 2 * PER_UNIT - 1


def rows_of(session, table):
    return sorted(tuple(row)[: len(table.columns)] for row in session.conn.execute(select(table)))


OLD_TRACES = (
    "CREATE TABLE traces (row_id INTEGER, file_id INTEGER, row_line INTEGER, row_key TEXT, part TEXT, "
    "bore TEXT, plane TEXT, angle_deg FLOAT, radius_um FLOAT, spindle TEXT, at BIGINT, gauge TEXT)"
)


def test_points_kept_a_row_each_are_packed_and_none_is_lost(open_store):
    store = open_store()
    with store.writing() as session:
        file_id = session.add_file(file_fact("traces.csv"), ())
        session.conn.exec_driver_sql("DROP TABLE trace_blocks")
        session.conn.exec_driver_sql(OLD_TRACES)
        for i in range(12):
            moment = "NULL" if i == 11 else START.astype(int)
            session.conn.exec_driver_sql(
                f"INSERT INTO traces VALUES ({i}, {file_id}, {i + 2}, 'k{i}', 'B{i % 2}', '1', 'top', "
                f"{30.0 * i}, {0.25 * i}, 'S1', {moment}, 'R1')"
            )
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 7")
    again = open_store()
    with again.reading() as session:
        assert not inspect(session.conn).has_table("traces")
        points = session.rows(Kind.TRACES)
        assert len(points) == 12 and sorted(points.line.tolist()) == list(range(2, 14))
        assert (points.radius_um == points.angle_deg / 120.0).all()
        assert np.isnat(points.at).sum() == 1
        assert len(session.rows_of_part(Kind.TRACES, "B1")) == 6
        assert len(session.traced_bores()) == 2


def test_signals_of_an_older_store_are_numbered_once(open_store):
    store = open_store()
    kept = [ToldSignal(id=name, sheet=1, earliest_at=START, last_at=START, body={}) for name in ("a", "b")]
    with store.writing() as session:
        session.keep_told(kept)
        session.conn.exec_driver_sql(f"DROP TABLE {schema.TOLD_CHANGES.name}")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 22")
    with open_store().reading() as session:
        assert session.told_changes(after=0) == {"a": 1, "b": 1}
