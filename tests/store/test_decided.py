"""Decisions form a chain: each carries the hash of the one before, so a changed row is found."""

from __future__ import annotations

import pytest
from sqlalchemy import delete, update

from cellmon.errors import WrongUsage
from cellmon.store import schema
from tests.store.making import NOW

TABLE = schema.DECISIONS


@pytest.fixture
def journal(store):
    """A store with five decisions."""
    with store.writing() as session:
        for i in range(5):
            session.decide(
                at=NOW, by="A. Person", why=f"reason {i}", kind="freeze", subject=f"s{i}", body={"n": i, "ü": 1.5}
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
    import hashlib
    import json

    names = ("at", "by", "why", "kind", "subject", "body", "previous")
    values = {name: row._mapping[name] for name in names}
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def test_a_row_taken_out_is_found(journal):
    with journal.writing() as session:
        session.conn.execute(delete(TABLE).where(TABLE.c.id == 3))
    assert broken(journal) == 4


@pytest.mark.parametrize(("by", "why"), [("", "reason"), ("  ", "reason"), ("A. Person", ""), ("A. Person", " ")])
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
            at=NOW, by="A", why="b", kind="adopt", subject="sheet", body={"version": 2, "in_force_from": str(NOW)}
        )
    with store.reading() as session:
        assert [s.in_force_from for s in session.sheets()] == [NOW, NOW]
