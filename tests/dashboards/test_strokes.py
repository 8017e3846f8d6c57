"""Marks that are one path: every one stands where its point is, and in inches where inches are shown."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
import pytest

from cellmon import lengths
from dashboards import theme
from dashboards.figures import strips, strokes
from dashboards.figures.clock import clock_of
from dashboards.figures.ribbon import SMALL, ribbon_figure
from tests.dashboards.hovered import hovered
from tests.dashboards.stand_in import CHIP, StandIn

LEVEL = re.compile(r"M([\d_:-]+),([-\d.e+]+)H([\d_:-]+)")
UPRIGHT = re.compile(r"M([\d_:-]+),([-\d.e+]+)V([-\d.e+]+)")
PIECE = re.compile(r"[MLHVZ][^MLHVZ]*")


@pytest.fixture(scope="module")
def view():
    return StandIn().stream(spindle="S2", bore="3", feature="taper", since=CHIP[0], until=CHIP[1])


def paths(figure, colour, yref="y"):
    """Return the paths of a colour on an axis."""
    shapes = figure["layout"]["shapes"]
    mine = [s for s in shapes if s["type"] == "path" and s.get("yref", "y") == yref]
    return [s["path"] for s in mine if s["line"].get("color") == colour]


def middles(path):
    """Return the middle and the height of every level stroke, and how long it is in seconds."""
    found = []
    for left, y, right in LEVEL.findall(path):
        a, b = (datetime.fromisoformat(one.replace("_", "T")).timestamp() for one in (left, right))
        found.append(((a + b) / 2, float(y), b - a))
    return np.array(found)


def points(trace):
    return np.array(
        [(datetime.fromisoformat(x).timestamp(), y) for x, y in zip(trace["x"], trace["y"], strict=True)]
    )


@pytest.mark.parametrize("inch", [False, True])
def test_every_bore_and_every_mean_that_is_hovered_over_has_its_stroke(view, inch):
    with lengths.shown_in(lengths.Shown.INCH if inch else lengths.Shown.MM):
        figure = ribbon_figure(view, room=SMALL)
    go.Figure(figure)
    traces = {t.get("name"): t for t in figure["data"]}
    for name, colour in (("bores", theme.QUIET), ("means", theme.INK)):
        (path,) = paths(figure, colour)
        drawn, wanted = middles(path), points(traces[name])
        assert len(drawn) == len(wanted) > 5
        np.testing.assert_allclose(drawn[:, 0], wanted[:, 0], rtol=0, atol=1)
        np.testing.assert_allclose(drawn[:, 1], wanted[:, 1], rtol=1e-4, atol=1e-3)
        assert len(set(drawn[:, 2])) == 1


def test_bars_reach_from_the_least_to_the_greatest_bore_of_their_subgroup(view):
    (path,) = paths(ribbon_figure(view), theme.BAR)
    ends = np.array([(float(a), float(b)) for _, a, b in UPRIGHT.findall(path)])
    np.testing.assert_allclose(ends[:, 1] - ends[:, 0], view.subgroups.range_um, atol=1e-3)


def test_a_strip_has_its_strokes_on_its_own_axis():
    ask = StandIn()
    views = [
        ask.stream(spindle="S2", bore="3", feature=one, since=CHIP[0], until=CHIP[1])
        for one in ("diameter", "taper")
    ]
    figure = strips.strips_figure(views)
    for axis in ("y", "y3"):
        (trace,) = (t for t in figure["data"] if t.get("name") == "bores" and t["yaxis"] == axis)
        (path,) = paths(figure, theme.QUIET, axis)
        np.testing.assert_allclose(middles(path)[:, 1], trace["y"], rtol=1e-4, atol=1e-3)


def test_a_path_leaves_out_what_is_not_known_and_breaks_over_gaps(view):
    clock = clock_of(view.since, view.until, view.zone)
    at = view.bores.at[:3]
    (shape,) = strokes.level(at, np.array([1.0, np.nan, -2.5]), clock, length=0.01, colour="c", width=1.0)
    assert middles(shape["path"])[:, 1].tolist() == [1.0, -2.5]
    assert strokes.level(at, np.full(3, np.nan), clock, length=0.01, colour="c", width=1.0) == []
    x = clock.xs(at)
    broken = [(x[0], 1.0), (None, None), (x[1], 2.0), (x[2], 1e-7)]
    (shape,) = strokes.joined(broken, colour="c", width=1.0)
    assert [piece[0] for piece in PIECE.findall(shape["path"])] == ["M", "M", "L"]
    (shape,) = strokes.zones([(x[:2], np.array([0.0, 1.0]), np.array([2.0, 3.0]))], colour="c")
    heights = [float(piece.split(",")[1]) for piece in PIECE.findall(shape["path"])[:-1]]
    assert heights == [2.0, 3.0, 1.0, 0.0]


@pytest.mark.parametrize("days", [0, 7], ids=["one offset", "the clock is changed meanwhile"])
def test_a_bore_says_its_block_size_and_moment_on_the_wall(view, days):
    figure = ribbon_figure(replace(view, until=view.until + timedelta(days=days)))
    (trace,) = (t for t in figure["data"] if t.get("name") == "bores")
    for i in (0, len(trace["x"]) - 1):
        utc = view.bores.at[i].astype("datetime64[s]").item().replace(tzinfo=UTC)
        at = utc.astimezone(ZoneInfo(view.zone))
        size = theme.um(float(view.bores.value_um[i]), 2)
        said, moment, stones, verdict = hovered(trace, i).split("<br>")[:4]
        assert said == f"bore 3, block {view.bores.part[i]}: {size} µm"
        assert moment + stones + verdict == f"{at:%Y-%m-%d %H:%M}stones FS-1042{view.bores.verdict[i]}"
