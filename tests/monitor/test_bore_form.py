"""A bore in the hand beside its size: form, reasons, other drawings, clearance, crosshatch."""

from __future__ import annotations

import pytest

from cellmon.errors import NotFound, WrongUsage
from cellmon.records import Kind, Verdict
from tests.monitor.hand_cell import SHEET, hand_cell, typed

FORM = """
[features.taper]
lower = -4.0
upper = 4.0
[features.ovality]
upper = 5.0
"""
SIZED = ["68.011", "68.011", "68.012", "68.012", "68.011", "68.011"]
TAPERED = ["68.014", "68.014", "68.010", "68.010", "68.004", "68.004"]
OVAL = ["68.016", "68.006", "68.016", "68.006", "68.016", "68.006"]


def test_a_bore_of_the_right_size_is_finished_only_with_its_form(tmp_path):
    cell = hand_cell(tmp_path, more=FORM)
    cell.keep_round(typed(SIZED, bore="1"))
    cell.keep_round(typed(TAPERED, bore="2"))
    good, bad = cell.bore(part="K1", bore="1"), cell.bore(part="K1", bore="2")
    assert (good.next.step, good.verdict) == ("finished", Verdict.CONFORMS)
    assert [one.verdict for one in good.see.form] == [Verdict.CONFORMS, Verdict.CONFORMS]
    assert bad.verdict is Verdict.DOES_NOT_CONFORM
    assert bad.see.form[0].um == pytest.approx(10.0)
    assert bad.next.step == "test round"
    assert bad.next.strokes_bottom > bad.next.strokes_full
    assert bad.next.strokes_top == 0


def test_a_form_that_nothing_mends_says_why_and_names_the_oversize(tmp_path):
    sheet = SHEET.replace("[hand]", "[hand]\ninterruptions = { web = [90.0, 100.0] }")
    cell = hand_cell(tmp_path, sheet=sheet, more=FORM)
    cell.keep_round(typed(TAPERED))
    told = cell.bore(part="K1", bore="1").next
    assert told.step == "cannot be saved"
    assert told.in_the_way == {"top": (), "bottom": ("web",)}
    assert told.reasons == ("Taper is +10.0 µm, allowed from −4 µm to 4 µm; the guard band is 1.3 µm.",)
    assert told.oversize_um == 250.0


def test_without_limits_of_form_size_alone_finishes(tmp_path):
    cell = hand_cell(tmp_path)
    cell.keep_round(typed(TAPERED))
    answer = cell.bore(part="K1", bore="1")
    assert (answer.next.step, answer.see.form, answer.verdict) == ("finished", (), Verdict.CONFORMS)


def test_too_wide_says_by_how_much(tmp_path):
    cell = hand_cell(tmp_path)
    cell.keep_round(typed(["68.030", *SIZED[1:]]))
    told = cell.bore(part="K1", bore="1").next
    assert told.step == "cannot be saved"
    assert "top x, is 6.0 µm past the upper limit" in told.reasons[0]


def test_a_bore_that_does_not_come_clean_says_so_before_the_first_stroke(tmp_path):
    cell = hand_cell(tmp_path)
    cell.keep_round(typed(["68.021", "68.021", "67.98", "67.98", "67.97", "67.97"]))
    answer = cell.bore(part="K1", bore="1")
    assert answer.see.cleans_up is False
    assert any("come clean" in one and "+26.0" in one for one in answer.next.reasons)
    assert answer.next.oversize_um == 250.0


PARTS = SHEET.replace("[part]", "[[parts]]").replace("[features.diameter]", "[parts.features.diameter]")
SECOND = """
[[parts]]
number = "B-2"
bores = ["1"]
length_mm = 140.0
[parts.features.diameter]
nominal = 50.000
lower = 50.000
upper = 50.024
"""


def test_every_drawing_of_the_sheet_has_rounds_of_its_own(tmp_path):
    at = PARTS.index("[measuring]")
    cell = hand_cell(tmp_path, sheet=PARTS[:at] + SECOND + PARTS[at:])
    cell.keep_round(typed(SIZED, part="K1"))
    small = ["49.95", "49.95", "49.94", "49.94", "49.93", "49.93"]
    cell.keep_round(typed(small, part="L1", part_number="B-2"))
    answer = cell.bore(part="L1", bore="1")
    assert (answer.part_number, answer.nominal_mm) == ("B-2", 50.0)
    assert answer.rounds[0].um["top_x"] == pytest.approx(-50.0)
    assert cell.bore(part="K1", bore="1").part_number == "B-1"
    with pytest.raises(WrongUsage, match="rounds of this bore are of B-2"):
        cell.look_at_round(typed(small, part="L1", part_number="B-1"))


def test_a_file_of_rounds_counts_each_size_from_its_own_drawing(tmp_path):
    at = PARTS.index("[measuring]")
    cell = hand_cell(tmp_path, sheet=PARTS[:at] + SECOND + PARTS[at:])
    path = tmp_path / "rounds.csv"
    path.write_text(
        "part,bore,round,at,plane,direction,diameter_mm,part_number\n"
        "L1,1,0,2026-03-02T05:00:00Z,top,x,49.96,B-2\nL1,1,0,2026-03-02T05:00:00Z,top,y,49.96,B-9\n"
    )
    taken = cell.take([path]).files[0]
    assert (taken.taken, [one.reason for one in taken.set_aside]) == (1, ["unknown-part"])
    assert cell.bore(part="L1", bore="1").rounds[0].um["top_x"] == pytest.approx(-40.0)


# By hand: 68.011 to 68.012 mm less 67.960 mm is 51 to 52 um
def test_the_clearance_of_the_part_that_goes_in(tmp_path):
    cell = hand_cell(tmp_path, more="[fit]\nclearance_lower_um = 40\nclearance_upper_um = 51.5\n")
    cell.keep_round(typed(SIZED))
    cell.log(Kind.MATING_PARTS, {"part": "P-7", "diameter_mm": "67.960", "at": "2026-03-02T05:00:00Z"})
    room = cell.bore(part="K1", bore="1", mating_part="P-7").clearance
    assert (room.least_um, room.greatest_um) == (pytest.approx(51.0), pytest.approx(52.0))
    assert room.verdict is Verdict.DOES_NOT_CONFORM
    assert cell.bore(part="K1", bore="1").clearance is None
    with pytest.raises(NotFound, match="P-8"):
        cell.bore(part="K1", bore="1", mating_part="P-8")


STONES = """
[stones]
id = "fine"
stage = "finish"
new_thickness_mm = 5.0
least_thickness_mm = 2.0
stones_per_set = 2
stone_length_mm = 70.0
"""


# Stroke 140 + 2 x 23.3 - 70 = 116.6 mm; 2 x 0.1166 x 60 = 13.99 m/min; wall pi x 0.068 x 180 = 38.45 m/min:
# 2 atan(13.99 / 38.45) = 40.0 degrees, with pi / 2 mid-stroke 59.5 (arithmetic by hand)
def test_the_crosshatch_is_that_of_the_last_speeds_or_says_why_not(tmp_path):
    cell = hand_cell(tmp_path, more=STONES)
    cell.keep_round(typed(["67.95"] * 6))
    cell.keep_round(typed(["67.955"] * 6, full=10, rpm=180.0, strokes_per_min=60.0))
    found = cell.bore(part="K1", bore="1").crosshatch
    assert found.mean_deg == pytest.approx(40.0, abs=0.05)
    assert found.mid_stroke_deg == pytest.approx(59.5, abs=0.1)
    assert found.measured_deg is None
    cell.keep_round(typed(["67.96"] * 6, full=10))
    assert "not noted" in cell.bore(part="K1", bore="1").crosshatch.why_not


def test_while_one_bore_cools_another_that_is_not_finished_is_named(tmp_path):
    cell = hand_cell(tmp_path)
    warm = ["67.980"] * 6
    cell.keep_round(typed(warm, part_temp_c=28.0))
    told = cell.bore(part="K1", bore="1").next
    assert (told.step, told.other_bore) == ("let it cool", "2")
    cell.keep_round(typed(["67.99"] * 6, bore="2"))
    assert cell.bore(part="K1", bore="1").next.other_bore == "2"
    cell.keep_round(typed(SIZED, bore="2", full=5))
    assert cell.bore(part="K1", bore="1").next.other_bore is None
