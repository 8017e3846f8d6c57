"""What one question worked out serves the next of the same state, and never one of another state."""

from __future__ import annotations

from dataclasses import replace

import pytest

import cellmon
from cellmon import lengths
from cellmon.records import Kind
from tests.monitor.test_signals import BEFORE, lines, moved, one_long_day, quiet
from tests.small_cell import HEADER, new_cell, write


@pytest.fixture
def cell(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=one_long_day())
    rows = [*lines(quiet(BEFORE)), *lines(moved(6.0, 12, first=BEFORE), first=BEFORE)]
    monitor.take([write(tmp_path, "first.csv", HEADER, rows)])
    yield monitor
    monitor.close()


def anew(monitor, question):
    """Return what a cell opened anew answers."""
    fresh = cellmon.open_cell(monitor.folder)
    try:
        return question(fresh)
    finally:
        fresh.close()


QUESTIONS = {
    "state": lambda m: m.state(),
    "signals": lambda m: m.signals(),
    "waiting": lambda m: m.waiting_signals(),
}


def alike(monitor):
    for question in QUESTIONS.values():
        assert question(monitor) == anew(monitor, question)


def test_after_every_commit_answers_are_those_of_a_cell_opened_anew(cell, tmp_path):
    alike(cell)
    signal = cell.signals().signals[0]
    cell.respond(signal.id, by="A. Person", cause="chip", action="flushed")
    assert cell.signals().signals[0].state == "answered"
    alike(cell)
    count = cell.state().streams[0].subgroups
    more = lines(quiet(12, first=200), first=BEFORE + 12)
    cell.take([write(tmp_path, "second.csv", HEADER, more)])
    assert cell.state().streams[0].subgroups > count
    alike(cell)


def test_the_next_question_of_a_state_does_not_put_signals_together_again(cell, monkeypatch):
    from cellmon.monitor import signals

    known = cell.signals()
    monkeypatch.setattr(signals, "every_signal", None)
    assert cell.state().streams
    assert cell.signals() == known
    cell.log(Kind.EVENTS, {"event": "stones-dressed", "spindle": "S1", "at": "2026-03-02T06:00:00Z"})
    with pytest.raises(TypeError):
        cell.signals()


def test_why_is_asked_only_of_those_that_are_wanted(cell):
    every = cell.signals().signals
    assert every[0].causes or every[0].why_not
    bare = cell.signals(why=0).signals
    assert [replace(s, causes=(), why_not={}) for s in every] == list(bare)
    assert cell.signals(why=0, named=every[0].id).signals[0] == every[0]
    assert cell.signals(why=1).signals[0] == every[0]


def test_lengths_said_otherwise_are_worked_out_otherwise(cell):
    um = cell.signals().signals[0].words
    with lengths.shown_in(lengths.Shown.INCH):
        inch = cell.signals().signals[0].words
    assert inch != um
    assert cell.signals().signals[0].words == um
