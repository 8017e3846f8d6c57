"""A drawing says what changes in a narrow box and how to change it back; what needs attention stays."""

from __future__ import annotations

import re

import pytest

from dashboards import theme
from dashboards.figures import block, cut, edges, part_walls, ribbon, ruler
from dashboards.figures.calendar_slim import CHANGE, STOCK, slim
from dashboards.figures.narrow import few_marks, in_lines, narrowed
from dashboards.figures.stock_asked import beside
from dashboards.kept import kept
from dashboards.pages import gauge, stream_asked


@pytest.fixture(scope="module")
def week(read_week):
    return kept(read_week)


def drawn_of(week, name):
    if name == "block":
        return block.block_figure(week.now())
    if name == "ribbon":
        return ribbon.ribbon_figure(stream_asked.view_of(week, None, "two", None))
    if name == "edges":
        row = week.capability(feature="diameter").capability[0]
        return edges.edges_figure(week.capability_picture(row.stream))
    if name == "walls":
        return part_walls.walls_figure(week.part(week.newest_parts().parts[0]))
    answer = week.gauge()
    return ruler.ruler_figure(ruler.rulers_of(gauge.study_of(answer, None, None), answer.rule.zones))


def told(drawn):
    return drawn["layout"]["meta"]["narrow"]


@pytest.mark.parametrize("name", ["block", "ribbon", "edges", "walls", "ruler"])
def test_what_changes_in_a_narrow_box_is_changed_back(week, name):
    drawn = drawn_of(week, name)
    narrow = told(drawn)
    for path, was in narrow["was"].items():
        steps = re.findall(r"[^.\[\]]+", path)
        found = drawn["layout"]
        for step in steps:
            found = found[int(step)] if isinstance(found, list) else found.get(step)
        assert found == was, path
    assert {path for path in narrow["is"] if not path.endswith(".range")} == set(narrow["was"])
    assert narrow["is"]["margin.l"] <= 50


def test_in_a_narrow_box_a_bore_keeps_its_number_and_its_verdict(week):
    now, drawn = week.now(), drawn_of(week, "block")
    hollows = [i for i, one in enumerate(drawn["layout"]["annotations"]) if one.get("name") == block.INSIDE]
    bores = [bore for spindle in now.spindles for bore in spindle.bores]
    assert len(hollows) == len(bores)
    for i, bore in zip(hollows, bores, strict=True):
        text = told(drawn)["is"][f"annotations[{i}].text"].replace("<br>", " ")
        assert f"<b>{bore.bore}</b>" in text
        assert bore.verdict.value in text or "reading missing" in text


def test_in_a_narrow_box_every_length_of_a_ruler_is_still_told_with_its_name(week):
    drawn = drawn_of(week, "ruler")
    words, changes = drawn["layout"]["annotations"], told(drawn)["is"]
    lengths = [i for i, one in enumerate(words) if one.get("name") == ruler.TOLD]
    assert lengths
    for i in lengths:
        assert changes[f"annotations[{i}].text"] == f"{words[i - 1]['text']}  {words[i]['text']}"


def test_what_was_not_said_is_taken_back_as_nothing():
    drawn = narrowed(theme.figure([], height=100), {"xaxis.nticks": 4, "yaxis.range": [0, 1]})
    assert told(drawn) == {
        "is": {"xaxis.nticks": 4, "yaxis.range": [0, 1]},
        "was": {"xaxis.nticks": None},
        "below": 700,
    }


def test_few_marks_keep_their_names():
    marks = {"tickvals": list(range(9)), "ticktext": [f"{i}:00" for i in range(9)]}
    few = few_marks(marks)
    assert few["xaxis.ticktext"] == [f"{i}:00" for i in few["xaxis.tickvals"]]
    assert len(few["xaxis.tickvals"]) <= 4


def test_no_word_is_broken():
    assert in_lines("does not conform", 9) == "does not<br>conform"
    assert in_lines("nonconforming", 4) == "nonconforming"


def test_planes_and_limits_are_named_at_the_edge_of_the_block(week):
    drawn = drawn_of(week, "block")
    named = [one for one in drawn["layout"]["annotations"] if one.get("name") == cut.EDGE]
    axes = (drawn["layout"]["yaxis"], drawn["layout"]["yaxis2"])
    assert [one["text"] for one in named] == [text for axis in axes for text in axis["ticktext"]]
    edge = min(x for trace in drawn["data"] for x in trace["x"] if x is not None)
    assert all(one["x"] == pytest.approx(edge, abs=0.2) for one in named)


def calendar_of(*words):
    made = [beside(text, x, y, name=name, left=left, colour=theme.INK) for text, x, y, name, left in words]
    changes = told(slim(theme.figure([], height=300, annotations=made), first_stock=-30.0))["is"]
    return lambda i, what: changes.get(f"annotations[{i}].{what}")


def test_in_a_narrow_calendar_a_range_that_would_lie_over_a_set_is_left_to_a_tap():
    says = calendar_of(("FS-1044", 1.5, -50.0, CHANGE, False), ("28 Oct to 2 Nov", 5.6, -50.0, CHANGE, True))
    assert says(0, "visible") is None
    assert says(1, "visible") is None  # with room between them both stand
    says = calendar_of(("FS-1044", 1.5, -50.0, CHANGE, False), ("28 Oct to 2 Nov", 5.1, -50.0, CHANGE, True))
    assert (says(0, "visible"), says(1, "visible")) == (None, False)


def test_in_a_narrow_calendar_words_of_the_stock_that_would_meet_stand_in_two_lines():
    says = calendar_of(
        ("order 5 sets D64", 2.6, -30.0, STOCK, False), ("2 D64 due", 4.0, -30.0, STOCK, False)
    )
    assert (says(0, "yshift"), says(1, "yshift")) == (None, 12)
    assert says(1, "visible") is None


def test_in_a_narrow_calendar_words_that_would_be_cut_off_stand_on_the_other_side():
    says = calendar_of(("28 Nov to 11 Dec", 4.9, -50.0, CHANGE, False))
    assert (says(0, "xanchor"), says(0, "xshift")) == ("right", -10)
