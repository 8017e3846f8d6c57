"""Beside the rounds, page Bore takes a cell event and the bores of a shift, box by box, by numbers."""

from __future__ import annotations

import pytest

from dashboards.pages import bore_asks, bore_shown
from dashboards.pages.bore_box import Mode
from dashboards.pages.bore_keeping import Beside, finish
from tests.monitor.hand_cell import PLACES, hand_cell

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
        assert f"Bore {bore} of K7, honed on S2, is kept." in became.said
    with cell._view() as view:
        bores = view.session.bores(spindle="S2")
    assert bores.bore.tolist() == ["1", "2"]
    assert set(bores.part) == {"K7"}
