"""Size and form of one bore on one time axis: nothing beyond a limit is hidden, a point opens its bore."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.monitor.stream import StreamBores
from cellmon.shifts import to_local
from dashboards.figures import strips, thinned, ticks
from dashboards.pages import parts, stream, stream_asked
from dashboards.pages import strips as page
from tests.dashboards.hovered import hovered
from tests.dashboards.stand_in import StandIn
from tests.dashboards.test_features_together import words_of

BORE = "spindle=S2&bore=3&feature=taper"
ASKED = BORE, "two", None


@pytest.fixture(scope="module")
def monitor():
    return StandIn()


@pytest.fixture(scope="module")
def views(monitor):
    return page.views_asked(monitor, stream_asked.asked_for, *ASKED)


def test_the_strips_are_of_the_bore_that_is_shown_size_first(views):
    names = [view.stream.feature for view in views]
    assert names == [f for f in strips.FEATURES if f in names] and names[0] == "diameter"
    assert {(view.stream.spindle, view.stream.bore) for view in views} == {("S2", "3")}


def test_it_is_drawn_where_it_is_asked_for(monitor):
    _, hidden = page.show(monitor, stream_asked.asked_for, "none", *ASKED)
    figure, seen = page.show(monitor, stream_asked.asked_for, page.KIND, *ASKED)
    assert hidden == parts.HIDDEN and seen == {} and go.Figure(figure)
    assert stream.below(monitor, page.KIND, *ASKED) is None
    refused, _ = page.show(StandIn(fails=True), stream_asked.asked_for, page.KIND, *ASKED)
    assert refused["data"] == [] and refused["layout"]["annotations"]


def test_strips_stand_apart_under_one_time_axis(views):
    figure = strips.strips_figure(views)
    axes = [axis for name, axis in figure["layout"].items() if name.startswith("yaxis") and name != "yaxis2"]
    assert len(axes) == len(views) and "xaxis2" not in figure["layout"]
    ends = sorted(axis["domain"] for axis in axes)
    assert all(low[1] < high[0] for low, high in pairwise(ends))
    assert figure["layout"]["yaxis2"]["domain"][1] < ends[0][0] and ends[-1][1] == pytest.approx(1.0)


def test_what_was_done_runs_through_all_strips(views):
    figure = strips.strips_figure(views)
    through = {
        s["x0"] for s in figure["layout"]["shapes"] if s.get("yref") == "paper" and s["type"] == "line"
    }
    clock = strips.clock_from(views[0].bores.at, views[0].since, views[0].until, views[0].zone)
    shown = [e for e in views[0].events if clock.since <= e.at <= clock.until]
    done = {clock.x(e.at) for e in shown if e.kind != "feed-offset"}
    assert done and done == through
    told = " ".join(t for trace in figure["data"] for t in trace.get("text", ()) if t)
    assert all(e.words in told for e in shown)
    assert any("dressed" in w["text"] for w in figure["layout"]["annotations"])


def test_a_point_tells_and_opens_its_bore(views):
    drawn = [t for t in strips.strips_figure(views)["data"] if t.get("name") == "bores"]
    assert len(drawn) == len(views)
    for trace in drawn:
        assert trace["meta"]["opens"] == "/part?bore=3&serial=" and len(trace["customdata"]) == len(
            trace["x"]
        )
        assert "bore 3, block" in hovered(trace, 0) and "stones" in hovered(trace, 0)


def long_of(view, values):
    """Return a view with bores of these values, one a minute."""
    count, made = len(values), view.bores
    rows = np.zeros(count, dtype=int)
    columns = {f.name: getattr(made, f.name)[rows] for f in fields(made)}
    at = np.datetime64("2026-01-01T00:00", "us") + np.arange(count) * np.timedelta64(60, "s")
    part = np.array([f"P{i}" for i in range(count)], dtype=object)
    quiet = {"flagged": np.zeros(count, dtype=bool), "verdict": np.full(count, "conforms", dtype=object)}
    columns |= {"at": at, "part": part, "value_um": np.array(values), **quiet}
    zone = ZoneInfo(view.zone)
    since, until = (to_local(moment, zone) for moment in (at[0], at[-1]))
    return replace(view, bores=StreamBores(**columns), since=since, until=until, events=())


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 19_999), st.floats(-60, 60)), min_size=1, max_size=30))
def test_no_bore_beyond_a_limit_is_hidden(views, wild):
    values = np.zeros(20_000)
    for row, value in wild:
        values[row] = value
    view = long_of(views[1], values)
    drawn = strips.strips_figure([view])["data"]
    seen = {part for trace in drawn if "customdata" in trace for part in trace["customdata"]}
    beyond = set(view.bores.part[ticks.outside(view)])
    assert beyond <= seen and len(seen) < 4 * thinned.FEW_COLUMNS + len(wild)


def test_a_long_history_says_that_it_is_reduced_and_needs_no_webgl(views):
    view = long_of(views[0], np.sin(np.arange(50_000)))
    figure = strips.strips_figure([view])
    assert {trace.get("type") for trace in figure["data"]} == {"scatter"}
    assert any("of 50,000 bores drawn" in w["text"] for w in figure["layout"]["annotations"])


def test_the_table_holds_every_bore_and_what_was_done(monitor, views):
    rows = page.data(monitor, stream_asked.asked_for, *ASKED)
    assert len({len(cells) for cells in rows.values()}) == 1
    counts = {view.stream.feature: len(view.bores.at) for view in views}
    assert {f: rows["what"].count(f) for f in counts} == counts
    assert rows["what"].count("stones-dressed") == sum(e.kind == "stones-dressed" for e in views[0].events)
    at = datetime.fromisoformat(rows["measured_at"][-1])
    assert views[0].since.replace(tzinfo=None).date() <= at.date()


def test_the_page_says_how_it_is_read():
    said = words_of(page.layout())
    assert "Upright through all" in said and "tolerance" in said
