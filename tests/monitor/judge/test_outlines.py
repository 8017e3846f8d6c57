"""What is shown of signals is kept beside them, and says what their calls say."""

from __future__ import annotations

import pytest

import cellmon
from cellmon.monitor.judge import told
from cellmon.monitor.judge.outlines import outline_of
from cellmon.store import schema
from tests.small_cell import HEADER, new_cell, rows, write


@pytest.fixture
def cell(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(110, jump_at=95))])
    yield monitor
    monitor.close()


def test_at_every_moment_outlines_say_what_the_calls_by_then_say(cell):
    with cell._view() as view:
        calls = [c for g in told.told_groups(view.session, until=view.as_of) for c in g.calls]
        cut = 0
        for moment in sorted({view.as_of, *(c.at for c in calls), *(c.last_at for c in calls)}):
            told._outlined.clear()
            groups = list(told.told_groups(view.session, until=moment))
            found = list(told.told_outlines(view.session, until=moment))
            assert list(map(repr, found)) == [repr(outline_of(g)) for g in groups], "nan is nan in words"
            cut += any(one.until == moment < view.as_of for one in found)
    assert calls and cut


def test_no_calls_are_read_for_what_is_shown(cell, monkeypatch):
    known = cell.signals(why=0).signals
    assert known
    told._read.clear()
    told._outlined.clear()
    fresh = cellmon.open_cell(cell.folder)
    monkeypatch.setattr(told, "_group", None)
    assert fresh.signals(why=0).signals == known
    assert fresh.part(known[0].part).signals
    with pytest.raises(TypeError):
        fresh.signals(why=1)
    fresh.close()


def test_a_store_of_an_earlier_program_is_given_outlines_once(cell):
    known = cell.signals()
    with cell._store.writing() as session:
        kept = dict(session.outlines_of([s.id for s in known.signals]))
        session.conn.execute(schema.OUTLINES.delete())
        assert session.is_without_outlines()
    again = cellmon.open_cell(cell.folder)
    with again._store.reading() as session:
        assert dict(session.outlines_of(list(kept))) == kept and len(kept) == len(known.signals)
        assert not session.is_without_outlines()
    assert again.signals() == known
    again.close()


def test_a_rebuild_mends_an_outline_that_says_something_else(cell):
    with cell._store.writing() as session:
        session.conn.execute(schema.OUTLINES.update().values(body="{}"))
    rebuilt = cell.check(rebuild=True)
    assert not rebuilt.sound and "outlines" in (rebuilt.rebuilt or "")
    assert cell.check(rebuild=True).sound


def test_of_what_was_read_the_newest_form_is_kept_and_no_more_than_is_said():
    asked = []

    def read(names):
        asked.append(list(names))
        return ((name, name * 3) for name in names)

    known = told._Known(most=9, weight=len)
    assert list(known.once([("a", "1"), ("b", "1")], read)) == ["aaa", "bbb"]
    assert list(known.once([("b", "1"), ("a", "2")], read)) == ["bbb", "aaa"], "in the order asked for"
    assert asked == [["a", "b"], ["a"]], "what changed is read again, in place of what it was"
    assert list(known.once([("c", "1"), ("a", "2")], read)) == ["ccc", "aaa"] and asked[-1] == ["c"]
    assert list(known.once([("d", "1")], read)) == ["ddd"], "too much is let go of"
    assert list(known.once([("c", "1")], read)) == ["ccc"] and asked[-2:] == [["d"], ["c"]]
