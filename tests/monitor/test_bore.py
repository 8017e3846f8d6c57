"""One bore in the hand, asked of the monitor."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

import cellmon
from cellmon.errors import NotFound, WrongUsage
from cellmon.records import Kind
from tests.monitor.hand_cell import RECEIVED, SHEET, grown, hand_cell, typed


@pytest.fixture
def cell(tmp_path):
    return hand_cell(tmp_path)


def test_before_a_reading_nothing_is_known_and_said_so(cell):
    answer = cell.bore(part="K1", bore="1")
    assert answer.see is None
    assert answer.next is None
    assert set(answer.why_not) == {"see", "next"}
    assert answer.cautions


def test_as_received_says_where_how_much_and_a_test_round(cell):
    cell.keep_round(typed(RECEIVED))
    answer = cell.bore(part="K1", bore="1")
    assert (answer.see.tight, answer.see.wide) == ("bottom y", "top x")
    assert answer.see.left_um == pytest.approx(67.0)
    assert answer.see.taper_um == pytest.approx(9.0)
    assert answer.see.cleans_up is True
    assert answer.see.places[0].to_lower_um == pytest.approx(55.0)
    assert (answer.next.step, answer.next.begin_at, answer.next.stones) == ("test round", "bottom", "rough")
    assert 3 <= answer.next.strokes_full + answer.next.strokes_bottom <= 20


def test_a_round_is_learned_and_held_against_its_advice(cell):
    cell.keep_round(typed(RECEIVED))
    told = cell.bore(part="K1", bore="1").next
    took = 0.5 * (told.strokes_full + told.strokes_bottom)
    cell.keep_round(typed(grown(took), full=told.strokes_full, bottom=told.strokes_bottom, stones="rough"))
    answer = cell.bore(part="K1", bore="1")
    assert answer.rounds[1].kept == "as said"
    assert answer.next.step == "strokes"
    assert answer.next.removal_low_um < 0.5 < answer.next.removal_high_um
    assert answer.next.past_upper < 0.0001


def test_rounds_survive_closing_and_a_second_monitor(cell, tmp_path):
    cell.keep_round(typed(RECEIVED))
    cell.close()
    again = cellmon.open_cell(tmp_path)
    assert len(again.bore(part="K1", bore="1").rounds) == 1


def test_a_round_typed_again_stands_beside_the_first(cell):
    cell.keep_round(typed(RECEIVED))
    cell.keep_round(typed(grown(5), full=8))
    cell.keep_round(typed(grown(4), full=8, number=1))
    answer = cell.bore(part="K1", bore="1")
    assert len(answer.rounds) == 2
    assert answer.rounds[1].corrected == 1
    assert answer.rounds[1].um["top_x"] == pytest.approx(-51.0)
    cell.keep_round(typed(grown(9), full=8))
    cell.keep_round(typed(grown(12), full=5))
    cell.keep_round(typed(grown(15), full=5))
    with pytest.raises(WrongUsage, match="last 3 rounds"):
        cell.look_at_round(typed(RECEIVED, number=1))


def test_odd_rounds_are_asked_about_in_words(cell):
    looked = cell.look_at_round(typed(["2.6750", *RECEIVED[1:]]))
    assert "is it in?" in looked.asked[0]
    dirt = cell.look_at_round(typed(["67.905", *RECEIVED[1:]]))
    assert "wipe" in dirt.asked[0]
    cell.keep_round(typed(RECEIVED))
    assert "typed twice" in cell.look_at_round(typed(RECEIVED, full=5)).asked[0]
    assert "smaller than before" in cell.look_at_round(typed(grown(-6), full=5)).asked[0]
    assert "without a stroke" in cell.look_at_round(typed(grown(6))).asked[0]
    assert "not expected" in " ".join(cell.look_at_round(typed(grown(60), full=2)).asked)
    assert "dial turn" in cell.look_at_round(typed(grown(203), full=8)).asked[0]
    assert cell.look_at_round(typed(grown(5), full=8)).asked == ()


def test_what_cannot_be_a_round_is_refused(cell):
    with pytest.raises(WrongUsage, match="as received"):
        cell.keep_round(typed(RECEIVED, full=3))
    with pytest.raises(WrongUsage, match="no figure"):
        cell.keep_round(typed(["abc", *RECEIVED[1:]]))
    with pytest.raises(NotFound, match="no bore 9"):
        cell.bore(part="K1", bore="9")


def test_a_warm_bore_waits_and_another_is_named(cell):
    cell.keep_round(typed(grown(40)))
    cell.keep_round(typed(grown(45), full=5, part_temp_c=28.0))
    answer = cell.bore(part="K1", bore="1")
    assert answer.next.step == "let it cool"
    assert answer.next.strokes_full == 0
    assert answer.next.other_bore == "2"


def test_rough_stones_hand_over_to_fine_ones_with_a_test_round(cell):
    cell.keep_round(typed(grown(20), stones=""))
    cell.keep_round(typed(grown(58), full=50, stones="rough"))
    answer = cell.bore(part="K1", bore="1")
    assert (answer.next.step, answer.next.change_to) == ("finer stones", "fine")
    fine = cell.bore(part="K1", bore="1", next_stones="fine")
    assert (fine.next.step, fine.next.stones) == ("test round", "fine")
    assert fine.next.removal_um < answer.next.removal_um


def test_a_bore_past_its_limit_is_told_the_next_oversize(cell):
    cell.keep_round(typed(grown(110)))
    answer = cell.bore(part="K1", bore="1")
    assert answer.next.step == "cannot be saved"
    assert answer.next.oversize_um == 250.0
    assert "250" in answer.next.sentence


def test_a_coated_bore_gets_no_advice(tmp_path):
    sheet = SHEET.replace('material = "grey cast iron"', 'material = "cast aluminium"\nsurface = "coated"')
    cell = hand_cell(tmp_path, sheet=sheet)
    cell.keep_round(typed(RECEIVED))
    answer = cell.bore(part="K1", bore="1")
    assert answer.next.step == "confirm the surface"
    assert answer.next.strokes_full == 0
    assert "qualified person" in answer.next.sentence


def test_short_strokes_end_where_the_sheet_names_a_port(tmp_path):
    cell = hand_cell(tmp_path, more="interruptions = { port = [90.0, 110.0] }\n")
    cell.keep_round(typed(RECEIVED))
    told = cell.bore(part="K1", bore="1").next
    assert told.strokes_bottom == 0
    assert told.strokes_full > 0


def test_what_one_bore_taught_is_expected_of_the_next(cell):
    cell.keep_round(typed(RECEIVED))
    for k in (1, 2, 3):
        cell.keep_round(typed(grown(2.0 * k), full=10, stones="rough"))
    cell.keep_round(typed(RECEIVED, bore="2"))
    told = cell.bore(part="K1", bore="2").next
    assert told.removal_um == pytest.approx(0.2, rel=0.2)
    assert told.removal_high_um / told.removal_low_um < 4
    assert told.step == "test round"


def test_a_coarse_gauge_is_said_to_settle_nothing_near_a_limit(tmp_path):
    sheet = SHEET.replace("uncertainty_common_um = 0.5", "uncertainty_common_um = 5.0")
    cell = hand_cell(tmp_path, sheet=sheet)
    cell.keep_round(typed(RECEIVED))
    answer = cell.bore(part="K1", bore="1")
    assert not answer.see.settles
    assert "quarter of the tolerance" in answer.notes[0]


def measured(cell, at, mm, *, holder="1"):
    for place, value in zip(("top", "middle", "bottom"), mm, strict=True):
        for stone, own in (("a", holder), ("b", "2")):
            thick = value if stone == "a" else 3.0
            row = {"at": at, "stone_set": "R1", "stone": stone, "position": place, "holder": own}
            cell.log(Kind.STONE_MEASUREMENTS, {**row, "thickness_mm": f"{thick:.4f}", "way_up": "dot up"})


def test_stones_are_held_against_the_sheet_and_told_where_to_lose_material(tmp_path):
    more = (
        '[stones]\nid = "R"\nnew_thickness_mm = 3.0\nleast_thickness_mm = 1.0\nflat_um = 5\nparallel_um = 5\n'
    )
    cell = hand_cell(tmp_path, more=more)
    with pytest.raises(NotFound, match="top and bottom"):
        cell.stones_in_hand(stone_set="R1")
    measured(cell, "2026-11-20 10:00", (3.0, 3.0, 3.0))
    assert cell.stones_in_hand(stone_set="R1").flat is True
    measured(cell, "2026-11-21 10:00", (3.0, 2.99, 2.98), holder="2")
    answer = cell.stones_in_hand(stone_set="R1")
    assert (answer.flat, answer.parallel, answer.matched) == (True, False, None)
    assert answer.stones[0].take_off_um == pytest.approx({"top": 15, "middle": 5, "bottom": 0})
    assert (answer.stones[0].holder, answer.stones[0].moved) == ("1", True)
    assert "stone a at its top" in answer.sentence


def test_a_kept_round_survives_a_kill(tmp_path):
    hand_cell(tmp_path).close()
    command = [sys.executable, "-m", "cellmon", "bore", "K1", "1", "--cell", str(tmp_path), "--json"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as running:
        running.stdin.write(json.dumps({"readings": RECEIVED}) + "\n")
        running.stdin.flush()
        running.stdout.readline()
        assert json.loads(running.stdout.readline())["kept"]
        running.stdin.write(json.dumps({"readings": grown(5), "strokes": {"full": 9}}) + "\n")
        running.kill()
    again = cellmon.open_cell(tmp_path)
    rounds = again.bore(part="K1", bore="1").rounds
    assert len(rounds) in (1, 2)
    assert rounds[0].um["top_x"] == pytest.approx(-55.0)
