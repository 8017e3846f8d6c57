"""The Part page: its sentence first, the block found by serial, and everything that is known of it."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import plotly.graph_objects as go
import pytest

from cellmon.errors import NotFound
from dashboards.figures import part_walls
from dashboards.figures.polar import traced_points
from dashboards.pages import leafing, part, part_words, saving
from tests.dashboards.stand_in import END, StandIn
from tests.part_answers import story_answer


@pytest.fixture(scope="module")
def monitor():
    return StandIn()


@pytest.fixture(scope="module")
def story():
    return story_answer(END)


def test_the_first_thing_is_the_sentence_of_the_block_a_link_names(monitor):
    sentence, serial, walls, *_, style = part.show_part(monitor, "?serial=204400")
    assert sentence.startswith("204400: bore 2 does not conform")
    assert (serial, style) == ("204400", {})
    go.Figure(walls)


def test_without_a_link_the_newest_block_is_told(monitor):
    _, serial, *_ = part.show_part(monitor, None)
    assert serial == monitor.newest_parts().parts[0]


def test_a_serial_that_is_not_known_gets_a_sentence_and_shows_nothing(monitor):
    refused, serial, *_, style = part.show_part(monitor, "?serial=nobody")
    assert refused.children[0].children == "No part nobody. Serials are written here as 204418 is."
    assert serial is None and style["visibility"] == "hidden"


class WholeSerials(StandIn):
    """A monitor that knows blocks by their whole serials alone."""

    def part(self, serial):
        if len(serial) < 6 or serial.startswith("0"):
            raise NotFound(f"no part {serial}")
        return super().part(serial)


def test_the_end_of_a_serial_leads_to_the_block_that_ends_so():
    refused, *_ = part.show_part(WholeSerials(), "?serial=4400")
    said, near = refused.children
    assert said.children.startswith("No part 4400.")
    links = [line.children[1] for line in near.children]
    assert [(one.children, one.href) for one in links] == [("204400", part.link_to("204400"))]


def test_a_number_without_its_noughts_leads_to_its_block_too():
    known = {"HM214-009579", "HM214-010409"}

    class Made(StandIn):
        def newest_parts(self):
            return SimpleNamespace(parts=("HM214-010409",))

        def part(self, serial):
            if serial not in known:
                raise NotFound(f"no part {serial}")
            return SimpleNamespace(part=serial)

    def offered(typed):
        found = part.ends_so(Made(), f"?serial={typed}")
        return [line.children[1].children for line in found[0].children] if found else []

    assert offered("9579") == offered("009579") == ["HM214-009579"]
    assert offered("409") == offered("10409") == ["HM214-010409"]
    assert offered("12") == offered("") == offered("HM214-010409-extra") == []


def test_a_cell_without_bores_says_so():
    refused, *_ = part.show_part(StandIn(empty=True), None)
    assert refused.children[0].children == "No part has been measured yet."
    assert part.offer(StandIn(empty=True)) == [[], []]


def test_newest_serials_are_offered_and_linked(monitor):
    options, links = part.offer(monitor)
    newest = monitor.newest_parts().parts
    assert [o.value for o in options] == list(newest)
    assert [link.href for link in links[1:]] == [part.link_to(s) for s in newest[: part.LINKED]]


def test_a_typed_serial_becomes_a_link_and_a_blank_none():
    assert part.chosen(" A/1 &2 ") == "?serial=A%2F1+%262"
    assert part.chosen("  ") is not None and part.chosen("  ") != "?serial="


def test_every_bore_is_drawn_once_by_its_charted_measurement(story):
    figure = part_walls.walls_figure(story)
    go.Figure(figure)
    words = [a["text"] for a in figure["layout"]["annotations"]]
    assert [sum(f"<b>{b}</b>" in w for w in words) for b in ("1", "2", "3")] == [1, 1, 1]
    assert sum("does not conform" in w for w in words) == 1
    assert sum("outside" in w for w in words) >= 1  # the readings beyond
    rings = [t for t in figure["data"] if t.get("name") == "outside"]
    assert len(rings) == 1 and len(rings[0]["x"]) == int((story.measurements[1].um > 24).sum())


def test_the_drawing_saves_every_reading_of_every_measurement(story):
    rows = part_walls.rows(story)
    assert len(rows["bore"]) == 4 * 6
    assert rows["charted"].count("no") == 6
    expected = np.concatenate([m.um.ravel() for m in story.measurements])
    assert rows["deviation_um"] == expected.tolist()


def test_the_time_line_is_in_order_and_marks_what_to_look_at(story):
    [line] = part_words.time_line(story)
    assert [item.className for item in line.children] == ["honed", "measured look", "decided"]
    assert "does not conform" in str(line.children[1])


def test_a_place_in_a_stream_says_its_unit_where_it_is_no_length():
    assert part_words._in_unit(36.25, "s") == "+36.25 s"
    assert part_words._in_unit(3.2, "µm") == "+3.20"
    assert part_words._in_unit(None, "s") is None


def test_what_is_held_is_linked_to_its_signal_and_says_what_became_of_it(story):
    said = str(part_words.held(story))
    assert "/signals?signal=S-1" in said and "Nothing decided yet" in said
    assert "Scrapped by R. Hale" in said and "<too large>" in said
    assert "on the hold list of S-9" in said, "a disposition on another list is told too"
    assert "fit for use" in said


def test_of_many_hold_lists_the_newest_are_listed_and_the_rest_counted(story):
    one = story.held_for[0]
    several = tuple(replace(one, id=f"S-{i:03d}") for i in range(leafing.SHOWN + 7))
    said = str(part_words.held(replace(story, on_lists=several, on_lists_count=1_535)))
    listed = [i for i in range(leafing.SHOWN + 7) if f"signal=S-{i:03d}'" in said]
    assert listed == list(range(leafing.SHOWN)) and "It stands on 1515 older hold lists" in said
    assert "href='/signals'" in said
    assert "older" not in str(part_words.held(replace(story, on_lists=several[:3], on_lists_count=3)))
    said = str(part_words.held(replace(story, held_for=several)))
    assert "7 older ones are not listed here" in said
    assert "older" not in str(part_words.held(story))


def test_tables_tell_verdicts_by_word_and_mark_what_is_not_proven(story):
    said = json.dumps(
        [t.to_plotly_json() for t in part_words.tables(story)], default=lambda o: o.to_plotly_json()
    )
    for word in ("26.1", "does not conform", "undecided", "guarded (ISO 14253-1)", "214 (dressed)"):
        assert word in said
    for word in (
        "late-station.csv",
        "1,634",
        "4 of 5, 204415 to 204419",
        "came late; kept as read by A. Weber",
    ):
        assert word in said
    assert "not charted: G2 is a gauge of audits" in said
    assert "Rk" in said and "pore" in said


def test_a_traced_bore_is_drawn_in_the_round_and_judged_in_words(story):
    _, words, picture, saves, table = part.traced(story)
    told, graph = picture.children
    assert getattr(told, "aria-labelledby") == words.id
    assert "Roundness trace 8.00 µm (points, at most 5): does not conform." in words.children
    go.Figure(graph.figure)
    buttons = [one for one in saves.children if hasattr(one, "data-saves")]
    assert [(getattr(b, "data-saves"), getattr(b, "data-format")) for b in buttons] == [
        (graph.id, "svg"),
        (graph.id, "png"),
    ]
    assert part.TRACED in str(table)


def test_every_point_of_a_trace_is_in_its_table(story):
    rows = traced_points(story.traces)
    planes = [p for bore in story.traces for p in bore.planes if p.curve is not None]
    assert len(rows["angle_deg"]) == sum(len(p.curve.angle_deg) for p in planes) > 0
    assert set(rows["plane"]) == {p.plane for p in planes}
    widest = max(rows["deviation_um"]) - min(rows["deviation_um"])
    assert widest == pytest.approx(max(np.ptp(p.curve.um) for p in planes))


def test_nothing_on_the_page_says_safe(story):
    said = str(part_words.tables(story)) + str(part_words.held(story)) + str(part_words.time_line(story))
    assert "safe" not in said.lower()


def test_the_record_is_saved_as_paper_and_as_document(monitor):
    at = f"{monitor.part('204418').as_of:%Y-%m-%d-%H%M}"
    content, name = part.made(monitor, "204418", "pdf")
    assert content.startswith(b"%PDF") and name == f"part-204418-{at}.pdf"
    content, name = part.made(monitor, "204418", "json")
    assert b"204418" in content and name == f"part-204418-{at}.json"
    file, said = saving.saved(part.made, StandIn(fails=True), "204418", "json")
    assert file is part.no_update and said
