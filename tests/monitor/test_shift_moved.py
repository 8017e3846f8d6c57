"""How far a stream's mean moved from the shift before, and whether its range leaves a doubt of it."""

from __future__ import annotations

import pytest

from cellmon.charts.batches import batches_apart
from tests.small_cell import HEADER, new_cell, rows, write

A_SHIFT = 144
"""Blocks of a shift, one every five minutes."""


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    """Two shifts whose second is larger, and the beginning of a third."""
    folder = tmp_path_factory.mktemp("moved")
    made = new_cell(folder / "cell")
    made.take([write(folder, "all.csv", HEADER, rows(2 * A_SHIFT + 20, minutes=5, jump_at=A_SHIFT))])
    return made


def test_a_lasting_move_is_told_with_a_range_that_leaves_no_doubt(cell):
    first, second, _ = cell.shifts_made().known
    now = cell.shifts(shift=str(second), feature="diameter")
    before = cell.shifts(shift=str(first), feature="diameter").shifts[0]
    one = now.shifts[0]
    assert one.moved_um.value == pytest.approx(one.mean_um - one.previous_mean_um)
    assert 0 < one.moved_um.low < one.moved_um.value < one.moved_um.high
    apart = batches_apart(
        *([p.mean_um for p in side.subgroups] for side in (before, one)), confidence=one.moved_um.confidence
    )
    assert one.moved_um.high - one.moved_um.low == pytest.approx(apart.high - apart.low)
    assert before.moved_um is None and "moved_um" not in before.why_not


def test_all_streams_of_the_cell_hold_together_whichever_are_asked_for(cell):
    second = str(cell.shifts_made().known[1])
    every = cell.shifts(shift=second).shifts
    assert {one.moved_um.confidence for one in every} == {1 - 0.05 / len(every)}
    alone = cell.shifts(shift=second, feature="taper").shifts
    assert [one.moved_um for one in alone] == [o.moved_um for o in every if o.stream.feature == "taper"]
    assert any(one.moved_um.low <= 0 <= one.moved_um.high for one in alone)


def test_a_shift_that_has_just_begun_tells_a_difference_without_a_range_and_why(cell):
    third = cell.shifts(shift=str(cell.shifts_made().known[2])).shifts[0]
    assert third.moved_um.value == pytest.approx(third.mean_um - third.previous_mean_um)
    assert third.moved_um.low is None and third.moved_um.high is None
    assert "16 undoubted subgroups" in third.why_not["moved_um"]
