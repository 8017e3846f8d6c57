"""Bores finished by hand on page Stream and page Shifts: their own drawing, their own lines."""

from __future__ import annotations

import plotly.graph_objects as go
import pytest

from cellmon.records import Verdict
from dashboards.figures import hand_line
from dashboards.pages import by_hand, parts, shift_choice, shift_told, shifts, stream_asked
from tests.monitor.test_hand_streams import SIZING, rounds
from tests.monitor.test_hand_streams import by_hand as readings_by_hand
from tests.small_cell import HEADER, new_cell, rows, write


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mixed")
    monitor = new_cell(folder)
    lines = sorted([*rows(blocks=40), *readings_by_hand(8)], key=lambda line: line.split(",")[3])
    monitor.take([write(folder, "readings.csv", HEADER, lines)])
    monitor.take([write(folder, "rounds.csv", SIZING, rounds("K1", [-30.0, -2.0, 1.0], minute=0))])
    yield monitor
    monitor.close()


@pytest.fixture(scope="module")
def machines(tmp_path_factory):
    folder = tmp_path_factory.mktemp("machines")
    monitor = new_cell(folder)
    monitor.take([write(folder, "readings.csv", HEADER, rows(blocks=12))])
    yield monitor
    monitor.close()


ALL = "all"


def time_of(monitor, span=ALL, until=None):
    return stream_asked.time_by_hand(monitor, span, until)


def test_the_section_is_hidden_where_nobody_honed_by_hand(machines):
    style, said, options, _, drawn = by_hand.choose(machines, None, *time_of(machines))
    assert (style, said, options, drawn) == (parts.HIDDEN, "", [], {})
    assert shifts.show_by_hand(machines, None) == [[], {}]


def test_where_no_machine_made_a_bore_they_are_the_page(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "rounds.csv", SIZING, rounds("K1", [-30.0, 1.0], minute=0))])
    style, said, *_, drawn = by_hand.choose(monitor, None, *time_of(monitor, "shift"))
    assert (style, drawn) == ({}, parts.HIDDEN), "a bench that stood for months shows what it made"
    assert said.startswith("1 bore finished by hand")
    (heading, lines), drawn = shifts.show_by_hand(monitor, None)
    assert (heading.children, drawn) == ("Sized by hand: 1", parts.HIDDEN)
    assert "Mon 2 Mar" in lines.children[0].children[1]


def test_positions_are_offered_and_all_of_a_part_come_first(cell):
    style, said, options, chosen, drawn = by_hand.choose(cell, None, *time_of(cell))
    assert style == drawn == {}
    assert [one["label"] for one in options] == ["all bores of P-1", "bore 1", "bore 2"]
    assert chosen == options[0]["value"]
    assert said.startswith("9 bores finished by hand, ")
    again = by_hand.choose(cell, options[2]["value"], *time_of(cell))[3]
    assert not isinstance(again, str), "what was chosen stays"
    machine = [s.spindle for s in parts.every_stream(cell)]
    assert "hand" not in machine, "no stream of a machine is one by hand"


def test_the_drawing_holds_each_bore_once_and_opens_it(cell):
    answer = cell.hand_streams(since=time_of(cell)[0])
    found, made = by_hand.stream_of(answer, by_hand.urlencode({"part_number": "P-1"}))
    figure = hand_line.hand_figure(found, made)
    go.Figure(figure)  # plotly's own check of every name in it
    dots = next(t for t in figure["data"] if "customdata" in t)
    assert dots["y"] == [one.um for one in made] and len(made) == 9
    assert "bore?serial=K1&bore=2" in dots["customdata"]
    assert any("rounds: 2" in text for text in dots["text"])
    rings = [t for t in figure["data"] if t.get("name") == "not proven to conform"]
    beyond = sum(one.verdict is not Verdict.CONFORMS for one in made)
    assert sum(len(t["x"]) for t in rings) == beyond
    columns = hand_line.rows(made)
    assert columns["deviation_um"] == [one.um for one in made]
    assert all(
        low <= um <= high
        for low, um, high in zip(
            *(columns[n] for n in ("least_um", "deviation_um", "greatest_um")), strict=True
        )
    )


def test_one_position_alone_and_one_that_is_not_there(cell):
    answer = cell.hand_streams(since=time_of(cell)[0])
    second = next(s for s in answer.streams if s.stream.bore == "2")
    _, made = by_hand.stream_of(answer, parts.stream_query(second.stream))
    assert [one.part for one in made] == ["K1"]
    figure = by_hand.show(cell, "bore=9&part_number=P-1", *time_of(cell))
    assert figure["layout"]["annotations"][0]["text"] == "No bore was finished by hand in this time."


def test_the_time_shown_holds_for_them_too(cell):
    until = cell.hand_streams(since=time_of(cell)[0]).made[4].at
    said = by_hand.choose(cell, None, *time_of(cell, until=until.isoformat()))[1]
    assert said.startswith("4 bores finished by hand, ")


def test_a_shift_in_which_only_a_hand_made_bores_is_chosen_like_any_other(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "readings.csv", HEADER, rows(blocks=12))])
    later = [line.replace("2026-03-02", "2026-03-04") for line in rounds("K1", [-30.0, 1.0], minute=0)]
    monitor.take([write(tmp_path, "rounds.csv", SIZING, later)])
    options, chosen = shift_choice.shift_options(monitor, None, None)
    assert [one["value"] for one in options] == ["2026-03-04/day", "2026-03-02/day"]
    assert chosen == "2026-03-02/day", "at first that of the machines"
    said, _, _, table = shifts.show_shift(monitor, "2026-03-04/day", None)
    assert said.endswith("no machine made a bore; bores were sized by hand.") and table == []
    (heading, _), _ = shifts.show_by_hand(monitor, "2026-03-04/day")
    assert heading.children == "Sized by hand in the shift: 1"
    streams, _ = shifts.choose_stream(monitor, "2026-03-04/day", None, None)
    assert streams, "the choice of streams stays"
    assert shift_told.show_called(monitor, "2026-03-04/day")[1].children == "None was called."
    refused = shifts.show_shift(monitor, "2026-03-05/day", None)[0]
    assert "2026-03-05/day" in refused, "where nobody made any"
    monitor.close()


def test_a_shift_lists_the_bores_that_were_finished_by_hand_in_it(cell):
    shift = cell.shifts().shift
    inside = [o for o in cell.hand_streams(since=shift.starts).made if o.at < shift.ends]
    (heading, lines), _ = shifts.show_by_hand(cell, str(shift))
    assert heading.children == f"Sized by hand in the shift: {len(inside)}"
    assert len(lines.children) == len(inside)
    link, words = lines.children[0].children
    assert link.href.startswith("/bore?serial=") and "µm" in words
