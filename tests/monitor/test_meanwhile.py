"""What somebody else decided meanwhile is not decided anew by who had looked before it."""

from __future__ import annotations

import pytest

import cellmon
from cellmon.errors import DecidedAlready, WrongUsage
from tests.monitor.test_decisions import jump
from tests.monitor.test_second_person import WANTED, on_each, url
from tests.small_cell import EVENTS, HEADER, new_cell, rows, write

__all__ = ["url"]

ITO = {"by": "B. Ito", "why": "looked first"}
WEBER = {"by": "A. Weber", "why": "looked as well"}


@pytest.fixture
def cell(tmp_path):
    """A cell with a jump and a doubt, and stones fitted before its last bores."""
    opened = new_cell(tmp_path / "cell")
    lines = [r.replace(",1,S1,", ",1,S2,") if r.startswith("B0040") else r for r in rows(jump_at=95)]
    opened.take([write(tmp_path, "rows.csv", HEADER, lines)])
    yield opened
    opened.close()


def entries(cell, kind):
    """Return the decisions of a kind."""
    return [one for one in cell.journal().entries if one.kind == kind]


@on_each
def test_of_two_who_freeze_what_they_saw_the_second_hears_of_the_first(tmp_path, url):
    cell = new_cell(tmp_path / "cell", url=url)
    cell.take([write(tmp_path, "rows.csv", HEADER, rows())])
    other = cellmon.open_cell(cell.folder)
    looked = cell.baselines().decided
    other.freeze(**ITO, knew=other.baselines().decided)
    frozen = entries(cell, "freeze")
    with pytest.raises(DecidedAlready, match=r"B\. Ito decided this already, .*: looked first; nothing was"):
        cell.freeze(**WEBER, knew=looked)
    assert entries(cell, "freeze") == frozen
    cell.freeze(**WEBER, knew=cell.baselines().decided)
    assert len(entries(cell, "freeze")) == 2 * len(frozen), "who saw that they are frozen may freeze anew"
    other.close()
    cell.close()


def test_only_limits_of_the_same_streams_stand_in_the_way(cell):
    looked = cell.baselines(spindle="S1").decided
    cell.freeze(**ITO, spindle="S1", feature="taper")
    cell.freeze(**WEBER, spindle="S1", feature="diameter", knew=looked)
    with pytest.raises(DecidedAlready, match=r"^limits of S1 bore 1 diameter, S1 bore 1 taper: A\. Weber"):
        cell.freeze(**WEBER, spindle="S1", knew=looked)


def test_limits_that_wait_for_a_second_name_are_not_proposed_twice(tmp_path):
    cell = new_cell(tmp_path / "cell", sheet=WANTED)
    cell.take([write(tmp_path, "rows.csv", HEADER, rows())])
    [first] = cell.freeze(**ITO, knew=0).waiting
    with pytest.raises(DecidedAlready, match=r"B\. Ito"):
        cell.freeze(**WEBER, knew=0)
    cell.sign(first.id, by="A. Weber", why="no", refuse=True)
    assert len(cell.freeze(**WEBER, knew=0).waiting) == 1, "what was refused stands in nobody's way"
    cell.close()


def test_of_two_who_say_what_became_of_parts_the_second_hears_of_the_first(cell):
    signal = jump(cell).id
    hold = cell.hold(signal)
    one, two, three, *_ = dict.fromkeys(p.part for p in hold.parts)
    cell.release(signal, parts=[one, two], as_="scrapped", **ITO, knew=hold.decided)
    with pytest.raises(DecidedAlready, match=rf"^{two}: B\. Ito decided this already"):
        cell.release(signal, parts=[two, three], as_="released", **WEBER, knew=hold.decided)
    assert len(entries(cell, "release")) == 1
    cell.release(signal, parts=[three], as_="released", **WEBER, knew=hold.decided)
    cell.release(signal, parts=[two], as_="reworked", **WEBER, knew=cell.hold(signal).decided)
    became = {p.part: p.disposition for p in cell.hold(signal).parts}
    assert (became[one], became[two], became[three]) == ("scrapped", "reworked", "released")


def test_an_answer_to_a_signal_that_was_answered_meanwhile_is_refused(cell):
    signal = jump(cell).id
    looked = cell.signal_named(signal).decided
    cell.respond(signal, by="B. Ito", seen=True)
    cell.respond(signal, by="A. Weber", cause="offset", action="undone", knew=looked)
    with pytest.raises(DecidedAlready, match=r"A\. Weber decided this already, .*: offset"):
        cell.respond(signal, by="B. Ito", cause="gauge", action="zeroed", knew=looked)
    cell.respond(signal, by="B. Ito", seen=True, knew=looked)
    assert cell.signal_named(signal).signal.response.cause == "offset"


def test_a_doubt_is_decided_once_by_those_who_saw_it_open(cell):
    doubt = cell.flags().flags[0].id
    cell.correct(doubt, accept=False, **ITO, knew=0)
    with pytest.raises(DecidedAlready, match=r"B\. Ito decided this already"):
        cell.correct(doubt, accept=True, **WEBER, knew=0)
    assert cell.flag(doubt).flag.state == "kept"


def test_a_set_up_is_released_once_and_only_after_the_change_that_was_looked_at(cell, tmp_path):
    fitted = ["2026-03-02T20:00:00Z,stones-fitted,S1,FS-1,"]
    cell.take([write(tmp_path, "fitted.csv", EVENTS, fitted)])
    looked = cell.first_bores()
    [check] = looked.checks
    again = ["2026-03-02T20:30:00Z,stones-fitted,S1,FS-2,"]
    cell.take([write(tmp_path, "again.csv", EVENTS, again)])
    with pytest.raises(WrongUsage, match="changed again since"):
        cell.release_setup("S1", **WEBER, changed_at=check.changed_at, knew=looked.decided)
    looked = cell.first_bores()
    cell.release_setup("S1", **ITO, changed_at=looked.checks[0].changed_at, knew=looked.decided)
    with pytest.raises(DecidedAlready, match=r"S1: B\. Ito"):
        cell.release_setup("S1", **WEBER, changed_at=looked.checks[0].changed_at, knew=looked.decided)
    assert len(entries(cell, "set-up")) == 1


def test_the_same_figures_are_signed_once_by_those_who_saw_them_unsigned(cell):
    cell.freeze(by="A. Weber", why="quiet")
    looked = cell.capability(feature="taper").decided
    cell.sign_capability(**ITO, feature="taper", knew=looked)
    with pytest.raises(DecidedAlready, match=r"B\. Ito"):
        cell.sign_capability(**WEBER, feature="taper", knew=looked)


def test_who_adopts_a_sheet_that_is_in_force_hears_who_put_it_there(cell):
    sheet = cell.folder / "cell.toml"
    sheet.write_text(sheet.read_text().replace("[features.taper]", "[features.taper]\ntarget = 0.5"))
    cell.last_change()
    cell.adopt(**ITO)
    with pytest.raises(WrongUsage, match=r"B\. Ito put it in force, .*: looked first"):
        cell.adopt(**WEBER)
    assert len(entries(cell, "adopt")) == 1
