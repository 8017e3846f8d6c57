"""The first bores after a change: run, correct or wait; the old set-up beside it; released by name."""

import pytest

from cellmon.errors import CellmonError
from tests.monitor.judge.watched_cell import cell_of, logged, watched_rows


def cell(blocks_after, *, off=0.0, at=240, event="stones-fitted"):
    """Return a cell with so many blocks after a change of S1's stones, those of S1 off by so much."""
    lines = watched_rows(at + blocks_after, shift=lambda block, bore: off * (block >= at and bore in "12"))
    return cell_of(lines, [logged(at, event, stone_set="A2")])


def check(monitor):
    (found,) = monitor.first_bores().checks
    return found


def test_first_bores_on_target_let_a_spindle_run():
    found = check(cell(10))
    assert (found.spindle, found.change, found.verdict) == ("S1", "stones-fitted", "run")
    assert [p.bore for p in found.positions] == ["1", "2"]
    for position in found.positions:
        assert len(position.new_um) == len(position.parts) == len(position.verdicts) == 10
        assert position.parts[0] == "B0240" and len(position.old_um) == 5
        assert position.probability > 0.9


def test_first_bores_off_target_ask_for_a_correction_of_what_they_are_off():
    found = check(cell(10, off=6.0))
    assert found.verdict == "correct"
    for position in found.positions:
        assert position.by_um == pytest.approx(-6.0, abs=1.6)
    assert "qualified person" in found.caution


def test_one_bore_cannot_tell_and_says_how_many_more():
    found = check(cell(1, off=2.0))
    assert found.verdict == "cannot tell yet"
    waiting = [p for p in found.positions if p.verdict == "cannot tell yet"]
    assert waiting and all(p.more and p.more >= 1 for p in waiting)


def test_before_the_first_bore_nothing_is_told():
    found = check(cell(0))
    assert {p.verdict for p in found.positions} == {"cannot tell yet"}
    assert {p.mean_um for p in found.positions} == {None}


def test_without_a_change_there_is_nothing_to_release():
    monitor = cell_of(watched_rows(30))
    assert monitor.first_bores().checks == ()
    with pytest.raises(CellmonError):
        monitor.release_setup("S1", by="A. Person", why="first bores good")


@pytest.mark.parametrize(("by", "why"), [("", "good"), ("A. Person", "")])
def test_a_release_needs_a_name_and_a_reason(by, why):
    with pytest.raises(CellmonError):
        cell(10).release_setup("S1", by=by, why=why)


def test_a_release_is_signed_and_kept():
    monitor = cell(10)
    assert check(monitor).released_by is None
    monitor.release_setup("S1", by="A. Person", why="first bores good")
    found = check(monitor)
    assert (found.released_by, found.why) == ("A. Person", "first bores good")
    assert found.released_at is not None
