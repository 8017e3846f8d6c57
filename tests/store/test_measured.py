"""What was measured of each set of stones is kept together: the same rows that stand one by one."""

from __future__ import annotations

import numpy as np
from sqlalchemy import update

from cellmon.records import Kind, StoneMeasurements
from cellmon.store import schema
from tests.small_cell import new_cell, write
from tests.stones.cells import MEASURED, STONE_SHEET, measured_rows
from tests.store.making import file_fact, texts

FIRST = np.datetime64("2026-03-02T05:00", "us")
HOUR = np.timedelta64(1, "h")


def rows_of(hours, sets):
    """Return a reading of stone 1 of some sets, one an hour named."""
    return StoneMeasurements(
        at=FIRST + np.array(hours) * HOUR,
        stone_set=texts(*sets),
        stone=texts(*(["1"] * len(hours))),
        position=texts(*(["top"] * len(hours))),
        thickness_mm=3 - np.array(hours) / 1000,
        holder=texts(*(["a", None] * len(hours))[: len(hours)]),
    )


def add(session, name, batch):
    file_id = session.add_file(file_fact(name), ())
    session.add_rows(batch, [f"{name} {i}" for i in range(len(batch))], file_id=file_id)


def one_by_one(session):
    """Return the rows of each set as they stand one by one, in order of time."""
    every = session.rows(Kind.STONE_MEASUREMENTS)
    return {
        name: plain(every.select(every.stone_set == name)) for name in sorted(set(every.stone_set.tolist()))
    }


def plain(batch):
    return [(c.name, repr(getattr(batch, c.name).tolist())) for c in batch.columns()]


def together(session):
    return {name: plain(rows) for name, rows in session.measured_sets().items()}


def test_rows_of_a_set_are_kept_together_in_order_of_time_however_late_they_came(store):
    with store.writing() as session:
        add(session, "later", rows_of([8, 9, 9, 12], ["A2", "A1", "A2", "A1"]))
        add(session, "earlier", rows_of([3, 1, 2], ["A1", "A3", "A1"]))
    with store.writing() as session:
        add(session, "between", rows_of([10, 4], ["A1", "A2"]))
    with store.reading() as session:
        found = session.measured_sets()
        assert {name: ((rows.at - FIRST) // HOUR).tolist() for name, rows in found.items()} == {
            "A1": [2, 3, 9, 10, 12],
            "A2": [4, 8, 9],
            "A3": [1],
        }
        assert together(session) == one_by_one(session)


def test_an_older_store_gains_them(open_store):
    store = open_store()
    with store.writing() as session:
        add(session, "a", rows_of([8, 3, 9], ["A2", "A1", "A2"]))
        session.conn.exec_driver_sql("DROP TABLE measured_sets")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 21")
    with open_store().reading() as session:
        assert list(together(session)) == ["A1", "A2"]
        assert together(session) == one_by_one(session)


def test_a_rebuild_puts_them_together_anew_and_says_where_they_were_others(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=STONE_SHEET)
    at = [FIRST + k * 20 * HOUR for k in range(4)]
    lines = measured_rows(np.random.default_rng(3), "A1", at, np.arange(4) * 100.0, rate=0.1)
    for i, mine in enumerate((lines[24:], lines[:24])):
        monitor.take([write(tmp_path, f"{i}.csv", MEASURED, mine)])
    assert monitor.check(rebuild=True).sound
    with monitor._store.writing() as session:
        whole = together(session)
        assert whole == one_by_one(session) and len(session.measured_sets()["A1"]) == len(lines)
        session.conn.execute(update(schema.MEASURED_SETS).values(stone_set="A9"))
    told = monitor.check(rebuild=True)
    assert "stones measured" in repr(told)
    with monitor._store.reading() as session:
        assert together(session) == whole
    monitor.close()
