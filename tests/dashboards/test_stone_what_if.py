"""What if: only figures that were changed are asked, and the answers stand beside those of today."""

from __future__ import annotations

from dataclasses import replace

import pytest
from dash import no_update

from cellmon.monitor.stone_plan import PlanRequest, SpindleRate
from dashboards.kept import kept
from dashboards.pages import stone_what_if as page
from dashboards.pages.stone_what_if_words import answers_of, answers_table
from tests.monitor.planned_cell import PLANNING, STONES, planned_cell
from tests.small_cell import EVENTS, write

NAMES = ["rate S1", "rate S2", "life", "price", "stock", "lead_time_days", "service_level"]


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    return kept(planned_cell(tmp_path_factory.mktemp("what-if")))


@pytest.fixture(scope="module")
def base(cell):
    return page.show_fields(cell, None, None, {}, anew=True)[-1]


def test_every_figure_stands_beside_its_present_value(cell, base):
    assert list(base) == NAMES
    assert (base["rate S1"], base["price"], base["stock"]) == (500.0, 420.0, 8.0)
    assert (base["lead_time_days"], base["service_level"]) == (15.0, 98.0)
    for one in page.figures_of(cell, cell.stone_plan()):
        assert one.least <= one.value <= one.most


def test_only_what_differs_is_asked():
    base = {"rate S1": 500.0, "price": 420.0, "service_level": 98.0}
    request = page.request_of(
        base, {**base, "rate S1": 650.0, "service_level": 95.0}, kind=None, horizon_days=42
    )
    assert request == PlanRequest(
        horizon_days=42, rates=(SpindleRate(spindle="S1", bores=650.0),), service_level=0.95
    )
    assert not page.is_asked(page.request_of(base, base, kind="D64", horizon_days=42))


@pytest.mark.parametrize(
    ("typed", "found"), [("512,5", 512.5), (" 7 ", 7.0), ("", None), ("x", None), (None, None)]
)
def test_a_figure_has_its_decimals_after_a_point_or_a_comma(typed, found):
    assert page.number_of(typed) == found


def test_a_missing_figure_is_asked_for(cell, base):
    sentence, _, table = page.show_answers(cell, None, base, {**base, "price": None})
    assert "A figure is missing" in sentence
    assert len(table.children[0].children.children) == 2, "today's answers stay"


def test_nothing_changed_shows_the_plan_alone(cell, base):
    sentence, note, table = page.show_answers(cell, None, base, dict(base))
    assert sentence.startswith("Nothing is changed")
    assert note == ""
    assert len(table.children[0].children.children) == 2


def test_the_answers_are_those_of_the_monitor_for_the_same_request(cell, base):
    today = cell.stone_plan()
    asked = cell.stone_plan(PlanRequest(price=840.0, stock=0.0, horizon_days=today.horizon_days))
    sentence, _, table = page.show_answers(cell, None, base, {**base, "price": 840.0, "stock": 0.0})
    assert sentence == f"With these figures: {asked.sentence}"
    assert asked.sentence.startswith("Order ")
    assert str(table) == str(answers_table(today, asked))
    moved = {row.children[0].children for row in table.children[1].children if row.children[2].className}
    assert {
        "First shortage, if nothing is ordered",
        "A bore costs in stones, in the sheet's currency",
        "of it sets",
    } <= moved
    assert "of it downtime" not in moved


def test_a_figure_that_no_cell_could_have_is_refused_in_words(cell, base):
    sentence, _, table = page.show_answers(cell, None, base, {**base, "lead_time_days": 0.0})
    assert sentence == "lead time days must be more than 0, not 0"
    assert len(table.children[0].children.children) == 2


def test_fields_are_left_alone_while_something_is_asked_and_made_anew_on_the_way_back(cell, base):
    asked = {**base, "stock": 2.0}
    assert page.show_fields(cell, None, base, asked, anew=False)[3:] == [no_update, no_update]
    assert page.show_fields(cell, None, base, dict(base), anew=False)[3:] == [no_update, no_update]
    older = {**base, "stock": 9.0}
    assert page.show_fields(cell, None, older, dict(older), anew=False)[-1] == base, "the stock moved since"
    assert page.show_fields(cell, None, base, asked, anew=True)[-1] == base


def test_of_several_kinds_one_is_chosen_and_asked_about(tmp_path):
    kinds = STONES.replace("[stones]", "[[stone_kinds]]")
    rough = kinds.replace("D64", "D126").replace("set_cost = 420", 'stage = "rough"\nset_cost = 300')
    lines = (
        "2026-03-02T04:00:00Z,stones-fitted,S1,A1,0,D64",
        "2026-03-02T04:00:00Z,stones-fitted,S1,R1,0,D126",
        "2026-03-02T04:00:00Z,stones-fitted,S2,A2,0,D64",
    )
    planning = PLANNING.replace("D64 = 8", "D64 = 8, D126 = 1")
    cell = planned_cell(tmp_path, stones=kinds + rough, planning=planning, events=())
    cell.take([write(tmp_path, "fitted.csv", f"{EVENTS},kind", lines)])
    options, kind, style, _, base = page.show_fields(cell, None, None, {}, anew=True)
    assert ([one["value"] for one in options], kind, style) == (["D126", "D64"], "D126", {})
    assert base["price"] == 300.0
    *_, other = page.show_fields(cell, "D64", base, dict(base), anew=True)
    assert other["price"] == 420.0
    sentence, _, table = page.show_answers(cell, "D64", other, {**other, "stock": 0.0})
    assert "Order" in sentence
    assert "D126" not in str(table)


def test_without_a_plan_the_rates_are_asked_for(tmp_path):
    cell = planned_cell(tmp_path, planning="")
    *_, base = page.show_fields(cell, None, None, {}, anew=True)
    assert list(base) == ["rate S1", "rate S2"]
    sentence, _, _ = page.show_answers(cell, None, base, dict(base))
    assert "bores_per_shift" in sentence
    sentence, _, table = page.show_answers(cell, None, base, {"rate S1": 500.0, "rate S2": 0.0})
    assert sentence.startswith("With these figures"), sentence
    assert len(table.children[0].children.children) == 3


def test_a_range_of_one_day_is_that_day(cell):
    plan = cell.stone_plan(PlanRequest(stock=0.0))
    kind = plan.kinds[0]
    dates = replace(kind.first_shortage_at, p05=plan.as_of, p50=plan.as_of, p95=plan.as_of)
    one = replace(plan, kinds=(replace(kind, first_shortage_at=dates),))
    assert answers_of(one)["shortage"] == "Monday 2 Mar"


@pytest.mark.browser
def test_in_a_browser_field_and_slider_say_the_same_and_the_answers_follow(look, serve, tmp_path):
    opened = look(serve(planned_cell(tmp_path)))
    page = opened.page
    page.goto(f"{opened.address}/stones")
    page.wait_for_selector("#stones-what-if-answers table td", timeout=20_000)
    price = page.locator("#stones-what-if-fields input").nth(3)
    price.fill("840,5")
    page.wait_for_selector("#stones-what-if-answers td.moved")
    slider = page.locator("#stones-what-if-fields [role=slider]").nth(3)
    page.wait_for_function("one => Math.abs(one.ariaValueNow - 840) <= 1", arg=slider.element_handle())
    slider.press("ArrowRight")
    page.wait_for_function("one => ['841', '842'].includes(one.value)", arg=price.element_handle())
    page.wait_for_selector("#stones-what-if-sentence:has-text('With these figures')")
    page.click("#stones-what-if-back")
    page.wait_for_selector("#stones-what-if-sentence:has-text('Nothing is changed')")
    assert page.locator("#stones-what-if-fields input").nth(3).input_value() == "420"
