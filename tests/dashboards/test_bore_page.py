"""Page Bore by its plain functions: what is asked when, how a figure is read, what is kept, what is drawn."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import plotly.graph_objects as go
import pytest
from dash import no_update

from cellmon import lengths
from cellmon.errors import NotAllowed, WrongUsage
from cellmon.monitor.bore.keeping import LookedRound
from cellmon.people import Person, Role
from dashboards.asking import READS, Asking, Door, as_asked_by, asked
from dashboards.figures import hand_bore
from dashboards.kept import kept
from dashboards.pages import bore, bore_asks, bore_shown, bore_words, now
from dashboards.pages import bore_layout as ids
from dashboards.pages.bore_box import Mode
from dashboards.pages.bore_keeping import Beside, finish
from dashboards.pages.bore_record import OF_BORE
from dashboards.pages.bore_shown import Chosen, chosen_tab, show
from tests.monitor.hand_cell import PLACES, RECEIVED, grown, hand_cell, typed

NOW = datetime(2026, 11, 27, 12, tzinfo=ZoneInfo("UTC"))
SERIAL = "?serial=K1&bore=1"


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    """One block with two rounds in its first bore."""
    monitor = hand_cell(tmp_path_factory.mktemp("hand"))
    monitor.keep_round(typed(RECEIVED))
    monitor.keep_round(typed(grown(6), full=8, stones="rough"))
    return monitor


@pytest.fixture(scope="module")
def answer(cell):
    return cell.bore(part="K1", bore="1")


def standing(*, step=None, sign_checked=True, zeroes=(), rounds=1):
    """An answer as far as the order of what is typed looks at it."""
    return SimpleNamespace(
        part="K1",
        bore="1",
        next=None if step is None else SimpleNamespace(step=step),
        sign_checked=sign_checked,
        rounds=[SimpleNamespace(at=NOW)] * rounds,
        zero_checks=[SimpleNamespace(state=state, at=at) for state, at in zeroes],
    )


FRESH = ("as-found", NOW - timedelta(hours=1))


@pytest.mark.parametrize(
    ("answer", "skipped", "mode"),
    [
        (standing(sign_checked=False), (), Mode.FOUND),
        (standing(zeroes=[("as-found", NOW - timedelta(hours=13))]), (), Mode.FOUND),
        (standing(sign_checked=False, zeroes=[FRESH]), (), Mode.SIGN),
        (standing(sign_checked=False), ("as-found", "sign"), Mode.ROUND),
        (standing(step="strokes", zeroes=[FRESH]), (), Mode.ROUND),
        (standing(step="finished", zeroes=[FRESH]), (), Mode.LEFT),
        (standing(step="finished", zeroes=[("as-left", NOW - timedelta(hours=1))]), (), Mode.LEFT),
        (standing(step="finished", zeroes=[("as-left", NOW + timedelta(hours=1))]), (), Mode.DONE),
        (standing(step="cannot be saved"), ("as-left",), Mode.DONE),
    ],
)
def test_zero_and_sign_come_before_the_first_round_and_zero_again_after_the_last(answer, skipped, mode):
    assert bore_asks.mode_of(answer, None, skipped, now=NOW) is mode


def test_what_a_person_chose_to_type_holds_for_its_bore_alone(answer):
    again = chosen_tab({"type": ids.TAB, "of": "K1|1|round|0"}, [None, 1])
    assert bore_asks.mode_of(answer, again, (), now=NOW) is Mode.ROUND
    assert bore_asks.number_of(answer, again) == 0
    other = {**again, "of": "K1|2"}
    assert bore_asks.mode_of(answer, other, (), now=NOW) is Mode.FOUND
    assert bore_asks.number_of(answer, other) == 2
    assert chosen_tab({"type": ids.TAB, "of": "K1|1|round|0"}, [None]) is no_update


def asks(cell, answer, mode=Mode.ROUND, number=2):
    return bore_asks.asks_of(cell.sheet, answer, mode, number)


def test_a_round_asks_strokes_temperature_and_the_places_in_the_sheets_order(cell, answer):
    found = asks(cell, answer)
    told = answer.next
    assert [box["name"] for box in found["boxes"]] == [
        "strokes",
        "part_c",
        "master_c",
        *("_".join(p) for p in PLACES),
    ]
    assert found["boxes"][0]["default"] == f"{told.strokes_full}/{told.strokes_top}/{told.strokes_bottom}"
    assert not found["again"]
    received = asks(cell, answer, number=0)
    assert received["again"]
    assert received["boxes"][0]["name"] == "part_c"
    assert received["filled"]["top_x"] == "-55um"


def box(found, name):
    return next(one for one in found["boxes"] if one["name"] == name)


@pytest.mark.parametrize(
    ("name", "text", "shown"),
    [
        ("top_x", "67.951", "67.9510 mm, −49.0 µm"),
        ("top_x", "67,951", "67.9510 mm, −49.0 µm"),
        ("top_x", "-24.5", "67.9510 mm, −49.0 µm"),
        ("top_x", "-49um", "67.9510 mm, −49.0 µm"),
        ("strokes", "8/0/1", "8 full, 0 top, 1 bottom"),
        ("part_c", "20,5", "20.5 °C"),
        ("part_c", "", "–"),
    ],
)
def test_a_figure_is_read_as_the_command_reads_it(cell, answer, name, text, shown):
    found = asks(cell, answer)
    assert bore_asks.read_box(box(found, name), text, found) == {"shown": shown, "asked": [], "refused": None}


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("top_x", "2.67526", "fits as in"),
        ("top_x", "67.5", "lies −500 µm from nominal"),
        ("part_c", "68", "fits as Fahrenheit"),
        ("part_c", "-3", "far from a shop's temperature"),
    ],
)
def test_what_is_odd_is_asked_in_words_before_it_is_accepted(cell, answer, name, text, words):
    found = asks(cell, answer)
    assert words in bore_asks.read_box(box(found, name), text, found)["asked"][0]


def test_one_turn_of_the_dial_off_is_asked_about(cell, answer):
    found = asks(cell, answer)
    near = found["expected_um"]["top"]
    off = bore_asks.read_box(box(found, "top_x"), f"{near + 203:+.0f}um", found)
    assert "dial turn" in off["asked"][0]
    assert bore_asks.read_box(box(found, "top_x"), f"{near:+.0f}um", found)["asked"] == []


@pytest.mark.parametrize(("name", "text"), [("top_x", "67..9"), ("strokes", "8 or 9"), ("part_c", "warm")])
def test_what_is_no_figure_is_refused_in_words(cell, answer, name, text):
    found = asks(cell, answer)
    assert bore_asks.read_box(box(found, name), text, found)["refused"]


def test_only_figures_of_what_is_asked_now_are_looked_at(cell, answer):
    found = asks(cell, answer)
    figures = {"top_x": "67.95", "elsewhere": "1"}
    looked = bore_asks.look_at({"key": found["key"], "figures": figures}, found)
    assert list(looked["figures"]) == ["top_x"]
    assert bore_asks.look_at({"key": "another", "figures": figures}, found) == {}


class StandIn:
    """A monitor that understands a round as it is told to, and remembers what it kept."""

    def __init__(self, *, number=2, asked=(), refuses=None):
        self.looked = LookedRound(
            number=number, part_number="B-1", um=dict.fromkeys(PLACES, 1.0), asked=tuple(asked)
        )
        self.refuses, self.kept = refuses, []

    def look_at_round(self, typed):
        if self.refuses is not None:
            raise self.refuses
        return self.looked

    def keep_round(self, typed):
        self.kept.append(typed)


FIGURES = {
    "strokes": "8/0/1",
    "part_c": "20,5",
    "master_c": "20",
    **{"_".join(place): "67.95" for place in PLACES},
}
BESIDE = Beside(by="R. Hale", stones="rough", rpm="300", rate="60")


def ended(monitor, found, *, sure=False, certain=None, before=()):
    said = {"key": found["key"], "figures": FIGURES, "sure": sure, "certain": certain or {}}
    return finish(monitor, found, said, BESIDE, asked_before=before)


def test_a_round_is_kept_whole_and_signed(cell, answer):
    monitor = StandIn()
    became = ended(monitor, asks(cell, answer))
    assert became.kept
    assert became.said == "Round 2 is kept: 6 readings."
    (one,) = monitor.kept
    assert (one.by, one.stones, one.rpm, one.strokes_per_min) == ("R. Hale", "rough", 300.0, 60.0)
    assert (one.part_temp_c, one.master_temp_c, one.number) == (20.5, 20.0, None)
    assert (one.strokes.full, one.strokes.bottom) == (8, 1)
    assert list(one.readings) == PLACES


def test_what_is_asked_of_the_whole_is_kept_only_when_just_that_was_confirmed(cell, answer):
    monitor = StandIn(asked=["typed twice?"])
    found = asks(cell, answer)
    assert ended(monitor, found).asked == ("typed twice?",)
    assert ended(monitor, found, sure=True, before=["another question"]).asked == ("typed twice?",)
    assert monitor.kept == []
    assert ended(monitor, found, sure=True, before=["typed twice?"]).kept


def test_what_was_confirmed_at_its_box_is_not_asked_again(cell, answer):
    monitor = StandIn(asked=["top x: is it in?"])
    assert ended(monitor, asks(cell, answer), certain={"top_x": ["is it in?"]}).kept


def test_a_round_that_another_screen_kept_meanwhile_is_not_kept_over_it(cell, answer):
    monitor = StandIn(number=3)
    became = ended(monitor, asks(cell, answer))
    assert "kept meanwhile" in became.said
    assert not became.kept and monitor.kept == []


def test_a_refusal_is_a_sentence_and_nothing_is_kept(cell, answer):
    became = ended(StandIn(refuses=WrongUsage("no reading for top x")), asks(cell, answer))
    assert became.said == "No reading for top x. Nothing was kept."


def test_a_check_that_was_not_made_is_passed_over(cell, answer):
    found = asks(cell, answer, Mode.FOUND)
    became = finish(StandIn(), found, {"figures": {"zero": "", "master_c": ""}}, BESIDE)
    assert became.skipped == "as-found" and not became.kept
    told = bore.shown(became, {"key": found["key"], "of": "1"}, [], 7)
    assert told[3]["kept"] and told[4] == ["as-found"]


def test_zero_and_sign_are_kept_with_the_masters_temperature(tmp_path):
    monitor = hand_cell(tmp_path)
    first = monitor.bore(part="K1", bore="1")
    zero = finish(
        monitor, asks(monitor, first, Mode.FOUND, 0), {"figures": {"zero": "+1", "master_c": "20.5"}}, BESIDE
    )
    assert zero.said.startswith("The gauge stood +2.0 µm from zero. Kept. That is more than its uncertainty")
    near = finish(monitor, asks(monitor, first, Mode.LEFT, 0), {"figures": {"zero": "+0.5"}}, BESIDE)
    assert near.said == "The gauge stood +1.0 µm from zero. Kept."
    wrong = {"figures": {"larger_um": "20", "sign": "-10"}}
    assert "other way" in finish(monitor, asks(monitor, first, Mode.SIGN, 0), wrong, BESIDE).said
    right = {"figures": {"larger_um": "20", "sign": "+10"}}
    assert finish(monitor, asks(monitor, first, Mode.SIGN, 0), right, BESIDE).kept
    after = monitor.bore(part="K1", bore="1")
    assert after.sign_checked
    assert [(one.state, one.zero_um) for one in after.zero_checks] == [
        ("as-found", 2.0),
        ("as-left", 1.0),
    ]


def test_the_page_begins_with_what_to_do_next(cell, answer):
    found = show(cell, Chosen(search=SERIAL))
    assert set(found) == {name for name, _ in bore.SHOWN}
    assert found[ids.SENTENCE] == answer.next.sentence
    assert answer.see.sentence in str(found[ids.TOLD])
    assert str(answer.rounds[-1].at) in found[ids.WALLS]["layout"]["uirevision"]  # a new round, a new scale
    assert "expanded hone" in str(found[ids.CAUTIONS])
    assert found[ids.ASKS]["mode"] == Mode.FOUND
    assert show(cell, Chosen(search=SERIAL, skipped=("as-found",)))[ids.TITLE] == "Bore 1, round 2"


def test_without_a_link_the_last_touched_bore_is_shown(cell):
    found = show(cell, Chosen())
    assert found[ids.BORE]["serial"] == "K1" and found[ids.BORE]["bore"] == "1"


def test_an_empty_cell_asks_for_a_serial_and_an_unknown_bore_is_a_sentence(cell, tmp_path):
    assert "type the serial" in str(show(hand_cell(tmp_path), Chosen())[ids.SENTENCE])
    assert "No bore 9" in str(show(cell, Chosen(search="?serial=K1&bore=9"))[ids.SENTENCE])


def test_stones_change_the_advice_only_of_the_bore_they_were_chosen_for(cell):
    first = show(cell, Chosen(search=SERIAL, skipped=("as-found",)))
    assert first[ids.STONES] == "rough"
    fine = Chosen(search=SERIAL, stones="fine", skipped=("as-found",), asks=first[ids.ASKS])
    changed = show(cell, fine)
    assert "test round" in changed[ids.SENTENCE]
    assert changed[ids.STONES] is no_update
    other = show(cell, replace(fine, search="?serial=K1&bore=2"))
    assert "Nothing is measured yet" in other[ids.SENTENCE]


def test_a_round_typed_again_brings_its_notes_and_a_new_one_the_last_speeds(cell, answer):
    last = replace(answer.rounds[-1], rpm=300.0, feed_um=40.0, note="new stones")
    told = SimpleNamespace(rounds=(answer.rounds[0], last))
    again, new = ({"mode": Mode.ROUND, "number": n, "again": n < 2, "key": str(n)} for n in (1, 2))
    assert bore_shown.noted_of(told, again, None)[ids.NOTE] == "new stones"
    begun = bore_shown.noted_of(told, new, again)
    assert [begun[name] for name in bore_shown.NOTED] == ["300", "", "", ""]
    assert set(bore_shown.noted_of(told, new, None).values()) == {no_update}
    assert set(bore_shown.noted_of(told, new, new).values()) == {no_update}


def test_the_room_of_a_part_that_was_not_measured_is_refused_beside_all_else(cell):
    found = show(cell, Chosen(search=SERIAL, mate="P-1"))
    assert found[ids.FITS] == "No mating part P-1 of this bore size was measured"
    assert found[ids.WALLS]["data"]


def at_desk(role: Role) -> Asking:
    return Asking(person=Person(name="R. Hale", role=role), ticket="t", address="here", door=Door)


def test_who_may_only_look_types_nothing_and_nobody_signs_as_another(cell):
    with as_asked_by(at_desk(Role.LOOK)):
        found = show(asked(cell), Chosen(search=SERIAL))
        assert found[ids.ASKS] is None and found[ids.PANEL] == ids.HIDDEN
        with pytest.raises(NotAllowed):
            asked(cell).keep_round(typed(RECEIVED))
    monitor = StandIn()
    with as_asked_by(at_desk(Role.ANSWER)):
        asked(monitor).keep_round(typed(RECEIVED))
        assert monitor.kept[0].by == "R. Hale"
        with pytest.raises(NotAllowed, match="in the name of"):
            asked(monitor).keep_round(typed(RECEIVED, by="M. Osei"))
    assert {"bore", "hand_work", "look_at_round"} <= READS
    remembers, before = kept(monitor), len(monitor.kept)
    for _ in range(2):
        remembers.keep_round(typed(RECEIVED))
    assert len(monitor.kept) == before + 2, "what is done is done each time, and never an answer that is kept"


def test_the_drawing_shows_walls_uncertainty_the_round_before_and_where_the_strokes_lead(answer):
    figure = hand_bore.hand_bore_figure(answer)
    go.Figure(figure)
    named = [trace.get("name") for trace in figure["data"]]
    assert {"limits", "uncertainty", "round before", "expected"} <= set(named)
    assert "past" not in named
    said = " ".join(note["text"] for note in figure["layout"]["annotations"])
    assert "tightest y" in said and "widest x" in said and "µm left" in said
    assert len(hand_bore.rows(answer)["deviation_um"]) == len(PLACES)


def test_a_place_past_the_upper_limit_is_ringed_and_named(answer):
    first, *rest = answer.see.places
    past = replace(first, um=30.0, to_target_um=-18.0, to_upper_um=-6.0)
    told = replace(answer, see=replace(answer.see, places=(past, *rest)))
    figure = hand_bore.hand_bore_figure(told)
    ring = next(trace for trace in figure["data"] if trace.get("name") == "past")
    assert len(ring["x"]) == 1
    assert "past the upper limit" in str(figure["layout"]["annotations"])
    assert "moved" in str(bore_words.left_table(told, told.see))


def test_without_a_block_the_record_offers_only_a_blank_form(cell, answer):
    none = SimpleNamespace(blocks=(), parts=())
    nothing = SimpleNamespace(hand_work=lambda: none, newest_parts=lambda: none, sheet=cell.sheet)
    assert show(nothing, Chosen())[OF_BORE] == ids.HIDDEN
    assert show(cell, Chosen(search=SERIAL))[OF_BORE] == {}


def test_nothing_is_drawn_before_anything_is_read(cell):
    assert not hand_bore.hand_bore_figure(cell.bore(part="K1", bore="2"))["data"]


def test_lengths_are_said_as_the_browser_wants_them(cell, answer):
    with lengths.shown_in(lengths.Shown.INCH):
        assert "0.0001 in" in str(bore_words.left_table(answer, answer.see))
        found = asks(cell, answer)
        assert "in" in bore_asks.read_box(box(found, "top_x"), "67.951", found)["shown"]


def test_a_finished_bore_is_washed_and_the_next_one_offered(answer):
    done = replace(answer, next=replace(answer.next, step="finished"))
    said = str(bore_words.after_of(done, ["2"], lambda name: f"/bore?bore={name}"))
    assert "wash it" in said and "/bore?bore=2" in said


def test_the_blocks_in_the_hand_are_named_by_their_bores(cell):
    (block,) = cell.hand_work().blocks
    assert (block.part, block.rounds, block.last_bore) == ("K1", {"1": 2}, "1")


def test_page_now_of_a_cell_without_spindles_leads_to_the_bore(cell):
    assert "/bore" in str(now.show_now(cell)[0])


def test_nothing_is_advised_for_stones_that_are_to_be_changed_first(cell, answer):
    told = replace(answer, next=replace(answer.next, change_to="fine"))
    (box,) = bore_asks.asks_of(cell.sheet, told, Mode.ROUND, 2)["boxes"][:1]
    assert (box["default"], box["hint"]) == (None, "First fit fine and choose them above.")
    (box,) = bore_asks.asks_of(cell.sheet, answer, Mode.ROUND, 2)["boxes"][:1]
    assert box["hint"].startswith("Enter: as advised")


def test_the_feed_reading_to_return_to_is_said_on_the_page_and_the_terminal(cell):
    from cellmon.cli.bore_lines import _next
    from dashboards.pages.bore_words import next_words

    told = cell.bore(part="K1", bore="1").next
    assert not any("Feed reading" in one for one in next_words(replace(told, feed_um=None)))
    fed = replace(told, feed_um=42.0)
    assert "Feed reading to return to: 42.0 µm." in next_words(fed)
    assert "Feed reading to return to: 42.0 um." in _next(fed)
