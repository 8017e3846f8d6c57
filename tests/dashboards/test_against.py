"""Two sides against each other on page Shifts: what is offered, what is drawn and told, what is refused."""

from __future__ import annotations

from datetime import timedelta

import plotly.graph_objects as go
import pytest

from cellmon.monitor.compare import Side
from dashboards.pages import against
from tests.monitor.judge.watched_cell import cell_of, logged, watched_rows

SETS = {"kind": "stone_sets", "first": "A1", "second": "A2", "feature": "diameter"}


@pytest.fixture(scope="module")
def cell():
    """Two sets on S1; from the second on bore 1 is 1 um larger and bore 2 scatters twice as wide."""
    rows = watched_rows(
        400,
        shift=lambda block, bore: float(block >= 200 and bore == "1"),
        wide=lambda block, bore: 2.0 if block >= 200 and bore == "2" else 1.0,
    )
    return cell_of(rows, [logged(n, "stones-fitted", stone_set=name) for n, name in ((0, "A1"), (200, "A2"))])


def test_what_there_are_two_of_is_offered_the_newest_first_and_what_was_chosen_stays(cell):
    kinds, kind, sides, first, others, second, features = against.choices(cell, "stone_sets", None, None)
    assert {"stone_sets", "spindles"} <= {one["value"] for one in kinds}
    assert "lots" not in [one["value"] for one in kinds], "no lot is known"
    assert (kind, first, second) == ("stone_sets", "A1", "A2")
    assert sides == others == [{"label": name, "value": name} for name in ("A2", "A1")]
    assert "diameter" in [one["value"] for one in features]
    again = against.choices(cell, "stone_sets", "A2", "A1")
    assert (again[3], again[5]) == ("A2", "A1")
    assert against.choices(cell, "spindles", "A2", "A1")[1] == "spindles"
    assert against.choices(cell, "spindles", "A2", "A1")[3] != "A2", "no spindle is called so"


def test_a_time_that_still_runs_is_passed_over(cell):
    known = cell.comparable()
    _, kind, sides, first, _, second, _ = against.choices(cell, None, None, None)
    assert kind == "shifts"
    places = [one["value"] for one in sides]
    runs = known.shifts[-1].until > known.as_of
    assert (places.index(second), places.index(first)) == ((1, 2) if runs else (0, 1))
    one = known.shifts[-1]
    assert against.side_of("shifts", places[0]) == Side(since=one.since, until=one.until)


def test_the_drawing_rings_what_differs_and_says_its_figure(cell):
    sentence, figure, room, told, shown = against.show(cell, SETS)
    answer = against.compared(cell, SETS)
    assert sentence == answer.sentence[0].upper() + answer.sentence[1:]
    assert shown == {}
    drawn = go.Figure(figure)
    assert room == {"height": f"{drawn.layout.height}px"}
    rings = {t.xaxis: list(t.y) for t in drawn.data if t.name == "rings"}
    places = {s.stream.bore: -i for i, s in enumerate(answer.streams)}
    assert rings == {"x": [places["1"]], "x2": [places["2"]]}
    low, high = drawn.layout.xaxis.range
    assert low == -high
    assert drawn.layout.xaxis2.type == "log"
    words = " ".join(one.text for one in drawn.layout.annotations)
    assert "µm" in words and "times" in words
    assert answer.lives.sentence in str(told)
    assert f"Set A2: {answer.second.bores} bores, " in str(told)


def test_spindles_are_compared_over_the_last_thirty_days(cell):
    answer = against.compared(cell, {"kind": "spindles", "first": "S1", "second": "S2", "feature": None})
    assert answer.as_of - min(answer.first.first_at, answer.second.first_at) <= timedelta(days=30)
    assert answer.second.name == "spindle S2"


def test_the_file_holds_every_row_with_its_interval(cell):
    columns, answer = against.rows(cell, SETS), against.compared(cell, SETS)
    assert columns["level_um"] == [s.level_um.value for s in answer.streams]
    assert columns["level_um_low"] == [s.level_um.low for s in answer.streams]


def test_what_cannot_be_compared_is_said_and_nothing_is_shown(cell):
    refused = {
        "Choose two sides first": None,
        "there is nothing to compare": {**SETS, "second": "A1"},
        "No stone set B7 is known": {**SETS, "second": "B7"},
    }
    for why, asked in refused.items():
        sentence, *_, told, shown = against.show(cell, asked)
        assert why in sentence
        assert told == [] and shown["visibility"] == "hidden"
