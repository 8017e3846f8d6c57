"""One typed figure: a size, divisions or a deviation, and what is asked about it."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.errors import SheetRefused, WrongUsage
from cellmon.monitor.bore.entry import Dial, read_entry
from cellmon.monitor.bore.keeping import strokes_of
from cellmon.monitor.bore.measured import TypedBore
from cellmon.monitor.hand_sheet import HandSheet, hand_sheet_text, limits_of_clearance, new_hand_cell
from cellmon.units import LengthUnit
from tests.monitor.hand_cell import grown, hand_cell, typed

DIAL = Dial(
    nominal_mm=87.3,
    tolerance_um=24.0,
    unit=LengthUnit.MM,
    division_um=2.0,
    sign=1,
    set_um=10.0,
    turn_um=200.0,
)
PLAIN = Dial(
    nominal_mm=87.3,
    tolerance_um=24.0,
    unit=LengthUnit.MM,
    division_um=None,
    sign=1,
    set_um=0.0,
    turn_um=None,
)
SHEET = HandSheet(
    name="Bench", part_number="P", bores=2, unit="mm", nominal=68, lower=68, upper=68.02, length=100
)


@pytest.mark.parametrize(
    ("typed", "um"),
    [
        ("87.312", 12),
        ("87,312", 12),
        ("87.312 mm", 12),
        ("3.4375in", 12.5),
        ("+3", 16),
        ("-12", -14),
        ("4 div", 18),
        ("+7um", 7),
        ("\u22125um", -5),
        ("+2,5", 15),
    ],
)
def test_every_way_of_typing_a_reading_is_read(typed, um):
    found = read_entry(typed, DIAL)
    assert found.um == pytest.approx(um)
    assert found.asked == ()


def test_a_clockwise_dial_may_count_smaller():
    turned = Dial(**{**vars(DIAL), "sign": -1})
    assert read_entry("+3", turned).um == pytest.approx(10 - 6)


def test_without_divisions_a_signed_figure_is_micrometres():
    assert read_entry("+3", PLAIN).um == 3.0
    with pytest.raises(WrongUsage, match="division"):
        read_entry("3 div", PLAIN)


def test_inch_by_mistake_a_far_figure_and_a_dial_turn_are_asked_about():
    inch = read_entry("3.4375", DIAL)
    assert inch.um == pytest.approx(12.5)
    assert "is it in?" in inch.asked[0]
    assert "from nominal" in read_entry("79.3", DIAL).asked[0]
    assert "from nominal" in read_entry("+900um", DIAL).asked[0]
    assert "turn misread" in read_entry("+100", DIAL, expected_um=12.0).asked[0]
    assert read_entry("+20um", DIAL, expected_um=12.0).asked == ()


@pytest.mark.parametrize("typed", ["", "x", "87.3.1", "1e3", "87 312", "nan", "--3"])
def test_what_is_no_figure_is_refused(typed):
    with pytest.raises(WrongUsage, match="no figure"):
        read_entry(typed, DIAL)


@given(st.text(max_size=12))
def test_nothing_typed_breaks_it(typed):
    with suppress(WrongUsage):
        assert abs(read_entry(typed, DIAL).um) < 1e16


def test_strokes_are_typed_by_zone():
    assert (strokes_of("12/0/3").full, strokes_of("12/0/3").bottom) == (12, 3)
    assert strokes_of("7").total == 7
    assert strokes_of({"top": 4}).top == 4
    for wrong in ("a", "1/2/3/4", "-3"):
        with pytest.raises(WrongUsage):
            strokes_of(wrong)
    with pytest.raises(WrongUsage):
        strokes_of({"middle": 4})


def test_limits_follow_from_a_clearance():
    assert limits_of_clearance(67.95, 0.05, 0.07) == (68.0, 68.02)
    with pytest.raises(WrongUsage, match="smaller first"):
        limits_of_clearance(67.95, 0.07, 0.05)


def test_a_short_sheet_of_answers_opens_and_nothing_is_replaced(tmp_path):
    path = new_hand_cell(tmp_path / "cell", SHEET)
    assert "[hand]" in path.read_text(encoding="utf-8")
    with pytest.raises(WrongUsage, match="already there"):
        new_hand_cell(tmp_path / "cell", SHEET)


def test_answers_that_make_no_sheet_write_nothing(tmp_path):
    wrong = HandSheet(**{**vars(SHEET), "lower": 69.0})
    with pytest.raises(SheetRefused):
        new_hand_cell(tmp_path / "cell", wrong)
    assert not (tmp_path / "cell").exists()


def test_a_name_cannot_break_out_of_the_sheet():
    text = hand_sheet_text(HandSheet(**{**vars(SHEET), "name": 'a"\n[store]\nurl="x'}))
    assert text.count("[store]") == 1
    assert "\n[store]" not in text


def test_a_bore_of_a_shift_is_typed_as_a_round_is(tmp_path):
    cell = hand_cell(tmp_path)
    readings = typed(grown(65)).readings
    odd = cell.look_at_measured(TypedBore(part="K1", bore="1", readings={**readings, ("top", "x"): "2.6772"}))
    assert "is it in?" in odd.asked[0]
    kept = cell.keep_measured(TypedBore(part="K1", bore="1", readings=readings, by="A. Person"))
    assert kept.um["top", "x"] == pytest.approx(10.0)
    found = cell.part("K1").measurements[0]
    assert (found.spindle, found.operator) == ("hand", "A. Person")
    with pytest.raises(WrongUsage, match="serial"):
        cell.keep_measured(TypedBore(part="", bore="1", readings=readings))


def test_a_figure_that_is_no_size_of_the_bore_is_asked_about_as_one_of_another_box():
    (asked,) = read_entry("20,5", DIAL).asked
    assert asked == "20.5 is no size near 87.300 mm: was it meant for another box?"
    assert "from nominal" in read_entry("86.5", DIAL).asked[0]
