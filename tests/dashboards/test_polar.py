"""The drawing of traced sections: valid, quiet, exaggerated by a round factor, ringed where it leaves."""

from __future__ import annotations

import plotly.graph_objects as go
import pytest

from dashboards import theme
from dashboards.figures.polar import REACH, polar_figure
from tests.monitor.test_traces import POINTS, TRACED, lines, three_lobes
from tests.small_cell import new_cell, write


@pytest.fixture
def bores(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=TRACED)
    rows = lines(three_lobes) + lines(lambda turn: 0.3 * three_lobes(turn), bore="2")
    monitor.take([write(tmp_path, "traces.csv", POINTS, rows)])
    yield monitor.traces(part="B1").bores
    monitor.close()


def test_each_plane_is_drawn_with_its_words_and_its_exaggeration(bores):
    figure = polar_figure(bores[0], nominal_mm=50.0)
    go.Figure(figure)
    words = " ".join(a["text"] for a in figure["layout"]["annotations"])
    assert "drawn 2,000 times" in words and "5 µm allowed" in words
    assert "<b>top</b>: three lobes" in words and "<b>bottom</b>" in words
    curves = [t for t in figure["data"] if t.get("name") in ("top", "bottom")]
    reach = max(max(map(abs, t["y"])) for t in curves)
    assert 25.0 < reach <= 25.0 * (1 + REACH)


def test_only_a_section_that_leaves_what_is_allowed_is_ringed(bores):
    def ringed(bore):
        return [t for t in polar_figure(bore, nominal_mm=50.0)["data"] if t.get("marker") == theme.RING]

    assert len(ringed(bores[0])) == 2
    assert ringed(bores[1]) == []


def test_without_points_it_says_so(bores):
    from dataclasses import replace

    figure = polar_figure(replace(bores[0], planes=()), nominal_mm=50.0)
    assert "no points" in figure["layout"]["annotations"][0]["text"]
