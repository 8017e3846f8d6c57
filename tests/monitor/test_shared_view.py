"""What one question worked out serves the next of the same state, and never one of another state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import cellmon
from cellmon import lengths
from cellmon.records import Kind
from cellmon.shifts import to_utc
from tests.monitor.test_signals import BEFORE, lines, moved, one_long_day, quiet
from tests.small_cell import HEADER, SHEET, new_cell, write


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
    "waiting": lambda m: m.waiting_signals(most=2),
    "listed": lambda m: m.signals_listed(most=50, why=2),
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
    from cellmon.monitor import signals_carried

    known = cell.signals()
    monkeypatch.setattr(signals_carried, "register", None)
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


AUDITED = SHEET.replace("[measuring]", '[features.Ra]\nunit = "um"\nupper = 1.2\n[measuring]')
AUDITS = "part,bore,characteristic,value,at,unit,spindle,gauge"


def audit(n, at):
    return f"A{n:03d},1,Ra,{0.5 + 0.01 * (n % 7):.3f},{at},um,S1,R1"


def test_audits_are_read_again_once_there_is_another_and_only_then(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED)
    early = [audit(n, f"2026-03-01T{n % 24:02d}:{n // 24:02d}:00Z") for n in range(30)]
    late = [audit(30, "2126-03-09T05:00:00Z")]  # dated in the future: it counts once the cell is so far
    monitor.take([write(tmp_path, "audits.csv", AUDITS, early), write(tmp_path, "ahead.csv", AUDITS, late)])
    named = {"spindle": "S1", "bore": "1", "feature": "Ra"}

    def counted():
        found = monitor.capability(**named)
        assert found == anew(monitor, lambda m: m.capability(**named))
        return found.capability[0].n

    def event(day):
        monitor.log(Kind.EVENTS, {"event": "stones-dressed", "spindle": "S1", "at": f"{day}T06:00:00Z"})

    event("2026-03-02")
    assert counted() == 30
    event("2026-03-03")
    assert counted() == 30
    event("2126-03-10")
    assert counted() == 31, "the moment of the view passed the audit"
    with monitor._view() as view:
        carried = view.audited
    event("2126-03-11")
    with monitor._view() as view:
        assert view.audited is carried, "no audit came, so none was read"
    monitor.take([write(tmp_path, "more.csv", AUDITS, [audit(31, "2026-03-08T05:00:00Z")])])
    assert counted() == 32


def test_signals_since_a_moment_are_those_of_all_that_stand(cell):
    def alike_since(view, start):
        wanted = tuple(
            s
            for s in view.signals
            if s.state != "withdrawn" and (start is None or to_utc(s.raised_at) >= start)
        )
        assert view.signals_since(start) == wanted
        return len(wanted)

    with cell._view() as view:
        first = min(to_utc(s.raised_at) for s in view.signals)
        tick = np.timedelta64(1, "us")
        found = [alike_since(view, start) for start in (None, first - tick, first, first + tick)]
    assert found[0] == found[1] == found[2] == found[3] + 1 > 0


def test_a_shift_tells_the_signals_raised_in_it(cell):
    every, called = cell.signals(why=0).signals, []
    for shift in cell.shifts_made().known:
        found = cell.shifts(shift=str(shift)).called
        assert list(found) == [s for s in every if shift.starts <= s.raised_at < shift.ends]
        called += found
    assert called


def test_the_loudest_shifts_of_a_week_are_those_with_the_most_signals(cell):
    newest = cell.shifts_made().known[-1]
    found = cell.shifts(shift=str(newest)).loudest
    assert 0 < len(found) <= 3
    counts = {str(one.shift): one.signals for one in found}
    every = {str(s): len(cell.shifts(shift=str(s)).called) for s in cell.shifts_made().known}
    assert counts.items() <= every.items()
    assert [one.signals for one in found] == sorted(every.values(), reverse=True)[: len(found)]
