"""Decisions form a chain: each carries the hash of the one before, so a changed row is found."""

from __future__ import annotations

import hashlib
import json

import numpy as np
import pytest
from sqlalchemy import delete, update

from cellmon.errors import StoreRefused, WrongUsage
from cellmon.store import Announcement, schema
from tests.store.making import NOW

TABLE = schema.DECISIONS


@pytest.fixture
def journal(store):
    """A store with five decisions."""
    with store.writing() as session:
        for i in range(5):
            session.decide(
                at=NOW,
                by="A. Person",
                why=f"reason {i}",
                kind="freeze",
                subject=f"s{i}",
                body={"n": i, "ü": 1.5},
            )
    return store


def broken(store):
    with store.reading() as session:
        return session.broken_decision()


def test_an_untouched_journal_is_whole(journal):
    assert broken(journal) is None
    with journal.reading() as session:
        assert [d.body["n"] for d in session.decisions("freeze")] == list(range(5))
        assert [d.why for d in session.decisions("freeze", subject="s3")] == ["reason 3"]


def test_the_chain_can_be_followed_in_the_table_without_this_program(journal):
    with journal.reading() as session:
        rows = session.conn.execute(TABLE.select().order_by(TABLE.c.id)).all()
    assert [row.hash for row in rows] == [schema_hash(row) for row in rows]
    assert [row.previous for row in rows] == ["", *(row.hash for row in rows[:-1])]
    assert len({row.hash for row in rows}) == 5


def test_a_decision_that_fails_leaves_no_gap_in_the_chain(journal):
    with pytest.raises(ZeroDivisionError), journal.writing() as session:
        session.decide(at=NOW, by="A", why="b", kind="freeze", subject="x", body={})
        raise ZeroDivisionError
    with journal.writing() as session:
        session.decide(at=NOW, by="A", why="b", kind="freeze", subject="after", body={})
    assert broken(journal) is None
    with journal.reading() as session:
        assert [d.subject for d in session.decisions("freeze")] == ["s0", "s1", "s2", "s3", "s4", "after"]


@pytest.mark.parametrize("column", ["by", "why", "kind", "subject", "body", "previous", "hash"])
def test_a_changed_row_is_found(journal, column):
    with journal.writing() as session:
        session.conn.execute(update(TABLE).where(TABLE.c.id == 3).values({column: '{"n": 7}'}))
    assert broken(journal) in (3, 4), "itself, or the next one where only its own hash was changed"


def test_a_row_whose_hash_was_made_to_fit_is_found_by_the_next(journal):
    with journal.writing() as session:
        session.conn.execute(update(TABLE).where(TABLE.c.id == 2).values(why="another reason"))
        row = session.conn.execute(TABLE.select().where(TABLE.c.id == 2)).one()
        session.conn.execute(update(TABLE).where(TABLE.c.id == 2).values(hash=schema_hash(row)))
    assert broken(journal) == 3


def schema_hash(row):
    """Return the hash that a row should carry, computed apart from the code."""
    names = ("at", "by", "why", "kind", "subject", "body", "previous")
    values = {name: row._mapping[name] for name in names}
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def test_a_row_taken_out_is_found(journal):
    with journal.writing() as session:
        session.conn.execute(delete(TABLE).where(TABLE.c.id == 3))
    assert broken(journal) == 4


@pytest.mark.parametrize(("by", "why"), [("", "reason"), ("  ", "reason"), ("A", ""), ("A", " ")])
def test_a_decision_needs_a_name_and_a_reason(store, by, why):
    with pytest.raises(WrongUsage, match="a name and a reason"), store.writing() as session:
        session.decide(at=NOW, by=by, why=why, kind="freeze", subject="x", body={})
    assert broken(store) is None


def test_sheets_are_numbered_and_come_into_force_as_their_adoption_says(store):
    with store.writing() as session:
        assert session.add_sheet("one", at=NOW, in_force_from=NOW, sha256="1") == 1
        assert session.add_sheet("two", at=NOW, in_force_from=None, sha256="2") == 2
    with store.reading() as session:
        assert [s.in_force_from for s in session.sheets()] == [NOW, None]
    with store.writing() as session:
        session.decide(
            at=NOW,
            by="A",
            why="b",
            kind="adopt",
            subject="sheet",
            body={"version": 2, "in_force_from": str(NOW)},
        )
    with store.reading() as session:
        assert [s.in_force_from for s in session.sheets()] == [NOW, NOW]


def test_the_last_of_two_adoptions_of_a_sheet_holds(store):
    later = NOW + np.timedelta64(1, "h")
    with store.writing() as session:
        session.add_sheet("one", at=NOW, in_force_from=None, sha256="1")
        for moment in (NOW, later):
            body = {"version": 1, "in_force_from": str(moment)}
            session.decide(at=NOW, by="A", why="b", kind="adopt", subject="sheet", body=body)
    with store.reading() as session:
        assert [(s.in_force_from, s.text) for s in session.sheets()] == [(later, "one")]


def announcement(id_: str, hours: int) -> Announcement:
    """Return what was announced of a unit that began some hours ago."""
    return Announcement(
        id=id_,
        at=NOW,
        unit_start=NOW - np.timedelta64(hours, "h"),
        stream="S1 bore 1 size",
        body={"side": 1, "size": -0.25, "part": "Ø7"},
    )


def test_announcements_come_back_by_unit_and_as_they_were(store):
    first, second, third = announcement("b", 24), announcement("a", 12), announcement("c", 12)
    with store.writing() as session:
        session.announce([third, second])
        session.announce([first])
        session.announce([])
    with store.reading() as session:
        assert session.announced() == [first, second, third]
        assert sorted(session.announced_untold()) == sorted(one.id for one in (first, second, third))
        assert session.announced_as([first.id, "another"]) == [first]
        assert session.announced_as([]) == []


def test_nothing_is_announced_twice_and_nothing_announced_is_forgotten(store):
    with store.writing() as session:
        session.announce([announcement("a", 12)])
    with pytest.raises(StoreRefused), store.writing() as session:
        session.announce([announcement("a", 24)])
    with store.writing() as session:
        session.forget_units([NOW - np.timedelta64(12, "h")])
        session.forget_all()
    with store.reading() as session:
        assert session.announced() == [announcement("a", 12)]


def test_decisions_that_name_a_block_are_found_whatever_stands_in_its_serial(store):
    serials = ["A1", "A1%", "A_1", 'A"1', "Ä1"]
    with store.writing() as session:
        for serial in serials:
            body = {"parts": [serial, "B"], "as": "released"}
            session.decide(at=NOW, by="A", why="w", kind="release", subject=serial, body=body)
    with store.reading() as session:
        for serial in serials:
            assert [d.subject for d in session.decisions("release", naming=serial)] == [serial]
        assert len(session.decisions("release", naming="B")) == len(serials)
        assert session.decisions("freeze", naming="B") == []
