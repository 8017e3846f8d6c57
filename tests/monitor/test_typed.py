"""Stone entries typed by hand: what is odd is asked in words, what cannot be is refused, twice is once."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.monitor.stones.log_read import read_log
from cellmon.records import Events, Kind
from tests.monitor.planned_cell import planned_cell
from tests.small_cell import write

LATE = "2026-03-02T12:00:00Z"
SIZES = {"at": LATE, "stone_set": "A1", "stone": "1", "position": "top", "thickness_mm": "2.8"}


def event(event: str, spindle: str = "S1", **more: str) -> dict[str, str]:
    return {"at": LATE, "event": event, "spindle": spindle, **more}


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    monitor = planned_cell(tmp_path_factory.mktemp("typed"))
    rows = [
        {**SIZES, "at": "2026-03-02T06:00:00Z", "stone": stone, "position": place, "holder": stone}
        for stone in "1234"
        for place in ("top", "middle", "bottom")
    ]
    monitor.log_rows(Kind.STONE_MEASUREMENTS, rows)
    return monitor


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (event("stones-fitted", stone_set="A1"), "A1: logged as fitted to S1 again"),
        (event("stones-fitted", stone_set="A2"), "A2: fitted to S1 2026-03-02 13:00+01:00 while on S2"),
        (event("stones-fitted", stone_set="A9"), "A1: never logged as removed from S1"),
        (
            event("stones-fitted", stone_set="A9", kind="D99"),
            "The sheet has no stones called D99; it has D64.",
        ),
        (event("stones-fitted", stone_set="A9", value="-5"), "a count below 0 is taken as none"),
        (
            event("stones-removed", stone_set="A9", note="worn"),
            "A9: removed 2026-03-02 13:00+01:00 and never",
        ),
        (event("stones-removed"), "No reason is given"),
        (event("stones-removed", note="wrn"), "The reason 'wrn' is none of worn, chipped, trial, other"),
        (event("stones-dressed", stone_set="A2"), "A2: logged as dressed on S1"),
        ({**event("stones-dressed"), "at": "2126-03-02T12:00:00Z"}, "which is still to come"),
        (
            {**event("stones-removed", note="worn"), "at": "2026-03-02T03:00:00Z"},
            "S1 has a later entry already, stones-fitted 2026-03-02 05:00: is the time right?",
        ),
    ],
)
def test_an_odd_event_is_asked_about_in_words(cell, row, words):
    looked = cell.look_at(Kind.EVENTS, [row])
    assert not looked.refused
    assert any(words in asked for asked in looked.asked), looked.asked


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"thickness_mm": "2,95"},
            "A1, stone 1, top: 2.950 mm, and 2.800 mm 2026-03-02 07:00. Stones do not grow",
        ),
        ({"thickness_mm": "3.2"}, "3.200 mm is thicker than a new stone, 3 mm"),
        ({"thickness_mm": "2795"}, "a new stone has 3 mm. Was it typed in um?"),
        ({"stone_set": "B7"}, "No set B7 was received or fitted"),
        ({"holder": "3"}, "stone 1 was in holder 1 and is now in holder 3"),
        ({"stone": "5"}, "stone 5 is not known here"),
    ],
)
def test_an_odd_thickness_is_asked_about_in_words(cell, change, words):
    looked = cell.look_at(Kind.STONE_MEASUREMENTS, [{**SIZES, **change}])
    assert not looked.refused
    assert any(words in asked for asked in looked.asked), looked.asked


def test_a_place_that_lost_far_more_than_the_others_is_asked_about(cell):
    sizes = zip("1234", ("2.7", "2.7", "2.3", "2.7"), strict=True)
    rows = [{**SIZES, "stone": stone, "thickness_mm": mm} for stone, mm in sizes]
    assert cell.look_at(Kind.STONE_MEASUREMENTS, rows).asked == (
        "A1, stone 3, top: 500 µm less than at the last measurement, the others about 100 µm. "
        "Chipped, or misread?",
    )


def test_two_stones_of_one_round_in_one_holder_are_asked_about(cell):
    rows = [{**SIZES, "stone": stone, "holder": "2"} for stone in "12"]
    asked = cell.look_at(Kind.STONE_MEASUREMENTS, rows).asked
    assert "A1: stones 1, 2 are all in holder 2." in asked


def test_what_is_usual_is_not_asked_about(cell):
    for kind, row in (
        (Kind.EVENTS, event("stones-removed", note="worn: 9000 bores")),
        (Kind.EVENTS, event("stones-dressed")),
        (Kind.STONE_MEASUREMENTS, {**SIZES, "thickness_mm": "2,755", "holder": "1"}),
        (Kind.STONE_MEASUREMENTS, {**SIZES, "thickness_mm": "2.801"}),
    ):
        looked = cell.look_at(kind, [row])
        assert (looked.refused, looked.asked, looked.known) == ((), (), False), row


@pytest.mark.parametrize(
    ("kind", "row", "words"),
    [
        (Kind.EVENTS, event("stones-dressed", "S9"), "The sheet has no such spindle"),
        (Kind.EVENTS, {**event("stones-dressed"), "at": "soon"}, "The time cannot be read"),
        (Kind.STONE_MEASUREMENTS, {**SIZES, "thickness_mm": "thin"}, "A figure cannot be read as a number"),
        (
            Kind.STONE_MEASUREMENTS,
            {**SIZES, "thickness_mm": "-0,5"},
            "Stone 1, top: -0.5 mm is no thickness.",
        ),
        (
            Kind.STONE_MEASUREMENTS,
            {**SIZES, "thickness_mm": "0"},
            "No figure that can be a measurement stands where one is needed",
        ),
        (
            Kind.STONE_MEASUREMENTS,
            {**SIZES, "position": "side"},
            "A word is none of those that can stand there",
        ),
        (
            Kind.STONE_MEASUREMENTS,
            {**SIZES, "at": "2026-03-02T06:00:00Z", "thickness_mm": "2.7"},
            "It contradicts what is logged already",
        ),
    ],
)
def test_what_cannot_be_taken_is_refused_in_words_before_it_is_kept(cell, kind, row, words):
    before = cell.last_change()
    looked = cell.look_at(kind, [row])
    assert words in " ".join(looked.refused)
    assert cell.last_change() == before


def test_no_thickness_below_nothing_is_ever_kept(cell):
    taken = cell.log(Kind.STONE_MEASUREMENTS, {**SIZES, "thickness_mm": "-1"})
    assert (taken.kind, taken.why_not) == (None, "Stone 1, top: -1 mm is no thickness.")


def test_a_row_logged_twice_is_known_and_the_questions_come_with_the_first(tmp_path):
    cell = planned_cell(tmp_path)
    row = event("stones-fitted", stone_set="A1")
    first = cell.log(Kind.EVENTS, row)
    assert (first.taken, first.known) == (1, 0)
    assert "again" in first.asked[0]
    assert cell.look_at(Kind.EVENTS, [row]).known
    second = cell.log(Kind.EVENTS, row)
    assert (second.taken, second.known, second.asked) == (0, 1, ())


def test_dressings_without_a_set_are_one_note_a_spindle(cell):
    sheet = cell.sheet
    at = np.array(["2026-03-02T01:00", "2026-03-02T02:00"], dtype="datetime64[us]")
    none = np.array([None, None], dtype=object)
    events = Events(
        line=np.array([1, 2]),
        at=at,
        event=np.array(["stones-dressed"] * 2, dtype=object),
        spindle=np.array(["S1", "S1"], dtype=object),
        gauge=none,
        value=np.full(2, np.nan),
        stone_set=none,
        kind=none,
        bores=none,
        by=none,
        note=none,
    )
    assert read_log(events, {}, sheet).notes == (
        "stones dressed on S1 2 times, 2026-03-02 02:00+01:00 to 2026-03-02 03:00+01:00, "
        "where no set is logged as fitted: of no set known",
    )


def test_bores_before_that_the_log_does_not_have_are_asked_about_and_said(tmp_path):
    cell = planned_cell(tmp_path)
    cell.log(Kind.EVENTS, event("stones-removed", note="trial"))
    back = {**event("stones-fitted", stone_set="A1", value="70000"), "at": "2026-03-02T13:00:00Z"}
    first = cell.log(Kind.EVENTS, back)
    (asked,) = [words for words in first.asked if "where the log has" in words]
    assert asked.startswith("A1: 70,000 bores before, where the log has ")
    (mine,) = cell.stones(stone_set="A1").sets
    assert any("70,000 are taken" in words for words in mine.assumed)
    cell.close()


def test_a_dressing_with_bores_below_nothing_is_said_and_counts_from_the_dressing(tmp_path):
    cell = planned_cell(tmp_path)
    cell.log(Kind.EVENTS, event("stones-dressed", value="-50"))
    answer = cell.stones()
    assert any("with -50 bores since: taken as none" in words for words in answer.notes)
    (mine,) = [one for one in answer.sets if one.stone_set == "A1"]
    assert mine.bores_since_dress == 0
    cell.close()


def test_readings_that_no_stone_can_have_are_left_out_and_said(tmp_path):
    cell = planned_cell(tmp_path)
    header = "at,stone_set,stone,position,thickness_mm"
    lines = [f"2026-03-02T06:00:00Z,A1,{stone},top,2.9" for stone in "1234"]
    lines += ["2026-03-02T08:00:00Z,A1,1,top,-0.4", "2026-03-02T08:00:00Z,A1,2,top,2890"]
    lines += ["2026-03-02T08:00:00Z,A1,3,top,2.89", "2026-03-02T08:00:00Z,A1,4,top,2.99"]
    cell.take([write(tmp_path, "stones.csv", header, lines)])
    (mine,) = cell.stones(stone_set="A1").sets
    assert "stone 1 top read -0.4 mm: no thickness, left out" in mine.assumed
    assert "stone 2 top read 2890 mm: no thickness, left out" in mine.assumed
    assert all(um is None or 0 < um < 3500 for one in mine.stones for um in one.places_um.values())
    assert mine.thickness_left_um >= 0
    assert mine.remaining_bores.p05 >= 0
    cell.close()


def test_a_single_place_that_grew_is_said(tmp_path):
    cell = planned_cell(tmp_path)
    header = "at,stone_set,stone,position,thickness_mm"
    places = [(stone, place) for stone in "1234" for place in ("top", "middle", "bottom")]
    lines = [f"2026-03-02T06:00:00Z,A1,{stone},{place},2.9" for stone, place in places]
    lines += [
        f"2026-03-02T12:00:00Z,A1,{stone},{place},{2.97 if (stone, place) == ('2', 'top') else 2.85}"
        for stone, place in places
    ]
    cell.take([write(tmp_path, "stones.csv", header, lines)])
    (mine,) = cell.stones(stone_set="A1").sets
    assert any("stone 2 top reads 70 µm thicker" in words for words in mine.assumed), mine.assumed
    cell.close()
