"""Files, rows set aside and doubts listed as people look through them, on each kind of store."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cellmon.judged import Doubts
from cellmon.records import Reason, Refused
from tests.store.making import NOW, START, file_fact, keep_readings, some_readings, texts


def refused(*lines: int) -> list[Refused]:
    return [Refused(line=line, reason=Reason.NOT_A_TIME, text=f"row {line}") for line in lines]


def doubts(*ids: str, flag: str = "clock") -> Doubts:
    size = len(ids)
    same = {name: texts(*["x"] * size) for name in ("gauge", "part", "bore", "spindle", "words")}
    at = START + np.arange(size) * np.timedelta64(1, "h")
    return Doubts(
        id=texts(*ids),
        flag=texts(*[flag] * size),
        measured_at=at,
        unit_start=np.full(size, START),
        **same,
    )


def test_files_come_newest_first_with_what_still_waits(store):
    with store.writing() as session:
        first = session.add_file(replace(file_fact("a.csv", rows=3), set_aside=2), refused(2, 3))
        second = session.add_file(replace(file_fact("b.csv", rows=2), set_aside=1), refused(5))
        waiting = session.waiting_lines(session.sha256_of(first))
        assert sorted(waiting.values()) == [2, 3]
        done = [id_ for id_, line in waiting.items() if line == 2]
        session.mark_retried(done, file_id=second)
        session.mark_retried(done, file_id=first)  # once it came in, it came in
    with store.reading() as session:
        found = session.files_listed(most=5)
        assert [(f.name, f.waiting) for f in found] == [("b.csv", 1), ("a.csv", 1)]
        assert [f.name for f in session.files_listed(most=5, before=second)] == ["a.csv"]
        assert session.waiting_by_reason() == {"not-a-time": 2}
        assert (session.file_totals().files, session.files_since(NOW + np.timedelta64(1, "D"))) == (2, 0)
        assert [a.line for a in session.aside(waiting=True)] == [5, 3]
        assert [a.line for a in session.aside(waiting=True, most=1, skip=1)] == [3]
        (one,) = session.aside(id_=done[0])
        assert (one.line, one.retried, one.came_in) == (2, True, second)


def test_the_rows_of_a_file_are_found_by_its_number_with_part_bore_and_moment(store):
    batch = some_readings(6)
    with store.writing() as session:
        keep_readings(session, batch)
        file_id = session.newest_file()
        keep_readings(session, some_readings(2, first=50))
    with store.reading() as session:
        found = session.blocks_of_files([file_id, file_id + 7])
        assert list(found) == [file_id]
        blocks = found[file_id]
        rows = [session.keys_of_block(id_) for id_ in blocks.id.tolist()]
    assert sorted(np.concatenate([r.part for r in rows])) == sorted(batch.part)
    assert blocks.first_at.tolist() == [r.at.min() for r in rows]
    assert blocks.last_at.tolist() == [r.at.max() for r in rows]
    assert blocks.first_at.min() == batch.measured_at.min()


def test_doubts_come_newest_first_less_those_that_were_decided(store):
    with store.writing() as session:
        session.add(doubts("D-1", "D-2", "D-3"))
        session.add(doubts("D-4", flag="late"))
        session.decide(at=NOW, by="A", why="b", kind="correct", subject="D-2", body={})
    with store.reading() as session:
        assert session.open_doubts() == {"clock": 2, "late": 1}
        assert session.doubts_listed(flag="clock").id.tolist() == ["D-3", "D-2", "D-1"]
        assert session.doubts_listed(flag="clock", waiting=True).id.tolist() == ["D-3", "D-1"]
        assert session.doubts_listed(waiting=True, most=1, skip=1).id.tolist() != ["D-3"]
        assert session.first_doubted(flag="clock", words="x") == START
        assert session.first_doubted(flag="clock", words="other words") is None
        near = session.doubted_between(START, START + np.timedelta64(1, "h"))
        assert len(near.at) == 3 and len(session.doubted_between(NOW, NOW).at) == 0


def test_the_oldest_doubt_is_the_first_that_nobody_decided(store):
    with store.writing() as session:
        session.add(doubts("D-1", "D-2"))
        session.decide(at=NOW, by="A", why="b", kind="correct", subject="D-1", body={})
    with store.reading() as session:
        assert session.first_doubted(flag="clock", words="x") == START + np.timedelta64(1, "h")
