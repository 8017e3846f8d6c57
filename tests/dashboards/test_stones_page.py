"""The Stones page: what is answered first, advice with its cautions, lines, stones, calendar, files."""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest
from python_calamine import CalamineWorkbook

from cellmon.errors import NotFound
from cellmon.monitor.stone_picture import StonePicture
from cellmon.monitor.stones.ranges import GoodBores
from dashboards import theme
from dashboards.figures import change_calendar, stone_fans, stone_lines, stone_shape
from dashboards.pages import saving, stone_files, stone_words, stones
from tests.stone_answers import (
    NEVER_DRESSED,
    NOW,
    change,
    line,
    picture_answer,
    plan,
    stone_set,
    stones_answer,
)


@dataclass
class StandIn:
    """A monitor that has one answer about stones, or refuses."""

    answer: StonePicture = field(default_factory=picture_answer)
    refuses: bool = False
    sheet: Any = field(
        default_factory=lambda: SimpleNamespace(
            cell=SimpleNamespace(name="A cell", timezone="Europe/Berlin", lengths_shown="mm")
        )
    )

    def stone_picture(self) -> StonePicture:
        if self.refuses:
            raise NotFound("There is no cell here.")
        return self.answer


def traces(figure: theme.Figure, name: str) -> list[Any]:
    return [trace for trace in figure["data"] if trace.get("name") == name]


def said(figure: theme.Figure) -> str:
    return " | ".join(one["text"] for one in figure["layout"]["annotations"])


# -- words


def test_the_first_sentence_answers_what_to_order():
    sentence, beside, advice, cautions = stones.show_answer(StandIn())
    assert sentence.startswith("Order 7 D64 now")
    assert "The next change is FS-1 on S1 on Friday 23 Oct" in beside
    assert "S2 in the same stop" in beside
    assert "D64 runs out about Thursday 29 Oct" in beside
    assert "S2, FS-2: dress." in str(advice)
    assert "Never withdraw" in str(cautions)
    assert "A plan is a forecast" in str(cautions)


def test_with_nothing_due_it_says_until_when():
    by = NOW + timedelta(days=14)
    quiet = plan(order_list=(replace(plan().order_list[0], order_by=by, late=False),))
    answer = stones_answer(plan=quiet)
    assert stone_words.first_words(answer) == "Nothing to order until Thursday 5 Nov; then 7 D64."


def test_without_a_plan_the_sets_come_first_and_it_says_why():
    answer = stones_answer(plan=None, why_not={"plan": "the sheet plans no bores"})
    assert stone_words.first_words(answer) == answer.sentence
    assert "the sheet plans no bores" in stone_words.next_words(answer)
    figure = change_calendar.change_calendar_figure(picture_answer(stones=answer))
    assert "the sheet plans no bores" in said(figure)


def test_what_needs_attention_has_a_mark_and_words():
    (listed,) = stone_words.advice_list(stones_answer())
    first, second = listed.children
    assert first.className == ""
    assert second.className == "waits"
    assert "Truing is due" in str(second)


def test_a_swapped_stone_is_asked_about_beside_its_set():
    asked = "stone 2 reads as stone 3 did at the round before: were stones swapped or turned?"
    answer = stones_answer(sets=(stone_set("FS-1", "S1", asked=(asked,)),))
    (listed,) = stone_words.advice_list(answer)
    assert asked in str(listed)
    assert listed.children[0].className == "waits"
    assert asked.capitalize()[:12] in str(stone_words.shape_words(picture_answer(stones=answer), "FS-1"))


def test_the_shape_is_told_as_it_prints():
    words = str(stone_words.shape_words(picture_answer(), "FS-2"))
    assert "taper of up to 54 µm into a bore, wider at the bottom" in words
    assert "up to 7 µm wider in its middle (barrel)" in words
    assert "True the set: 28 µm." in words
    assert "Stroke and overrun first" in words
    none = stone_set("FS-1", "S1", shape=None, why_not={"parallelism_um": "it was never measured"})
    answer = picture_answer(stones=stones_answer(sets=(none,)))
    assert "it was never measured" in str(stone_words.shape_words(answer, "FS-1"))


def test_a_refusal_is_a_sentence_everywhere():
    monitor = StandIn(refuses=True)
    assert stones.show_answer(monitor)[0] == "There is no cell here."
    assert stones.set_options(monitor, None)[0] == []
    for figure in (*stones.show_set(monitor, "FS-1")[1:4:2], stones.show_plan(monitor)[0]):
        assert "There is no cell here." in said(figure)
    assert stones.show_history(monitor, None)[:3] == [[], [], []]


def test_the_set_of_a_link_is_kept_and_an_unknown_one_is_not():
    options, value = stones.set_options(StandIn(), None)
    assert [o["label"] for o in options][:3] == ["FS-1, on S1", "FS-2, on S2", "FS-3, ended"]
    assert value == "FS-1"
    assert stones.set_options(StandIn(), "FS-3")[1] is stones.no_update
    assert stones.set_options(StandIn(), "FS-99")[1] == "FS-1"
    assert "FS-3" in str(stones.layout("set=FS-3"))


# -- falling lines


def test_past_sets_are_pale_and_running_ones_in_ink_with_their_fan():
    figure = stone_lines.stone_lines_figure(picture_answer(), "FS-1")
    go.Figure(figure)
    (pale,) = traces(figure, "past sets")
    assert pale["line"]["color"] == theme.QUIET
    assert len(traces(figure, "fan")) == 2
    assert traces(figure, "FS-1")[0]["line"]["width"] > traces(figure, "FS-2")[0]["line"]["width"]
    ends = [trace["x"] for trace in traces(figure, "least thickness reached")]
    assert ends == [[9000.0, 9600.0, 10300.0]] * 2
    assert "<b>S1 FS-1</b>" in said(figure)
    assert "5,000 to 6,300 left" in said(figure)


def test_measured_points_carry_what_readings_repeat_to_and_hover_tells_bores_time_and_set():
    figure = stone_lines.stone_lines_figure(picture_answer(), "FS-1")
    rounds = traces(figure, "measured")[0]
    assert rounds["error_y"]["array"] == [3.3] * 3
    assert "FS-2: 1,800 bores, 1,950 µm left, Mon 19 Oct 10:00" in rounds["text"][1]
    assert "readings repeat to 3.3 µm" in rounds["text"][1]
    dressed = traces(figure, "dressed")[0]
    assert dressed["x"] == [1800.0, 3700.0]
    assert dressed["text"][0].startswith("dressed: FS-2")


def test_what_was_not_measured_since_is_dashed():
    figure = stone_lines.stone_lines_figure(picture_answer(), "FS-1")
    since = traces(figure, "since it was measured")
    assert [trace["x"] for trace in since] == [[3600.0, 4000.0]] * 2
    assert all(trace["line"]["dash"] != "solid" for trace in since)


def test_a_chip_is_crossed_in_the_past_and_ringed_on_a_set_that_runs():
    figure = stone_lines.stone_lines_figure(picture_answer(), "FS-1")
    (crossed,) = traces(figure, "chipped")
    assert crossed["x"] == [3600.0]
    assert crossed["marker"]["symbol"] == "x-thin-open"
    one = line("FS-1", "S1")
    broken = replace(one, rounds=(*one.rounds[:-1], replace(one.rounds[-1], jump="chip")))
    figure = stone_lines.stone_lines_figure(picture_answer(lines=(broken,)), "FS-1")
    assert theme.RING["symbol"] in [trace["marker"]["symbol"] for trace in traces(figure, "chipped")]


def test_the_least_thickness_is_told_by_its_form():
    figure = stone_lines.stone_lines_figure(picture_answer(), "FS-1")
    (below,) = traces(figure, "below the least")
    assert "fillpattern" in below
    assert max(below["y"]) == 0.0
    assert "least usable thickness, 0.60 mm" in said(figure)


def test_where_form_ends_a_set_first_it_is_named():
    good = GoodBores(p05=900, p50=1200, p95=None, feature="taper", bore="1")
    sets = (stone_set("FS-1", "S1", good_bores=good, limited_by="quality"),)
    figure = stone_lines.stone_lines_figure(picture_answer(stones=stones_answer(sets=sets)), "FS-1")
    assert traces(figure, "form limit")[0]["x"] == [4900.0, 5200.0]
    assert "taper may leave its tolerance first" in said(figure)


def test_only_sets_of_the_chosen_kind_are_drawn():
    lines = (line("FS-1", "S1"), replace(line("R-1", "S1"), kind="C80"))
    figure = stone_lines.stone_lines_figure(picture_answer(lines=lines), "R-1")
    assert traces(figure, "R-1")
    assert not traces(figure, "FS-1")
    assert stone_lines.rows(picture_answer(lines=lines), "R-1")["stone_set"] == ["R-1"] * 10


def test_where_many_sets_run_the_fan_of_the_chosen_one_stands_out_and_no_name_leaves_the_drawing():
    lines = tuple(
        replace(
            line(f"FS-{i}", f"S{i}"),
            now_bores=4000.0 - 5 * i,
            bores=np.array([0.0, 1800.0, 3600.0, 4000.0 - 5 * i]),
        )
        for i in range(1, 9)
    )
    figure = stone_lines.stone_lines_figure(picture_answer(lines=lines), "FS-3")
    go.Figure(figure)
    assert [trace["fillcolor"] for trace in traces(figure, "fan")].count(theme.DENSE_BAR) == 1
    assert len(traces(figure, "least thickness reached")) == 1
    assert len(traces(figure, "half of such sets")) == 8  # all tell their future at hover
    names = [one for one in figure["layout"]["annotations"] if one["showarrow"]]
    assert len(names) == 8
    top, bottom = figure["layout"]["yaxis"]["range"][::-1]
    for one in names:
        px = stone_fans.PLOT_PX * (top - one["y"]) / (top - bottom)
        assert 0 <= -one["ay"] <= px


def test_spindles_with_stones_of_two_stages_have_a_lane_for_each():
    changes = (change("S1", 1, 1.0), change("S1", 1, 2.0, stage="rough", kind="C80"), change("S2", 1, 2.0))
    answer = picture_answer(stones=stones_answer(plan=plan(changes=changes)))
    words = said(change_calendar.change_calendar_figure(answer))
    assert words.index("S1 rough") < words.index("S1 finish") < words.index("S2 finish")


def test_no_set_and_a_set_without_rounds_are_drawn_as_they_are():
    go.Figure(stone_lines.stone_lines_figure(picture_answer(lines=()), None))
    bare = replace(
        line("FS-1", "S1"),
        rounds=(),
        dressed=NEVER_DRESSED,
        fan=None,
        bores=np.zeros(1),
        left_um=np.array([2400.0]),
    )
    figure = stone_lines.stone_lines_figure(picture_answer(lines=(bare,)), "FS-1")
    go.Figure(figure)
    assert not traces(figure, "fan")


# -- the stones


def test_each_stone_is_drawn_with_holder_way_up_and_the_exaggeration_printed():
    figure = stone_shape.stone_shape_figure(picture_answer(), "FS-1")
    go.Figure(figure)
    faces = traces(figure, "face")
    assert len(faces) == 4
    words = said(figure)
    assert "stone 1" in words
    assert "holder a<br>mark up" in words
    assert "ends differ<br>by 28 µm" in words
    assert "thickness drawn 200 times larger than length" in words


def test_a_face_is_exaggerated_as_it_says():
    figure = stone_shape.stone_shape_figure(picture_answer(), "FS-1")
    scale = stone_shape.scale_of(picture_answer().stones.sets[0].stones, picture_answer().bodies[0])
    (first, *_) = traces(figure, "measured")
    top, middle, bottom = first["x"]
    assert bottom - top == pytest.approx(28 * scale.times / 1000)
    assert middle - top == pytest.approx(11 * scale.times / 1000)
    assert first["y"][0] < first["y"][2]
    assert figure["layout"]["yaxis"]["scaleanchor"] == "x"
    low, high = figure["layout"]["yaxis"]["range"]
    assert low > high  # the top is at the top


def test_ends_that_differ_by_more_than_the_sheet_allows_are_ringed_and_named():
    figure = stone_shape.stone_shape_figure(picture_answer(), "FS-1")
    assert len(traces(figure, "ends differ")) == 4
    assert "<b>ends differ" in said(figure)
    wide = replace(picture_answer().bodies[0], parallel_um=30.0)
    figure = stone_shape.stone_shape_figure(picture_answer(bodies=(wide,)), "FS-1")
    assert not traces(figure, "ends differ")
    assert "<b>ends differ" not in said(figure)


def test_many_stones_stand_in_rows_and_are_given_the_room():
    one = stone_set("FS-1", "S1")
    twelve = tuple(replace(one.stones[0], stone=str(i)) for i in range(12))
    answer = picture_answer(stones=stones_answer(sets=(replace(one, stones=twelve),)))
    figure = stone_shape.stone_shape_figure(answer, "FS-1")
    go.Figure(figure)
    left = {round(trace["x"][1], 6) for trace in traces(figure, "measured")}
    assert len(left) == 4  # twelve stones in three rows of four
    assert stone_shape.height_of(answer, "FS-1").startswith("calc(3 *")
    assert stones.show_set(StandIn(answer), "FS-1")[4] == {"height": stone_shape.height_of(answer, "FS-1")}
    assert stone_shape.height_of(picture_answer(), "FS-1") == stone_shape.HEIGHT


def test_a_set_never_measured_says_so():
    figure = stone_shape.stone_shape_figure(picture_answer(), "FS-0")
    assert "FS-0 was never measured" in said(figure)
    assert stone_shape.rows(picture_answer(), "FS-0")["stone"] == []


# -- the calendar


def test_the_calendar_begins_today_and_changes_stand_where_they_fall():
    figure = change_calendar.change_calendar_figure(picture_answer())
    go.Figure(figure)
    weeks = traces(figure, "change")
    assert [len(week["x"]) for week in weeks] == [3, 1]
    assert weeks[0]["x"][0] == pytest.approx(1 + 10 / 24)
    assert weeks[1]["x"][0] == pytest.approx(11 + 10 / 24 - 7)
    assert figure["layout"]["xaxis"]["ticktext"][0] == "Thu"


def test_merged_stops_are_joined_and_closed_days_hatched():
    figure = change_calendar.change_calendar_figure(picture_answer())
    joined = [week for week in traces(figure, "one stop") if week["x"]]
    assert len(joined) == 1
    assert joined[0]["x"][:2] == [pytest.approx(1 + 10 / 24)] * 2
    closed = traces(figure, "closed")
    assert len(closed) == 1
    assert closed[0]["x"][:2] == [pytest.approx(4.25), pytest.approx(5.25)]
    assert "26 closed" in said(figure)


def test_ranges_are_named_and_only_near_ones_drawn():
    figure = change_calendar.change_calendar_figure(picture_answer())
    words = said(figure)
    assert "FS-1 10:00" in words
    assert "27 to 29 Oct" in words
    assert "from 31 Oct on" in words
    drawn = [x for week in traces(figure, "range") for x in week["x"] if x is not None]
    days = sum(end - start for start, end in zip(drawn[::2], drawn[1::2], strict=True))
    assert days == pytest.approx(1 / 3 + 2)  # of two near changes, one bar goes on in the second row


def test_the_stock_is_told_over_the_dates_urgent_things_by_shape_and_weight():
    figure = change_calendar.change_calendar_figure(picture_answer())
    stock = traces(figure, "stock")
    assert [trace["marker"]["symbol"] for trace in stock] == ["diamond", "diamond", "diamond-open"]
    words = said(figure)
    assert "<b>order 7 sets D64</b>" in words
    assert "<b>D64 runs out</b>" in words
    assert "6 D64 due" in words


def test_a_change_is_told_with_its_range_and_what_shares_its_stop():
    text = change_calendar.change_words(plan().changes[1])
    assert "S2: FS-2 comes off about Fri 23 Oct 10:00" in text
    assert "in the same stop as S1, 120 bores early" in text
    assert "later than looked at" in change_calendar.change_words(plan().changes[3])


# -- history and files


def test_sets_and_lots_stand_with_their_ranges():
    _, lots, sets, style = stones.show_history(StandIn(), None)
    words = str(lots)
    assert "1.40 (1.10 to 1.80)" in words
    assert "at least 0.67" in words
    assert "moved" in words
    assert "250 (240 to 260)" in str(sets)
    assert "Sun 18 Oct, chipped" in str(sets)
    assert style == {"display": "none"}
    many = stones_answer(sets=tuple(stone_set(f"FS-{i}", "S1", state="ended") for i in range(40)))
    monitor = StandIn(picture_answer(stones=many))
    assert "FS-39" not in str(stones.show_history(monitor, None)[2])
    assert stones.show_history(monitor, None)[3] == {}
    assert "FS-39" in str(stones.show_history(monitor, 1)[2])


def test_every_table_and_figure_can_be_taken_as_columns():
    monitor = StandIn()
    for rows in (
        stones.lines_rows(monitor, "FS-1"),
        stones.shape_rows(monitor, "FS-1"),
        stones.calendar_rows(monitor),
        *(stones.table_rows(monitor, name) for name in (stones.ORDERS, stones.LOTS, stones.SETS)),
    ):
        assert rows
        assert len({len(column) for column in rows.values()}) == 1
        assert saving.csv_text(rows).count("\n") > 1
    assert stones.table_rows(monitor, stones.ORDERS)["sets"] == [7.0]


def test_the_workbook_holds_every_table():
    content, name = stone_files.made(StandIn(), "xlsx")
    assert name == "stones-2026-10-22-1000.xlsx"
    book = CalamineWorkbook.from_object(io.BytesIO(content))
    assert book.sheet_names == ["sets", "lots", "changes", "orders", "about"]
    rows = {name: book.get_sheet_by_name(name).to_python() for name in book.sheet_names}
    assert [row[0] for row in rows["sets"][1:]] == ["FS-1", "FS-2", "FS-3", "FS-0"]
    assert rows["orders"][1][:2] == ["D64", 7]
    assert "caution" in [row[0] for row in rows["about"]]


def test_the_calendar_file_holds_stops_and_orders():
    text = stone_files.made(StandIn(), "ics")[0].decode()
    assert text.count("BEGIN:VEVENT") == 4  # an order, and three stops for four changes
    assert "Order 7 sets D64" in text
    without = StandIn(picture_answer(stones=stones_answer(plan=None)))
    file, said = saving.saved(stone_files.made, without, "ics")
    assert file is stones.no_update and said == "Nothing is planned, so there is no calendar."
    file, said = saving.saved(stone_files.made, StandIn(refuses=True), "xlsx")
    assert file is stones.no_update and said


# -- in a browser


@pytest.fixture(scope="module")
def address(make_cell, serve) -> str:
    monitor = make_cell()
    monitor.take(sorted(monitor.folder.glob("stone-*.csv")))
    return serve(monitor)


@pytest.mark.browser
@pytest.mark.parametrize("size", [(1440, 900), (390, 844)], ids=["desktop", "phone"])
def test_a_set_is_chosen_and_drawn_and_the_page_fits(look, address, size):
    page = look(address, *size)
    page.open("/stones?set=FS-1042", "stones-lines")
    page.page.wait_for_selector("#stones-set-words >> text=ended: chipped")
    page.page.wait_for_selector("#stones-shape .main-svg")
    page.page.wait_for_selector("#stones-calendar .main-svg")
    assert page.page.inner_text("#stones-sentence")
    words = page.page.inner_text("main")
    assert "Never withdraw" in words
    assert "ended: chipped" in words
    wide = page.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"the page scrolls sideways by {wide} px"
    with page.page.expect_download() as file:
        page.page.click("#stones-ics")
    assert file.value.suggested_filename.endswith(".ics")


def test_in_a_narrow_box_the_names_of_sets_are_small():
    figure = stone_lines.stone_lines_figure(picture_answer(), "FS-1")
    words, narrow = figure["layout"]["annotations"], figure["layout"]["meta"]["narrow"]
    assert words
    for i, one in enumerate(words):
        assert narrow["is"][f"annotations[{i}].font.size"] < one["font"]["size"]
        assert narrow["was"][f"annotations[{i}].font.size"] == one["font"]["size"]
