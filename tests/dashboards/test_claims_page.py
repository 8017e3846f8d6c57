"""The Claims page: a sentence first, every stream with what forbids it, bores and edges of the one chosen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import plotly.graph_objects as go
import pytest
from dash import no_update

from cellmon.errors import NotFound
from dashboards.figures import edges, thinned
from dashboards.pages import claims, parts
from tests.handed_over_answers import picture_answer
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write


@pytest.fixture(scope="module")
def monitor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("claims")
    opened = new_cell(folder / "cell", sheet=SHEET)
    opened.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, rows(110, seed=3)),
        ]
    )
    return opened


@pytest.fixture(scope="module")
def row(monitor):
    return monitor.capability(feature="diameter").capability[0]


@pytest.fixture(scope="module")
def picture(monitor, row):
    return monitor.capability_picture(row.stream)


class Refusing:
    """A monitor that refuses everything."""

    def __getattr__(self, name):
        def refuse(*given, **named):
            raise NotFound("No stream has been measured yet.")

        return refuse


def test_the_first_thing_is_the_sentence_then_the_streams_with_their_reasons(monitor, row):
    sentence, table, _ = claims.show_claims(monitor, "diameter", None)
    assert sentence == monitor.capability(feature="diameter").sentence
    said = str(table)
    assert "S1 bore 1 diameter" in said
    assert row.reasons[0] in said
    assert f"And {len(row.reasons) - 1} more." in said


def test_all_features_are_there_on_demand(monitor):
    sentence, table, _ = claims.show_claims(monitor, claims.EVERY, None)
    assert sentence == monitor.capability().sentence
    assert "S2 bore 2 taper" in str(table)


def test_the_smallest_index_is_chosen_at_first_and_a_link_chooses_its_own(monitor):
    options, chosen = claims.stream_options(monitor, "diameter", None, None)
    rows_ = monitor.capability(feature="diameter").capability
    worst = min(rows_, key=lambda r: r.ppk.value)
    assert [o["value"] for o in options] == [parts.stream_query(r.stream) for r in rows_]
    assert chosen == parts.stream_query(worst.stream)
    other = parts.stream_query(max(rows_, key=lambda r: r.ppk.value).stream)
    assert claims.stream_options(monitor, "diameter", None, "?" + other)[1] == other
    assert claims.linked(monitor, "?" + other, "diameter", chosen) == [no_update, other]
    assert claims.linked(monitor, "?" + other, "diameter", other) == [no_update, no_update]
    assert claims.linked(monitor, "", "taper", other) == [no_update, no_update]


def test_a_link_brings_another_to_the_feature_and_the_stream(monitor):
    options = [o["value"] for o in claims.stream_options(monitor, "taper", None, None)[0]]
    link = claims.link_of("taper", options[1], "")
    assert link == "?" + options[1]
    assert claims.feature_of(link) == "taper"
    assert claims.linked(monitor, link, "diameter", None) == ["taper", options[1]]
    assert claims.link_of("taper", options[1], link) is no_update
    assert claims.link_of("diameter", options[1], link) is no_update  # its stream is still being chosen


def test_a_link_also_tells_that_all_features_are_listed(monitor):
    options = [o["value"] for o in claims.stream_options(monitor, claims.EVERY, None, None)[0]]
    link = claims.link_of(claims.EVERY, options[-1], "")
    assert claims.feature_of(link) == claims.EVERY
    assert claims.linked(monitor, link, "diameter", None) == [claims.EVERY, options[-1]]
    assert claims.stream_options(monitor, claims.EVERY, None, link)[1] == options[-1]


def test_a_stream_shows_every_reason_and_four_lines(monitor, row):
    heading, words, figure = claims.show_stream(monitor, "diameter", parts.stream_query(row.stream))
    said = str(words)
    assert heading == "S1 bore 1 diameter · Not supported: Ppk of at least 1.33"
    assert all(reason in said for reason in row.reasons)
    assert all(f"Td('{name}')" in said for name in ("Cp", "Cpk", "Pp", "Ppk"))
    go.Figure(figure)


def test_refusals_are_sentences(monitor):
    assert claims.show_claims(Refusing(), "diameter", None) == ["No stream has been measured yet.", [], {}]
    assert "No stream has been measured yet." in str(claims.show_stream(Refusing(), "diameter", "x"))
    assert "Choose a stream." in str(claims.show_stream(monitor, "diameter", None))
    assert claims.stream_options(Refusing(), "diameter", None, None)[0] == []


def test_the_left_side_has_every_counted_bore_and_rings_those_beyond(picture):
    figure = edges.edges_figure(picture)
    go.Figure(figure)
    dots = next(t for t in figure["data"] if t.get("text") and len(t["x"]) == int((~picture.left_out).sum()))
    assert dots["y"] == pytest.approx(picture.value_um[~picture.left_out])
    rings = next(t for t in figure["data"] if t.get("name") == "beyond a limit")
    counted = ~picture.left_out
    assert len(rings["x"]) == int((counted & ((picture.greatest_um > 10) | (picture.least_um < -10))).sum())
    out = next(t for t in figure["data"] if t.get("name") == "left out")
    assert len(out["x"]) == int(picture.left_out.sum())


def test_many_bores_are_reduced_and_drawn_without_webgl(picture):
    count = 20_000
    chosen = np.arange(count) % len(picture.part)
    columns = {
        name: getattr(picture, name)[chosen]
        for name in ("part", "at", "value_um", "least_um", "greatest_um", "stone_set")
    }
    left_out = np.arange(count) % 2 == 0
    many = replace(picture, **columns, left_out=left_out)
    figure = edges.edges_figure(many)
    assert {trace["type"] for trace in figure["data"]} == {"scatter"}
    dots = next(t for t in figure["data"] if t.get("marker", {}).get("size") == 3)
    assert thinned.FEW_COLUMNS <= len(dots["x"]) <= 8 * thinned.FEW_COLUMNS + int(left_out.sum()) // 10
    beyond = edges._outside(many) & ~left_out
    assert set(np.flatnonzero(beyond) + 0.5) <= set(dots["x"])
    out = next(t for t in figure["data"] if t.get("name") == "left out")
    assert len(out["x"]) <= thinned.FEW_COLUMNS + 1
    drawn = f"{len(dots['x']):,} of 10,000 drawn"
    assert any(drawn in word["text"] for word in figure["layout"]["annotations"])


def test_both_edges_share_one_log_scale_and_stand_upright(picture):
    layout = edges.edges_figure(picture)["layout"]
    assert layout["xaxis2"]["type"] == layout["xaxis3"]["type"] == "log"
    assert layout["xaxis2"]["range"] == layout["xaxis3"]["range"]
    lower, upper = layout["yaxis2"], layout["yaxis3"]
    assert lower["range"][0] < -10 < lower["range"][1] < upper["range"][0] < 10 < upper["range"][1]
    assert lower["domain"][1] < upper["domain"][0]
    assert np.ptp(lower["range"]) == pytest.approx(np.ptp(upper["range"]))


def test_steps_are_the_bores_measured_and_the_line_is_the_model(picture):
    data = edges.edges_figure(picture)["data"]
    upper = picture.edges[1]
    steps = [t for t in data if t.get("name") == "measured"][1]
    assert steps["line"]["shape"] == "vh"
    assert steps["x"][:-1] == pytest.approx(upper.seen_share)
    model = [t for t in data if t.get("name") == "model"][1]
    assert model["y"] == pytest.approx(upper.size_um)


def test_what_lies_beyond_is_said_in_words_over_each_edge(row):
    figure = edges.edges_figure(picture_answer(row.stream, row_at()))
    said = [a["text"] for a in figure["layout"]["annotations"]]
    assert any(text.startswith("beyond upper: model") and "1 measured" in text for text in said)
    assert any("5 bores, 1 of them left out" in text for text in said)


def row_at():
    from datetime import UTC, datetime

    return datetime(2026, 10, 22, 16, 5, tzinfo=UTC)


def test_saved_files_are_those_of_the_command(monitor):
    content, name = claims.made(monitor, "diameter", "pdf")
    assert content.startswith(b"%PDF") and name.startswith("capability-diameter-2026-03-")
    assert name.endswith(".pdf")
    assert claims.made(monitor, claims.EVERY, "xlsx")[1].startswith("capability-every-")
    assert len(claims.table_rows(monitor, "diameter")["ppk"]) == 2


def test_the_drawn_bores_can_be_taken_away(monitor, row):
    found = claims.picture_rows(monitor, "diameter", parts.stream_query(row.stream))
    assert len(found["part"]) == len(found["left_out"]) == 110


def test_the_drawing_comes_before_the_reasons_and_the_table_of_streams():
    laid = str(claims.layout())
    places = [
        laid.index(f"id='{name}'") for name in (claims.HEADING, claims.EDGES, claims.WORDS, claims.LISTED)
    ]
    assert places == sorted(places)
