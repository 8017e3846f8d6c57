"""The Signals page with a stand-in monitor: what it says, what it keeps, and what it refuses."""

from __future__ import annotations

from types import SimpleNamespace
from urllib.parse import urlencode

import pytest
from dash import no_update

from cellmon.errors import NotFound, WrongUsage
from cellmon.monitor.answers import Estimate
from cellmon.records import Verdict
from dashboards.figures.ribbon import SMALL, ribbon_figure
from dashboards.kept import kept
from dashboards.pages import (
    extended,
    first_bores,
    held,
    now,
    one_signal,
    outlook,
    parts,
    saving,
    shift_choice,
    shift_told,
    shifts,
    shifts_link,
    signal_answer,
    signal_list,
    signals,
    stream,
)
from tests.dashboards.stand_in import ALARMS as BUDGET
from tests.dashboards.stand_in import START, StandIn
from tests.dashboards.stand_in_answers import ALL_SIZES, APART, CHIP, CHIPPED, END


@pytest.fixture
def monitor():
    return StandIn()


def test_the_page_begins_with_how_many_wait_and_the_newest(monitor):
    sentence, caution, _, chosen = signal_list.show_list(monitor, None)
    assert sentence.startswith("2 signals wait for an answer; the newest, Wed 21 Oct 15:57:")
    assert caution == "Advice only. Stop if unsure."
    assert chosen == "S-chip"


def test_an_answer_is_within_reach_before_the_drawing_and_the_causes():
    laid = str(signals.layout())
    places = [
        laid.index(f"id='{name}'")
        for name in (signal_answer.SEEN, signals.DRAWING, signals.CAUSES, signals.HOLD)
    ]
    assert places == sorted(places)


def test_those_that_wait_come_first_and_those_withdrawn_are_folded_away(monitor):
    monitor.respond("S-chip", by="R. Hale", cause="Chipped or lost stone", action="set changed")
    found = signal_list.listed(monitor)
    sorts = (found.waiting, found.answered, found.withdrawn)
    assert [[s.id for s in sort.signals] for sort in sorts] == [
        ["S-slip"],
        ["S-chip"],
        ["S-gone"],
    ]
    listed = signal_list.show_list(monitor, None)[2]
    assert listed[-1].children[0].children == "Withdrawn, 1"
    assert listed[-1].open is False


def test_a_signal_tells_since_when_with_its_range_which_parts_and_what_to_do(monitor):
    said = str(signals.show_signal(monitor, "S-chip"))
    assert "95 % range Wed 21 Oct 15:32 to 15:57, parts 203990 to 204015" in said
    for words in (
        "Stop, and hold.",
        "look at chipped",
        "mend chipped",
        "lock out before chipped",
        "0.70 of 1",
    ):
        assert words in said


def test_every_cause_carries_its_caution_and_the_first_is_open(monitor):
    rows = one_signal.causes(monitor.signals().signals[0])[0].children
    assert [row.open for row in rows] == [True, False]
    assert all("Caution" in str(row) for row in rows)


def test_an_answer_is_kept_and_moves_the_signal(monitor):
    said = signal_answer.answer(
        monitor, "S-chip", "Chipped or lost stone", " set changed ", "R. Hale", seen=False
    )
    assert said == "Kept: Chipped or lost stone: set changed (R. Hale, Sun 25 Oct 06:00)."
    assert monitor.signals().signals[0].state == "answered"


def test_seen_alone_leaves_a_signal_waiting_and_says_so(monitor):
    assert signal_answer.answer(monitor, "S-chip", None, None, "R. Hale", seen=True).startswith(
        "Kept: Seen by R. Hale"
    )
    assert one_signal.state_words(monitor.signals().signals[0]).startswith("seen, and waits for an answer")


@pytest.mark.parametrize(
    ("cause", "action", "by", "seen"),
    [
        ("chip", "changed", " ", False),
        ("chip", "", "R. Hale", False),
        (None, "x", "R. Hale", False),
        (None, None, None, True),
    ],
)
def test_half_an_answer_is_refused_in_a_sentence_and_not_kept(monitor, cause, action, by, seen):
    said = signal_answer.answer(monitor, "S-chip", cause, action, by, seen=seen)
    assert said.endswith(".")
    assert monitor.said == []


def test_the_hold_list_is_counted_by_verdict_and_its_worst_parts_stand_first(monitor):
    (sentence, _, caution), [box], *_ = held.show_hold(monitor, "S-chip")
    assert caution.children == "Advice only."
    table = box.children
    assert "8 parts (16 bores), 204000 to 204007" in sentence
    assert "1 not conforming, 1 undecided, 14 conform" in sentence
    assert "does not conform" in str(table.children[2].children[0])


def test_a_part_is_no_better_than_its_worst_bore(monitor):
    worst = held.by_part(monitor.hold("S-chip"))
    assert worst["204007"] is Verdict.DOES_NOT_CONFORM
    assert worst["204006"] is Verdict.UNDECIDED
    assert worst["204000"] is Verdict.CONFORMS


def test_parts_that_conform_are_released_in_the_name_of_a_person_and_no_others(monitor):
    assert held.release(monitor, "S-chip", "conform", None, "released", "measured", "R. Hale") == (
        "6 parts: released, by R. Hale."
    )
    assert set(monitor.became) == {str(204000 + i) for i in range(6)}
    with pytest.raises(WrongUsage):
        held.chosen(monitor.hold("S-chip"), "conform", None)
    with pytest.raises(WrongUsage, match="No part is meant"):  # nobody has chosen a group yet
        held.chosen(monitor.hold("S-chip"), None, None)
    assert held.chosen(monitor.hold("S-chip"), "named", "204006, 204007") == ("204006", "204007")


def test_a_group_of_parts_is_released_as_it_was_shown_or_not_at_all(monitor):
    *_, looked = held.show_hold(monitor, "S-chip")
    assert set(looked["groups"]) == {"outside", "undecided", "conform"}
    monitor.became["204000"] = "scrapped"
    said = held.release(monitor, "S-chip", "conform", None, "released", "ok", "R. Hale", looked=looked)
    assert said.startswith("This group is now 5 parts, and others than were shown")
    assert monitor.became == {"204000": "scrapped"}
    named = held.release(monitor, "S-chip", "named", "204001", "released", "ok", "R. Hale", looked=looked)
    assert named == "1 part: released, by R. Hale.", "parts that are named stay those"
    *_, looked = held.show_hold(monitor, "S-chip")
    said = held.release(monitor, "S-chip", "conform", None, "released", "ok", "R. Hale", looked=looked)
    assert said == "4 parts: released, by R. Hale."
    said = held.release(monitor, "S-chip", "undecided", None, "released", "ok", "R. Hale", looked={})
    assert said.startswith("This group is now 1 part,"), "nothing was shown yet"


def test_a_release_without_name_reason_or_word_is_refused(monitor):
    for as_, by, why in (("released", "", "x"), (None, "R. Hale", "x"), ("released", "R. Hale", None)):
        assert "Say what became" in held.release(monitor, "S-chip", "conform", None, as_, why, by)
    assert monitor.became == {}


def test_a_hold_is_extended_in_the_name_of_a_person_with_a_reason(monitor):
    told = extended.extend(monitor, "S-chip", " 203990 ", "", "gauge doubted since noon", "R. Hale")
    assert told == "1 bore more is held, from 203990 on, by R. Hale."
    for first, why, by in (("", "x", "R. Hale"), ("203990", None, "R. Hale"), ("203990", "x", " ")):
        assert "Say from which block" in extended.extend(monitor, "S-chip", first, None, why, by)
    assert extended.extend(monitor, "S-chip", "nowhere", None, "x", "R. Hale").startswith(
        "S-chip tells of no bore of nowhere"
    )
    assert "Say from which block" in extended.extend(monitor, None, "203990", None, "x", "R. Hale")


def test_a_list_says_how_it_was_extended(monitor):
    longer = monitor.extend_hold("S-chip", from_part="203990", to_part="203995", by="R. Hale", why="basket")
    told = str(held.show_hold(SimpleNamespace(hold=lambda signal: longer), "S-chip")[1])
    assert "Extended from 203990 to 203995 by R. Hale" in told and ": basket." in told


def test_the_drawing_rings_the_subgroup_that_called_and_brackets_when_it_may_have_begun(monitor):
    signal = monitor.signals().signals[0]
    figure = ribbon_figure(signals.view_around(monitor, signal), room=SMALL)
    ring = next(t for t in figure["data"] if t.get("name") == "signals")
    assert ring["customdata"] == ["204015"]
    bands = [s for s in figure["layout"]["shapes"] if s.get("x0", "").endswith("15:32:00")]
    assert any(s["type"] == "rect" and s["x1"].endswith("15:57:00") for s in bands)


def test_an_unknown_signal_is_a_sentence(monitor):
    assert "no signal S-none" in str(signal_list.show_list(monitor, "S-none")[0])
    with pytest.raises(NotFound):
        signal_list.named(monitor, "S-none")


def test_a_cell_without_signals_says_so():
    sentence, _, listed, chosen = signal_list.show_list(StandIn(empty=True), None)
    assert (sentence, listed, chosen) == ("Nothing was signalled yet.", [], None)


def test_the_table_of_signals_can_be_taken_away(monitor):
    columns = signals.table_rows(monitor)
    assert columns["id"] == ["S-chip", "S-slip", "S-gone"]
    assert columns["likely_cause"][0] == "chipped"
    assert len(held.rows(monitor, "S-chip")["part"]) == 16


@pytest.mark.parametrize("one", [ALL_SIZES, APART, CHIPPED], ids=str)
def test_a_link_names_pooled_and_distant_streams_and_finds_them_again(monitor, one):
    assert parts.stream_named(parts.every_stream(monitor), parts.stream_query(one)) == one


def test_the_wear_line_gives_way_to_plain_limits_on_demand(monitor):
    view = monitor.stream(spindle="S2", bore="3", feature="taper", since=CHIP[0], until=CHIP[1])
    figure, plain = ribbon_figure(view), ribbon_figure(view, plain=True)
    assert "wear line" in {s.get("name") for s in figure["layout"]["shapes"]}
    assert "mean beyond" not in {t.get("name") for t in figure["data"]}
    assert "wear line" not in {s.get("name") for s in plain["layout"]["shapes"]}
    assert "without offsets" in {t.get("name") for t in ribbon_figure(view, unaided=True)["data"]}


def test_a_distance_has_no_tolerance_drawn(monitor):
    view = monitor.stream(spindle="S2", bore="3", feature="taper", part_of="distance", since=START, until=END)
    words = [a["text"] for a in ribbon_figure(view)["layout"]["annotations"]]
    assert not any(w.startswith(("upper", "lower")) for w in words)


def test_the_stream_page_says_the_bores_left_with_their_range(monitor):
    words = str(stream.show_stream(monitor, "spindle=S2&bore=4&feature=diameter", "two", None, "none")[-1])
    assert "152 to the lower limit" in words
    assert "1 in 20 within 99, 19 in 20 within more than can be foreseen" in words
    assert "due in 70 bores by the sheet; a limit is reached before it in 31 % of cases." in words
    assert "Dressed as planned 240 to the lower limit; 1 in 20 within 99" in words
    assert "A qualified person enters a correction." in words


def test_now_says_what_is_left_what_pays_and_what_waits(monitor):
    sections, cautions, *_ = now.show_now(monitor)
    one, two = map(str, sections)
    assert "bore 2: +2.5 µm; leave bore 1 alone." in one
    assert "no limit in sight" in one
    assert "152 to the lower limit of bore 4 diameter; 1 in 20: only 99." in two
    assert "leave it alone." in two
    assert "after stones dressed: run; a named person releases it." in two
    assert "chipped or lost stone?" in two
    assert "A qualified person enters a correction." in str(cautions)


def test_a_set_up_is_released_by_name_and_waits_no_longer(monitor):
    assert first_bores.release(monitor, "S2", "looks right", "").startswith("Say which spindle")
    assert first_bores.waiting(monitor.first_bores())
    assert first_bores.release(monitor, "S2", "three measured", "R. Hale") == "S2 released by R. Hale."
    assert not first_bores.waiting(monitor.first_bores())


def test_shifts_name_their_signals_and_what_other_rules_cost(monitor):
    said = str(shift_told.show_called(monitor, "2026-10-21/late"))
    assert "moved up by 4.5 µm" in said
    quiet = str(shift_told.show_called(monitor, "2026-10-19/early"))
    assert "None was called" in quiet
    assert "Most signals in the week up to its end" in quiet
    assert urlencode({"shift": str(monitor.shifts_made().known[3])}) in quiet
    sentence, table = shift_told.show_budget(monitor)
    assert "would make 133" in sentence
    assert BUDGET.rules[0].words in str(table)
    assert "133.0" in str(table)


def test_answers_are_kept_until_something_is_committed():
    class Counting(StandIn):
        asked = 0

        def signals(self, *, why=None, named=None):
            Counting.asked += 1
            return super().signals()

    counting = Counting()
    remembering = kept(counting)
    assert remembering.signals() is remembering.signals()
    assert Counting.asked == 1
    remembering.respond("S-chip", by="R. Hale", cause="a", action="b")
    before = Counting.asked
    assert remembering.signals().signals[0].state == "answered"
    assert Counting.asked == before + 1


def test_shifts_propose_a_split_with_what_to_write(monitor):
    words = str(shift_told.show_splits(monitor))
    assert "parts on fixture P2 lie 1.20 sigma" in words
    assert "write `by_fixture = true` under [features.taper]" in words


def test_a_shift_of_long_ago_comes_into_the_choice_when_its_day_is_typed(monitor, monkeypatch):
    monkeypatch.setattr(shift_choice, "LISTED", 4)
    known = monitor.shifts_made().known
    old, newest = known[2], known[-4:]

    def listed(value=None, search=None, typed=None):
        return [o["value"] for o in shift_choice.shift_options(monitor, value, search, typed)[0]]

    plain = [str(s) for s in reversed(newest)]
    assert listed() == [*plain, ""], "the last says how to come by older ones"
    assert listed(typed=f"{old.date} {old.name}") == [*plain, str(old), ""]
    assert listed(value=str(old)) == listed(search=f"?shift={old}") == [*plain, str(old), ""]
    assert shift_choice.shift_options(monitor, None, f"?shift={old}")[1] == str(old)
    assert shift_choice.shift_options(monitor, None, "?shift=nowhere")[1] == monitor.shifts_made().told
    assert listed(typed="no such day") == [*plain, ""]


def test_a_shift_that_is_chosen_stands_in_the_address_the_newest_only_after_another():
    options = [{"value": "2026-10-24 night"}, {"value": "2026-10-24 late"}]
    assert shifts_link.link_of("2026-10-24 night", options, "") is no_update
    link = shifts_link.link_of("2026-10-24 late", options, "")
    assert parts.query_values(link) == {"shift": "2026-10-24 late"}
    assert shifts_link.link_of("2026-10-24 late", options, link) is no_update
    back = shifts_link.link_of("2026-10-24 night", options, link)
    assert parts.query_values(back) == {"shift": "2026-10-24 night"}


def test_the_address_of_shifts_holds_stream_and_span_where_a_person_chose_them(monitor):
    options = [{"value": "2026-10-24 night"}]
    usual, other = (parts.stream_query(s) for s in monitor.streams()[:2])
    chosen = {"stream": usual, "usual": usual, "span": "week"}
    assert shifts_link.link_of("2026-10-24 night", options, "", **chosen) is no_update
    link = shifts_link.link_of("2026-10-24 night", options, "", stream=other, usual=usual, span="month")
    assert parts.query_values(link) == {**parts.query_values(other), "span": "month"}
    stays = {"stream": other, "usual": usual, "span": "month"}
    assert shifts_link.link_of("2026-10-24 night", options, link, **stays) is no_update
    back = shifts_link.link_of("2026-10-24 night", options, link, **chosen)
    assert parts.query_values(back) == {**parts.query_values(usual), "span": "week"}

    assert shifts_link.stream_of(monitor.streams(), link) == other
    assert shifts_link.stream_of(monitor.streams(), "?shift=x") is None
    assert shifts_link.stream_of(monitor.streams(), link.replace("feature=", "feature=no")) is None
    assert shifts.choose_stream(monitor, monitor.shifts_made().told, None, link)[1] == other
    assert shifts.linked(monitor, link, usual, "week") == [other, "month"]
    assert shifts.linked(monitor, link, other, "month") == [no_update, no_update]
    assert "value='month'" in str(shifts.layout(link))


def test_each_group_of_held_parts_says_how_many_of_it_wait(monitor):
    hold = monitor.hold("S-chip")
    labels = {o["value"]: o["label"] for o in held.which_of(hold)}
    worst = list(held.by_part(hold).values())
    for name, verdict in zip(("outside", "undecided", "conform"), held.VERDICTS, strict=True):
        assert labels[name].endswith(f"({worst.count(verdict)})")
    assert "(" not in labels["named"]
    assert all(label.endswith("(0)") for name, label in labels.items() if name != "named") is False
    assert held.which_of(None)[0]["label"].endswith("(0)")


def test_a_drift_has_no_more_digits_than_its_range_leaves_room_for():
    wide = Estimate(value=-3.294, low=-4.52, high=-2.07, confidence=0.9)
    narrow = Estimate(value=-0.294, low=-0.352, high=-0.207, confidence=0.9)
    assert outlook.drift_words(wide) == "It drifts −3.3 µm per 100 bores (90 %: −4.5 to −2.1)."
    assert outlook.drift_words(narrow) == "It drifts −0.29 µm per 100 bores (90 %: −0.35 to −0.21)."
    shares = [outlook.chance(p) for p in (0.0004, 0.013, 0.31, 0.981, 0.9963, 1.0)]
    assert shares == [
        "in under 1 case of 1,000",
        "in 1.3 % of cases",
        "in 31 % of cases",
        "in 98 % of cases",
        "in 99.6 % of cases",
        "in 99.9 % of cases",
    ]


def test_a_paper_that_cannot_be_made_says_why_beside_its_button():
    def none(shift):
        raise NotFound("no shift 2026-01-01/early")

    assert saving.saved(none, "2026-01-01/early") == [no_update, "No shift 2026-01-01/early"]
    download, said = saving.saved(lambda: (b"%PDF", "x.pdf"))
    assert (download["filename"], said) == ("x.pdf", "")
