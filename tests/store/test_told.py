"""Signals kept as they were put together: found by their time, written only where they differ."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
from sqlalchemy import select, update

from cellmon.store import Announcement, ToldSignal, schema

AT = np.datetime64("2026-03-02T05:00:00", "us")
HOUR = np.timedelta64(1, "h")


def one(name, begins, ends, *, sheet=1, body=None):
    return ToldSignal(
        id=name,
        sheet=sheet,
        earliest_at=AT + begins * HOUR,
        last_at=AT + ends * HOUR,
        body=body or {"calls": []},
    )


def names(session, **time):
    return [name for name, _ in session.told(**time)]


def test_those_that_reach_a_time_are_found_and_no_others(open_store):
    store = open_store()
    with store.writing() as session:
        session.keep_told([one("a", 0, 2), one("b", 3, 9), one("c", 8, 8)])
    with store.reading() as session:
        assert names(session, start=AT + 2 * HOUR, end=AT + 3 * HOUR) == ["a", "b"]
        assert names(session, start=AT + 4 * HOUR, end=AT + 7 * HOUR) == ["b"]
        assert names(session, start=AT + 8 * HOUR) == ["b", "c"]
        assert names(session) == ["a", "b", "c"]
        assert session.sheet_of_told("a") == 1 and session.sheet_of_told("z") is None


def test_what_is_kept_again_replaces_what_differs_and_drops_what_is_gone(open_store):
    store = open_store()
    first = [one("a", 0, 2, body={"calls": [1]}), one("b", 3, 9)]
    digests = []
    second = [one("a", 0, 4, body={"calls": [1, 2]}), one("c", 8, 8, sheet=2)]
    for signals in (first, first, second):
        with store.writing() as session:
            session.keep_told(signals)
        with store.reading() as session:
            assert list(session.told_of(names(session))) == signals
            digests.append(dict(session.told()))
    assert digests[0] == digests[1]
    assert digests[2]["a"] != digests[1]["a"], "what differs has another digest"


def test_what_is_put_together_otherwise_or_dropped_is_numbered_and_all_that_is_forgotten(open_store):
    store, otherwise = open_store(), {"calls": [1]}
    with store.writing() as session:
        assert session.newest_told_change() == 0 and session.told_changes(after=0) == {}
        session.keep_told([one("a", 0, 2), one("b", 3, 9), one("c", 8, 8)])
        session.keep_told([one("a", 0, 2), one("b", 3, 9), one("c", 8, 8)])
        assert session.told_changes(after=0) == {"a": 1, "b": 1, "c": 1}, "the same again is no change"
        session.keep_told([one("a", 0, 2, body=otherwise)], among=["a", "b"])
        assert session.told_changes(after=1) == {"a": 2, "b": 2}
        session.keep_told([one("d", 0, 2)], among=["d"])
    with store.writing() as session:
        assert session.told_changes(after=0) == {"a": 2, "b": 2, "c": 1, "d": 3}
        session.forget_all()
        assert session.told_changes(after=3) == dict.fromkeys("abcd", 4)
        session.keep_told([one("a", 0, 2), one("e", 3, 9)])
        assert session.told_changes(after=4) == {"a": 5, "e": 5}
        assert session.newest_told_change() == 5


def test_signals_that_hold_a_word_are_found_by_it(open_store):
    store = open_store()
    said = {"calls": [{"detector": "three_sums 100%"}]}
    with store.writing() as session:
        session.keep_told([one("a", 0, 2, body=said), one("b", 3, 9)])
    with store.reading() as session:
        assert session.told_containing(["three_sums 100%", "nothing"]) == ["a"]
        assert session.told_containing(["three-sums 100"]) == []


def test_forgetting_what_is_derived_forgets_them(open_store):
    assert schema.TOLD in schema.DERIVED
    store = open_store()
    with store.writing() as session:
        session.keep_told([one("a", 0, 2)])
        session.forget_all()
        assert list(session.told()) == []


def test_outlines_come_and_go_with_their_signals_and_are_all_written_anew_with_all(open_store):
    store = open_store()

    def shown(session):
        return dict(session.outlines_of(["a", "b", "c"]))

    def outlined(name, body, outline):
        return replace(one(name, 0, 2, body={"calls": body}), outline=outline)

    with store.writing() as session:
        assert not session.is_without_outlines()
        session.keep_told([outlined("a", [1], {"is": 1}), outlined("b", [1], {"is": 2})])
        assert shown(session) == {"a": {"is": 1}, "b": {"is": 2}}
        session.keep_told([outlined("a", [1], {"is": 3}), outlined("b", [2], {"is": 4})], among=["a", "b"])
        assert shown(session) == {"a": {"is": 1}, "b": {"is": 4}}, "of some, those of other calls"
        session.keep_told([outlined("c", [1], {"is": 5})], among=["a"])
        assert shown(session) == {"b": {"is": 4}, "c": {"is": 5}}
        session.keep_told([outlined("b", [2], {"is": 6})])
        assert shown(session) == {"b": {"is": 6}}


def test_what_was_announced_and_is_kept_no_more_is_found(open_store):
    def announced(name):
        return Announcement(id=name, at=AT, unit_start=AT, stream="{}", body={})

    store = open_store()
    with store.writing() as session:
        session.announce([announced("a"), announced("b")])
        session.keep_told([one("b", 0, 2), one("c", 0, 2)])
        assert session.announced_untold() == ["a"]
        assert [name for name, _ in session.told(among=["c", "a"])] == ["c"]


def test_each_call_of_a_signal_is_read_by_itself_and_those_an_older_program_kept_too(open_store):
    store = open_store()
    calls = [{"part": 'A "1", \\n', "moved": [1, 2]}, {"moved": [], "at": 3}]
    signals = [one("a", 0, 2, body={"calls": calls, "rows": {"z": 1}, "among": []}), one("b", 3, 9)]
    with store.writing() as session:
        session.keep_told(signals)
        [digest] = [digest for id_, digest in session.told() if id_ == "a"]
        kept = session.conn.execute(select(schema.TOLD.c.body).where(schema.TOLD.c.id == "a")).scalar()
    assert json.loads(kept) == signals[0].body
    assert kept.replace("\n", "") == json.dumps(signals[0].body, sort_keys=True)
    with store.reading() as session:
        texts = dict(session.told_calls(["a", "b"]))
        assert list(session.told_of(["a", "b"])) == signals
    assert texts["b"] == [] and [json.loads(text) for text in texts["a"]] == calls
    assert all("\n" not in text for text in texts["a"])
    with store.writing() as session:
        older = json.dumps(signals[0].body, sort_keys=True)
        session.conn.execute(update(schema.TOLD).where(schema.TOLD.c.id == "a").values(body=older))
        assert dict(session.told_calls(["a"])) == {"a": texts["a"]}
        session.keep_told(signals)
        assert dict(session.told())["a"] == digest
        assert session.newest_told_change() == 1, "the same, kept on one line, is not written again"
