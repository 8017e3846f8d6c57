"""Logging stones from the page: what it asks for, what it keeps, and one whole way through a real cell."""

from __future__ import annotations

from datetime import datetime
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from dash import no_update

from cellmon import lengths
from cellmon.errors import NotAllowed, WrongUsage
from cellmon.monitor.typed import Looked
from cellmon.records import Kind
from dashboards.asking import NEEDS, READS
from dashboards.kept import kept
from dashboards.pages import stone_log
from dashboards.pages.stone_entry import Typed, rows_of, told_of
from dashboards.pages.stone_sizes import FIELD, PLACES, Size, sizes_table, typed_sizes
from tests.dashboards.test_live import settled
from tests.monitor.planned_cell import planned_cell

NOW = datetime(2026, 3, 2, 13, 7, 41, tzinfo=ZoneInfo("Europe/Berlin"))
AT = "2026-03-02T13:07:00+01:00"
TOLD = '"changedPropIds":["change.data"]'
"""What a page asks because it was told of a commit."""


def typed(what: str = "stones-dressed", spindle: str = "S1", **more) -> Typed:
    nothing = dict.fromkeys(("stone_set", "when", "before", "since", "kind", "why", "note"), "")
    return Typed(**{**nothing, "what": what, "spindle": spindle, "by": "Ada", "whole": False, **more})


def standing(name: str, spindle: str) -> SimpleNamespace:
    return SimpleNamespace(stone_set=name, spindle=spindle, state="fitted")


class StandIn:
    """A monitor that answers as it is told and remembers what was logged."""

    def __init__(self, *, refused=(), asked=(), known=False, refuses=None):
        self.looked = Looked(refused=refused, asked=asked, known=known)
        self.refuses, self.logged = refuses, []

    def stone_picture(self):
        return SimpleNamespace(stones=SimpleNamespace(sets=(standing("A1", "S1"),)))

    def look_at(self, kind, rows):
        return self.looked

    def log_rows(self, kind, rows):
        if self.refuses is not None:
            raise self.refuses
        self.logged.append((kind, rows))
        return SimpleNamespace(kind=kind, set_aside=(), why_not=None)


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (typed(by=""), "Say who did it."),
        (typed(spindle=""), "Say which spindle."),
        (typed("stones-fitted"), "Say which set was fitted."),
        (typed("stones-removed"), "Say why it was taken off."),
        (typed("stone-measurement"), "Say which set was measured."),
        (typed("stone-measurement", stone_set="A1"), "Type the thickness of a stone at one place at least."),
        (typed(""), "Say what was done."),
    ],
)
def test_what_is_missing_is_asked_for(entry, words):
    with pytest.raises(WrongUsage, match=words):
        rows_of(entry, (standing("A1", "S1"),), now=AT)


def test_the_set_need_not_be_named_where_one_stands_there_and_must_where_two_do():
    sets = (standing("A1", "S1"), standing("A2", "S2"))
    assert rows_of(typed("stones-removed", why="worn", note="9000 bores"), sets, now=AT) == [
        {
            "at": AT,
            "event": "stones-removed",
            "spindle": "S1",
            "stone_set": "A1",
            "by": "Ada",
            "note": "worn: 9000 bores",
        }
    ]
    with pytest.raises(WrongUsage, match="A1, R1 stand on S1"):
        rows_of(typed(), (*sets, standing("R1", "S1")), now=AT)


def test_a_measurement_is_one_row_for_each_place_typed():
    fields = [
        {"id": {"type": FIELD, "stone": stone, "of": of}, "value": value}
        for stone, values in (("1", ("a", "up", "2,81", "", "2.80")), ("2", ("b", None, None, " ", None)))
        for of, value in zip(("holder", "way_up", *PLACES), values, strict=True)
    ]
    sizes = typed_sizes(fields)
    assert [(s.stone, s.place, s.thickness, s.unit, s.holder) for s in sizes] == [
        ("1", "top", "2,81", "mm", "a"),
        ("1", "bottom", "2.80", "mm", "a"),
    ]
    with lengths.shown_in(lengths.Shown.INCH):
        (in_inch, _) = typed_sizes(fields)
    inch_row, *_ = rows_of(typed("stone-measurement", stone_set="A1", sizes=(in_inch,)), (), now=AT)
    assert inch_row["thickness_in"] == "2,81" and "thickness_mm" not in inch_row
    rows = rows_of(typed("stone-measurement", stone_set="A1", sizes=sizes), (), now=AT)
    assert {row["way_up"] for row in rows} == {"up"}
    assert told_of(typed("stone-measurement", stone_set="A1"), rows) == (
        "Logged: 2 thicknesses of A1 were measured, Mon 2 Mar 13:07, by Ada."
    )


def test_a_set_never_measured_has_as_many_numbered_rows_as_its_kind_has_stones():
    table = sizes_table(None, count=3, key="entry-0")
    body = table.children[2]
    assert [row.children[0].children for row in body.children] == ["1", "2", "3"]
    with lengths.shown_in(lengths.Shown.INCH):
        inch = sizes_table(None, count=3, key="entry-0")
    heads = [[th.children for th in one.children[1].children.children][3:] for one in (table, inch)]
    assert heads == [["Top, mm", "Middle, mm", "Bottom, mm"], ["Top, in", "Middle, in", "Bottom, in"]]


def test_an_entry_is_logged_with_the_minute_of_now_and_confirmed_in_a_sentence():
    monitor = StandIn()
    found = stone_log.answer(monitor, typed(), None, now=NOW, sure=False)
    assert found["done"]
    assert found["said"] == "Logged: A1 on S1 was dressed, Mon 2 Mar 13:07, by Ada."
    (kind, rows), *others = monitor.logged
    assert not others
    assert (kind, rows[0]["at"]) == (Kind.EVENTS, AT)


def test_what_is_odd_is_asked_first_and_logged_once_a_person_says_so():
    monitor = StandIn(asked=("A1 is there already.",))
    first = stone_log.answer(monitor, typed(), None, now=NOW, sure=False)
    assert (first["done"], first["asked"], monitor.logged) == (False, ["A1 is there already."], [])
    later = NOW.replace(minute=9)
    second = stone_log.answer(monitor, typed(), first, now=later, sure=True)
    assert second["done"]
    assert monitor.logged[0][1][0]["at"] == AT, "the entry that was asked about, with its own time"


def test_a_yes_to_one_question_is_no_yes_to_another():
    monitor = StandIn(asked=("A2 was never received.",))
    before = {"asked": ["A1 is there already."], "at": AT}
    found = stone_log.answer(monitor, typed(), before, now=NOW, sure=True)
    assert (found["asked"], monitor.logged) == (["A2 was never received."], [])


@pytest.mark.parametrize(
    ("monitor", "words"),
    [
        (StandIn(refused=("The sheet has no such spindle.",)), "no such spindle. Nothing was logged."),
        (StandIn(known=True), "Nothing new: it stands in the log already."),
        (StandIn(refuses=NotAllowed("Ada may only look.")), "Ada may only look."),
    ],
)
def test_a_refused_entry_is_kept_in_its_fields(monitor, words):
    found = stone_log.answer(monitor, typed(), None, now=NOW, sure=False)
    assert words in found["said"]
    assert not found["done"]
    *_, entry, made, fields, change = stone_log.shown(found, 3, "unmoved")
    assert [entry, made, fields] == [no_update] * 3
    assert change == "unmoved"


def test_only_a_logged_entry_makes_way_for_the_next():
    done = {"said": "Logged.", "asked": [], "at": None, "done": True}
    said, asked, style, pending, entry, made, fields, _ = stone_log.shown(done, 3, 8)
    assert (said, asked, style, entry, made) == ("Logged.", [], stone_log.HIDDEN, 4, 4)
    assert {one.persistence for one in _inputs(fields)} == {"entry-4"}
    assert pending == {"at": None, "asked": []}


def test_fields_are_laid_out_once_for_an_entry():
    assert stone_log.show_form(0, 0) == [no_update, no_update]
    fields, made = stone_log.show_form(5, 0)
    assert made == 5
    assert {one.persistence for one in _inputs(fields)} == {"entry-5"}


def test_each_entry_asks_for_what_it_needs():
    at = dict(zip(stone_log.BOXED, stone_log.show_boxes("stones-removed", 1), strict=True))
    assert [name for name, style in at.items() if style == {}] == [
        stone_log.SPINDLE,
        stone_log.STANDS,
        stone_log.SET,
        stone_log.WHEN,
        stone_log.WHY,
        stone_log.NOTE,
    ]
    one, two = (
        stone_log.show_boxes("stones-fitted", n)[stone_log.BOXED.index(stone_log.KIND)] for n in (1, 2)
    )
    assert (one, two) == (stone_log.HIDDEN, {})


def test_texts_outlive_a_refresh_until_the_entry_is_logged():
    first, second = ([*_inputs(stone_log.form(n))] for n in (0, 1))
    assert {one.persistence_type for one in first} == {"session"}
    assert {one.persistence for one in first}.isdisjoint({one.persistence for one in second})


def test_the_page_may_look_with_the_lowest_role_and_log_with_that_of_log():
    assert "look_at" in READS
    assert NEEDS["log_rows"] == NEEDS["log"]


def test_the_caution_stands_before_the_fields():
    assert "lock it out" in stone_log.caution()
    assert "manual" in stone_log.caution()


def _inputs(children):
    for one in children if isinstance(children, (list, tuple)) else [children]:
        if type(one).__name__ == "Input":
            yield one
        elif getattr(one, "children", None) is not None and not isinstance(one.children, str):
            yield from _inputs(one.children)


def test_logged_on_the_page_is_taken_and_seen(tmp_path):
    """The whole way with a real cell: fitted, dressed, measured, removed; a second time is nothing new."""
    cell = planned_cell(tmp_path, events=())
    monitor = kept(cell)
    assert "no set stands on S1" in stone_log.show_stands(monitor, "S1")[2]
    steps = [
        typed("stones-fitted", stone_set="C7", when="2026-03-02T05:30"),
        typed(when="2026-03-02T06:30"),
        typed(
            "stone-measurement",
            stone_set="C7",
            when="2026-03-02T06:40",
            sizes=tuple(
                Size(stone=s, place=p, thickness="2,9", unit="mm", holder=s, way_up="")
                for s in "12"
                for p in ("top", "bottom")
            ),
        ),
        typed("stones-removed", why="trial", when="2026-03-02T06:50"),
    ]
    for step in steps:
        found = stone_log.answer(monitor, step, None, now=NOW, sure=False)
        if found["asked"]:
            found = stone_log.answer(monitor, step, found, now=NOW, sure=True)
        assert found["done"], found
        if step.what == "stones-dressed":
            assert "there stands on S1: C7" in stone_log.show_stands(monitor, "S1")[2]
            assert "C7 on S1 was dressed" in found["said"]
    again = stone_log.answer(monitor, steps[0], None, now=NOW, sure=False)
    assert again["said"] == "Nothing new: it stands in the log already."
    (mine,) = cell.stones(stone_set="C7").sets
    assert (mine.state, mine.dressed, mine.removed_why) == ("off", 1, "trial")
    assert [(one.stone, one.holder, one.places_um["top"]) for one in mine.stones] == [
        ("1", "1", 2900.0),
        ("2", "2", 2900.0),
    ]


@pytest.mark.browser
def test_in_a_browser_half_typed_text_outlives_commits_and_a_reload_until_it_is_logged(look, serve, tmp_path):
    cell = planned_cell(tmp_path)
    opened = look(serve(cell))
    page = opened.page
    page.goto(f"{opened.address}/stones")
    page.wait_for_selector("#stones-log-stands-box", state="attached", timeout=20_000)
    page.click("#stones-log-what >> text=a set was taken off")
    page.click("#stones-log-spindle >> text=S1")
    page.fill("#stones-log-by", "Ada")
    page.fill("#stones-log-note", "half a sent")
    dressed = {"at": "2026-03-02T06:30:00Z", "event": "stones-dressed", "spindle": "S2", "by": "Bo"}
    with page.expect_response(lambda answer: TOLD in (answer.request.post_data or ""), timeout=20_000):
        cell.log(Kind.EVENTS, dressed)
    settled(page)
    assert page.input_value("#stones-log-note") == "half a sent", "a commit of another"
    page.reload()
    page.wait_for_selector("#stones-log-stands:has-text('A1')", timeout=20_000)
    assert page.input_value("#stones-log-note") == "half a sent", "a reload"
    page.fill("#stones-log-when", "2026-03-02 07:40")
    page.click("#stones-log-log")
    page.wait_for_selector("#stones-log-said:has-text('Say why it was taken off.')")
    page.click("#stones-log-why >> text=worn")
    page.click("#stones-log-log")
    page.wait_for_selector("#stones-log-said:has-text('Logged: A1 was taken off S1 as worn')")
    assert page.input_value("#stones-log-note") == ""
    assert page.input_value("#stones-log-by") == "Ada"
    (mine,) = cell.stones(stone_set="A1").sets
    assert (mine.state, mine.removed_why) == ("ended", "worn")
