"""A store that fails says whether anything was kept, as far as anybody can know."""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import create_engine, event, text

from cellmon.errors import NothingKept, PerhapsKept
from cellmon.store import Store

AT = np.datetime64("2026-01-01", "us")


def decide(session, why: str) -> None:
    session.decide(at=AT, by="R. Hale", why=why, kind="k", subject="s", body={})


def test_a_full_disk_is_said_in_words_and_has_kept_nothing(tmp_path):
    # SQLite, "PRAGMA max_page_count" and SQLITE_FULL (13): a file at its greatest size is a full disk.
    store = Store("sqlite:///cell.db", folder=tmp_path, at=0)
    with store.writing() as session:
        decide(session, "before")
    store.close()
    event.listen(store.engine, "connect", lambda conn, _: conn.execute("PRAGMA max_page_count = 1").close())
    full = "its disk is full; make room there, then try again"
    with pytest.raises(NothingKept, match=full), store.writing() as session:
        decide(session, "a" * 1_000_000)
    store.close()
    again = Store("sqlite:///cell.db", folder=tmp_path, at=0)
    with again.reading() as session:
        assert [one.why for one in session.decisions("k")] == ["before"]
    again.close()


def test_a_file_that_was_taken_away_has_kept_nothing(tmp_path):
    store = Store("sqlite:///cell.db", folder=tmp_path, at=0)
    (tmp_path / "cell.db").rename(tmp_path / "away.db")
    with pytest.raises(NothingKept, match="is not there"), store.writing():
        pass
    store.close()


@pytest.mark.parametrize("kind", ["postgresql"])
@pytest.mark.parametrize("before_it_works", [True, False])
def test_a_connection_lost_before_the_commit_has_kept_nothing_and_one_lost_at_it_perhaps(
    open_store, before_it_works
):
    store = open_store()
    with pytest.raises(NothingKept if before_it_works else PerhapsKept), store.writing() as session:
        pid = session.conn.execute(text("SELECT pg_backend_pid()")).scalar()
        if not before_it_works:
            decide(session, "perhaps")
        other = create_engine(store.engine.url)
        with other.connect() as conn:
            conn.execute(text("SELECT pg_terminate_backend(:pid)"), {"pid": pid})
        other.dispose()
        if before_it_works:
            decide(session, "never")
    with store.reading() as session:
        assert not session.decisions("k")
