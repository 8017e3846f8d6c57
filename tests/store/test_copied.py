"""A store copied whole: counted, hashed, and left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import text

from cellmon.errors import StoreRefused
from cellmon.monitor import Monitor
from cellmon.store import Store, copy_into, leave, tallies
from tests.small_cell import CHECKS, EVENTS, HEADER, checks, events, new_cell, rows, write


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Monitor:
    """A small cell with readings, events, checks, a decision and what is derived of them."""
    folder = tmp_path_factory.mktemp("filled")
    monitor = new_cell(folder / "cell")
    monitor.take([write(folder, "readings.csv", HEADER, rows())])
    monitor.take(
        [write(folder, "events.csv", EVENTS, events()), write(folder, "checks.csv", CHECKS, checks())]
    )
    monitor.freeze(by="A", why="first limits")
    return monitor


def test_a_copy_holds_row_by_row_what_the_original_holds(filled, store):
    with filled._store.reading() as session, store.writing() as into:
        copied = copy_into(session, into)
    with filled._store.reading() as session, store.reading() as there:
        assert tallies(session) == copied == tallies(there)
    assert {t.table for t in copied if t.rows} >= {
        "files",
        "readings",
        "events",
        "decisions",
        "bores",
        "subgroups",
    }


def test_the_tally_finds_one_changed_cell_and_not_the_order_of_rows(store):
    insert = "INSERT INTO frames (id, planes, directions) VALUES "

    def tally(*values: str) -> str:
        with store.writing() as session:
            session.conn.execute(text("DELETE FROM frames"))
            session.conn.execute(text(insert + ", ".join(values)))
            return next(t.sha256 for t in tallies(session) if t.table == "frames")

    one, other = "(1, 'top', 'x')", "(2, 'middle', 'y')"
    assert tally(one, other) == tally(other, one)
    assert tally(one, other) != tally(one, "(2, 'middle', 'z')")


def test_a_store_that_holds_just_what_is_copied_serves_and_one_that_holds_more_does_not(filled, store):
    for _ in range(2):  # a move that was cut short is made again
        with filled._store.reading() as session, store.writing() as into:
            copy_into(session, into)
    with store.writing() as session:
        moment = np.datetime64("2026-03-09", "us")
        session.decide(at=moment, by="B", why="w", kind="note", subject="s", body={})
    with (
        pytest.raises(StoreRefused, match="not empty"),
        filled._store.reading() as session,
        store.writing() as into,
    ):
        copy_into(session, into)


def test_new_rows_are_numbered_after_those_copied(filled, store):
    with filled._store.reading() as session, store.writing() as into:
        copy_into(session, into)
    with store.writing() as session:
        before = session.decisions()[-1].id
        moment = np.datetime64("2026-03-09", "us")
        assert session.decide(at=moment, by="B", why="w", kind="note", subject="s", body={}) == before + 1


def test_a_store_that_was_left_refuses_all_who_have_it_open(open_store):
    one, other = open_store(), open_store()
    with one.writing() as session:
        leave(session, to="elsewhere", at=1)
    for opened in (other.reading, other.writing):
        with pytest.raises(StoreRefused, match="moved to elsewhere"), opened():
            pass
    fresh = open_store()
    with pytest.raises(StoreRefused, match="moved to elsewhere"), fresh.reading():
        pass


def test_where_it_is_kept_does_not_matter(filled, tmp_path: Path):
    again = Store("sqlite:///other.db", folder=tmp_path, at=5)
    with filled._store.reading() as session, again.writing() as into:
        assert copy_into(session, into) == tallies(session)
    again.close()
