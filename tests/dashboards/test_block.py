"""The block drawn to scale: what is printed about the exaggeration is what is drawn."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.state import Status
from cellmon.records import Flag
from dashboards import theme
from dashboards.figures.block import INSIDE, block_figure, labels_of, rows, section_of
from tests.dashboards.stand_in import now_answer

NOW = now_answer(Status.STOP)


def named(figure, name):
    return [t for t in figure["data"] if t.get("name") == name]


def test_one_micrometre_is_drawn_as_large_as_the_words_say():
    figure = block_figure(NOW)
    words = next(a["text"] for a in figure["layout"]["annotations"] if "drawn as" in a["text"])
    said = int(re.search(r"1 µm drawn as ([\d,]+) µm", words)[1].replace(",", ""))
    limits = np.array([v for v in named(figure, "limits")[0]["x"] if v is not None])
    between = np.ptp(limits[limits > 0]) if (limits > 0).any() else 0.0
    apart_um = (NOW.tolerance.upper_um - NOW.tolerance.lower_um) / 2
    assert between == pytest.approx(apart_um * said / 1000, rel=1e-9)
    assert (figure["layout"]["yaxis"]["scaleanchor"], figure["layout"]["yaxis"]["scaleratio"]) == ("x", 1)


def test_a_reading_outside_is_ringed_and_named_and_nothing_else_is():
    figure = block_figure(NOW)
    for name in ("outside", "does not conform"):  # the reading on its wall, the bore among the last
        assert sum(len(t["x"]) for t in named(figure, name) if t["marker"] == theme.RING) == 1
    said = [a["text"] for a in figure["layout"]["annotations"] if "outside</b>" in a["text"]]
    assert any("+25.3 outside" in text for text in said)


@given(st.floats(0.5, 500), st.floats(5, 500))
def test_walls_never_meet_in_the_middle_or_leave_their_column(upper, nominal):
    tolerance = Tolerance(lower_um=0.0, upper_um=upper, target_um=None, guard_um=None)
    now = replace(NOW, tolerance=tolerance, nominal_mm=nominal)
    section = section_of(now, np.array([-1e4, 0.0, 1e4]))
    assert 0 < section.out(-1e6) < section.out(1e6) < section.pitch / 2


def test_a_doubted_bore_says_so():
    s1 = NOW.spindles[0]
    doubted = replace(s1, bores=(replace(s1.bores[0], flags=(Flag.ROUTING,)),))
    figure = block_figure(replace(NOW, spindles=(doubted,)))
    assert any(
        "doubted: read as a<br>bore of another<br>spindle" in a["text"]
        for a in figure["layout"]["annotations"]
    )


def test_a_cell_without_bores_gets_a_sentence():
    figure = block_figure(now_answer(Status.LOOK, empty=True))
    assert "No bore" in figure["layout"]["annotations"][0]["text"]


def test_every_reading_can_be_saved():
    table = rows(NOW)
    assert {len(column) for column in table.values()} == {4 * 3 * 2}


def beside(now, lines):
    """Return an answer with so many lines of spindles side by side, each honing the same bores."""
    spindles = [
        replace(s, spindle=f"{s.spindle}{letter}") for letter in "abcdefgh"[:lines] for s in now.spindles
    ]
    return replace(now, spindles=tuple(spindles))


def test_bores_of_one_number_are_named_by_their_spindles_too():
    assert labels_of(NOW) == [b.bore for s in NOW.spindles for b in s.bores]
    both = beside(NOW, 2)
    labels = labels_of(both)
    assert len(set(labels)) == len(labels) == 2 * len(labels_of(NOW))
    assert labels[0] == f"{both.spindles[0].spindle} · {both.spindles[0].bores[0].bore}"
    figure = block_figure(both)
    said = " ".join(a["text"] for a in figure["layout"]["annotations"])
    assert all(f">{label}<" in said and f"{label}," in said for label in labels)


def test_many_bores_are_drawn_as_high_as_few_and_in_a_narrow_box_by_their_names_alone():
    figure = block_figure(beside(NOW, 4))
    layout, narrow = figure["layout"], figure["layout"]["meta"]["narrow"]
    assert layout["yaxis"]["scaleanchor"] is False, "to scale, many bores would leave no height"
    assert any("not to the scale" in a["text"] for a in layout["annotations"])
    inside = [i for i, a in enumerate(layout["annotations"]) if a.get("name") == INSIDE]
    assert all("conform" in layout["annotations"][i]["text"] for i in inside)
    assert all("conform" not in narrow["is"][f"annotations[{i}].text"] for i in inside)
    assert narrow["was"][f"annotations[{inside[0]}].text"] == layout["annotations"][inside[0]]["text"]
