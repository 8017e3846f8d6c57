"""Beside the rounds page Bore takes events, checks, stones and bores of a shift, box by box, by numbers."""

from __future__ import annotations

import pytest

from dashboards.pages import bore as page
from dashboards.pages import bore_asks, bore_shift, bore_shown, bore_stones
from dashboards.pages import bore_layout as ids
from dashboards.pages.bore_box import Mode
from dashboards.pages.bore_keeping import Beside, finish
from tests.monitor.hand_cell import PLACES, grown, hand_cell, typed

SPINDLES = """
[[spindles]]
id = "S1"
bores = ["1", "2"]
[[spindles]]
id = "S2"
bores = ["1", "2"]
"""
BY = Beside(by="A. Person")
SIZES = ["68.010", "68.011", "68.012", "68.009", "68.013", "68.008"]


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    return hand_cell(tmp_path_factory.mktemp("line"), more=SPINDLES)


def asks(cell, mode, bore="1"):
    return bore_asks.asks_of(cell.sheet, cell.bore(part="K7", bore=bore), mode, 0)


def read(found, name, text):
    box = next(one for one in found["boxes"] if one["name"] == name)
    return bore_asks.read_box(box, text, found)


def test_a_number_stands_for_a_name_and_no_other_is_taken(cell):
    found = asks(cell, Mode.EVENT)
    assert read(found, "event", "2")["shown"] == "stones dressed"
    assert read(found, "spindle", "2")["shown"] == read(found, "spindle", "S2")["shown"] == "S2"
    assert read(found, "event", "7")["shown"] == "spindle hones other bores"
    for text in ("0", "3", "hand", "-1"):
        assert "1 S1; 2 S2" in read(found, "spindle", text)["refused"]
    assert "is none of" in read(found, "event", "stones")["refused"]
    assert read(found, "value", "")["shown"] == "–"
    assert read(asks(cell, Mode.MEASURED), "spindle", "3")["shown"] == "hand"


def test_both_are_offered_and_come_back_to_the_bore(cell):
    answer = cell.bore(part="K7", bore="1")
    offered = [one.id["of"] for one in bore_shown.modes(answer, Mode.ROUND)[1:]]
    assert {"K7|1|measured|", "K7|1|event|"} <= set(offered)
    chosen = bore_shown.chosen_tab({"of": "K7|1|event|"}, [1])
    assert bore_asks.mode_of(answer, chosen, (), now=None) is Mode.EVENT


def test_an_event_is_kept_as_the_log_keeps_it_and_a_wrong_one_is_not(cell):
    found = asks(cell, Mode.EVENT)
    wrong = finish(cell, found, {"figures": {"event": "4", "spindle": "1"}}, BY)
    assert not wrong.kept
    assert "Nothing was kept." in wrong.said
    figures = {"event": "4", "spindle": "1", "value": "+1,5", "stone_set": "", "note": "by ear"}
    before = cell.last_change()
    became = finish(cell, found, {"figures": figures}, BY)
    if became.asked:
        assert cell.last_change() == before
        became = finish(cell, found, {"figures": figures, "sure": True}, BY, asked_before=became.asked)
    assert (became.kept, became.said) == (True, "Logged.")
    with cell._view() as view:
        latest = view.session.latest_events(view.as_of + 10**9)
    assert [
        (e, s, v, b) for e, s, v, b in zip(latest.event, latest.spindle, latest.value, latest.by, strict=True)
    ] == [("feed-offset", "S1", 1.5, "A. Person")]


def test_the_bores_of_a_shift_are_kept_one_after_another(cell):
    for bore in ("1", "2"):
        found = asks(cell, Mode.MEASURED, bore)
        assert [one["name"] for one in found["boxes"]][:2] == ["spindle", "part_c"]
        assert found["expected_um"] == {}
        figures = {"_".join(place): text for place, text in zip(PLACES, SIZES, strict=True)}
        became = finish(cell, found, {"figures": {**figures, "spindle": "2", "part_c": "20"}}, BY)
        if became.asked:
            said = {"figures": {**figures, "spindle": "2", "part_c": "20"}, "sure": True}
            became = finish(cell, found, said, BY, asked_before=became.asked)
        assert became.kept, became
        assert f"Bore {bore} of K7, honed on S2, is kept: conforms, from +8.0 µm to +13.0 µm." in became.said
    with cell._view() as view:
        bores = view.session.bores(spindle="S2")
    assert bores.bore.tolist() == ["1", "2"]
    assert set(bores.part) == {"K7"}


def kept(cell, found, figures):
    """Keep what was typed, and say that it is so where something is asked; return both answers."""
    first = finish(cell, found, {"figures": figures}, BY)
    if not first.asked:
        return first, first
    return first, finish(cell, found, {"figures": figures, "sure": True}, BY, asked_before=first.asked)


def test_a_rerouting_is_kept_and_boxes_of_another_event_count_as_empty(cell):
    found = asks(cell, Mode.EVENT)
    only = {box["name"]: box["only"] for box in found["boxes"]}
    assert only["bores"] == ("rerouted",)
    assert "gauge-zeroed" not in only["spindle"]
    assert only["event"] == only["note"] == ()
    figures = {"event": "7", "spindle": "2", "bores": "1 2", "gauge": "1", "value": "4", "note": "S1 is down"}
    assert kept(cell, found, figures)[1].kept
    with cell._view() as view:
        latest = view.session.latest_events(view.as_of + 10**9)
    (at,) = [i for i, event in enumerate(latest.event) if event == "rerouted"]
    assert (latest.spindle[at], latest.bores[at], latest.gauge[at]) == ("S2", "1 2", None)
    assert str(latest.value[at]) == "nan"


def test_a_gauge_on_a_master_is_kept_and_a_dial_turn_off_is_asked_first(cell):
    found = asks(cell, Mode.CHECK)
    figures = {"gauge": "1", "master": "68,000", "reading": "+101", "state": "2", "master_c": "20,5"}
    assert read(found, "gauge", "1")["shown"] == cell.sheet.measuring.gauge
    assert read(found, "state", "2")["shown"] == "as left"
    assert "none of 1 as found; 2 as left" in read(found, "state", "left")["refused"]
    assert "is it in?" in read(found, "master", "2.6772")["asked"][0]
    before = cell.last_change()
    first = finish(cell, found, {"figures": figures}, BY)
    assert (first.kept, cell.last_change()) == (False, before)
    assert "+1 dial turn from" in first.asked[0]
    became = kept(cell, found, {**figures, "reading": "+1"})[1]
    assert "stood +2.0 µm from its master. Kept." in became.said
    (check,) = cell.bore(part="K7", bore="1").zero_checks
    assert (check.state, check.zero_um) == ("as-left", 2.0)


STONES = """
[stones]
id = "R"
new_thickness_mm = 6.0
least_thickness_mm = 2.0
stones_per_set = 2
flat_um = 5
parallel_um = 5
"""


def test_thickness_of_the_stones_is_typed_judged_and_due_again_after_two_rounds(tmp_path):
    cell = hand_cell(tmp_path, more=STONES)
    answer = cell.bore(part="K7", bore="1")
    assert bore_stones.measured_last(cell) is None
    assert bore_stones.told(None) == []
    found = bore_asks.asks_of(cell.sheet, answer, Mode.STONES, 0)
    names = [box["name"] for box in found["boxes"]]
    assert names[:6] == ["stone_set", "1_top", "1_middle", "1_bottom", "1_holder", "1_way_up"]
    assert len(names) == 11
    assert read(found, "1_top", "5,960")["shown"] == "5.960 mm"
    none = finish(cell, found, {"figures": {"stone_set": "R1"}}, BY)
    assert "at one place at least" in none.said
    figures = {"stone_set": "R1", "1_holder": "1", "1_way_up": "dot up", "2_holder": "2"}
    figures |= {f"{s}_{place}": "5,960" for s in "12" for place in ("top", "middle", "bottom")}
    slip = {**figures, "2_top": "0.2346"}  # in inch by mistake
    before = cell.last_change()
    asked = finish(cell, found, {"figures": slip}, BY).asked
    assert any("stone 2, top: 0.2346 fits as inch, and mm is asked. Type 5.959?" in one for one in asked)
    assert cell.last_change() == before
    first, became = kept(cell, found, figures)
    assert any("is the name right?" in one for one in first.asked)
    assert became.said == "6 thicknesses of R1 are kept. These stones are within what the sheet asks."
    for full, um in ((0, 0), (4, 3), (4, 6)):
        cell.keep_round(typed(grown(um), full=full, part="K7"))
    last = bore_stones.measured_last(cell)
    assert (last.stone_set, last.rounds_since) == ("R1", 2)
    assert last.due.startswith("2 rounds were honed since")
    again = bore_asks.asks_of(cell.sheet, answer, Mode.STONES, 0, stones=last)
    assert again["filled"] == {"1_holder": "1", "1_way_up": "dot up", "2_holder": "2"}
    assert again["boxes"][0]["default"] == "R1"
    assert again["boxes"][1]["hint"] == "mm; last 5.960. Enter: not measured"
    text = str(bore_stones.told(last))
    assert "measure them again" in text
    assert "eye and breathing protection" in text


def test_the_bores_of_a_block_follow_one_another_each_with_its_verdict_and_so_does_the_next_block(tmp_path):
    cell = hand_cell(tmp_path, more=SPINDLES.replace('bores = ["1", "2"]\n', 'bores = ["1"]\n', 1))
    spindle = asks(cell, Mode.MEASURED, "2")["boxes"][0]
    assert spindle["default"] == "S2", "the one that hones bore 2 by the sheet"
    assert asks(cell, Mode.MEASURED, "1")["boxes"][0]["default"] == "hand", "two hone bore 1"
    sizes = dict(zip(["_".join(place) for place in PLACES], SIZES, strict=True))
    mode = None
    for bore, verdict in (("1", "conforms"), ("2", "does not conform")):
        chosen = bore_shown.Chosen(search=f"?serial=K7&bore={bore}", mode=mode)
        if mode is not None:
            assert "type what the gauge reads" in bore_shown.show(cell, chosen)[ids.SENTENCE]
        wide = dict.fromkeys(sizes, "68.030")
        figures = {**(wide if verdict == "does not conform" else sizes), "spindle": "S2", "part_c": ""}
        _, became = kept(cell, asks(cell, Mode.MEASURED, bore), figures)
        assert f"honed on S2, is kept: {verdict}, from " in became.said
        mode = became.then
    assert "Now bore" not in became.said
    assert became.search is None
    after = bore_shown.show(cell, bore_shown.Chosen(search="?serial=K7&bore=2", mode=mode))
    assert after[ids.SENTENCE] == cell.part("K7").sentence
    assert "does not conform" in str(after[ids.BORES])
    assert "/part?serial=K7" in str(after[ids.AFTER])
    assert after[ids.ASKS]["mode"] == "done"
    fresh = bore_shown.show(cell, bore_shown.Chosen(search="?serial=K8", mode=mode))
    assert fresh[ids.ASKS]["mode"] == "measured"
    assert "not yet" in str(fresh[ids.BORES])
    by_hand = bore_shown.show(cell, bore_shown.Chosen(search="?serial=K8"))
    assert by_hand[ids.ASKS]["mode"] == "as-found"
    assert "not begun" in str(by_hand[ids.BORES])


def test_a_block_that_comes_from_the_cell_is_said_as_the_cell_found_it_until_it_is_read_by_hand(tmp_path):
    cell = hand_cell(tmp_path, more=SPINDLES)
    before = bore_shown.show(cell, bore_shown.Chosen())
    assert "No block is in the hand yet" in str(before[ids.SENTENCE])
    assert before[ids.TOLD] == []
    untouched = bore_shown.show(cell, bore_shown.Chosen(search="?serial=K7"))
    assert "Before it came" not in str(untouched[ids.TOLD])
    sizes = dict(zip(["_".join(place) for place in PLACES], SIZES, strict=True))
    kept(cell, asks(cell, Mode.MEASURED), {**sizes, "spindle": "S2", "part_c": ""})
    assert "/bore?serial=K7" in str(bore_shown.show(cell, bore_shown.Chosen())[ids.TOLD])
    told = str(bore_shown.show(cell, bore_shown.Chosen(search="?serial=K7&bore=1"))[ids.TOLD])
    assert f"Before it came to the bench: {cell.part('K7').sentence} Bore 1 was read from" in told
    assert "/part?serial=K7" in told
    other = str(bore_shown.show(cell, bore_shown.Chosen(search="?serial=K7&bore=2"))[ids.TOLD])
    assert "Before it came to the bench" in other
    assert "was read from" not in other


def test_after_a_bore_of_a_shift_the_page_goes_on_to_the_next(tmp_path):
    cell = hand_cell(tmp_path, more=SPINDLES)
    figures = {"_".join(place): text for place, text in zip(PLACES, SIZES, strict=True)}
    figures |= {"spindle": "1", "part_c": ""}
    found = asks(cell, Mode.MEASURED, "1")
    _, became = kept(cell, found, figures)
    assert "Now bore 2." in became.said
    answers = page.shown(became, {"key": found["key"], "of": "x"}, (), 7)
    assert answers[5] == {"of": "K7|1", "mode": "done", "shift": True}
    assert answers[8] == "?serial=K7&bore=2&part_number=B-1"


def test_a_bore_with_a_reading_far_from_the_others_is_said_to_be_doubted_not_too_close_to_say(tmp_path):
    cell = hand_cell(tmp_path, more=SPINDLES)
    figures = {"_".join(place): text for place, text in zip(PLACES, SIZES, strict=True)}
    figures |= {"spindle": "1", "part_c": "", "top_x": "68.050"}
    asked, became = kept(cell, asks(cell, Mode.MEASURED, "1"), figures)
    assert "measure it again, or confirm" in str(asked.asked)
    assert "is kept: doubted, page Files decides, from +8.0 µm to +50.0 µm." in became.said
    assert "doubted" in bore_shift.found_of(cell.part("K7"))["1"]
