"""Long histories are reduced for the eye, and no point that calls for attention is lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.stream import StreamBores
from cellmon.records import Verdict
from dashboards import theme
from dashboards.figures import ticks
from dashboards.figures.ribbon import ribbon_figure, rows
from dashboards.figures.seismograph import LOUD, REACH, SIGMAS_PER_ROW, seismograph_figure
from dashboards.figures.stone_lines import shown_lines
from dashboards.figures.thinned import CELLS, FROM, kept
from tests.dashboards.hovered import hovered
from tests.dashboards.stand_in import CHIP, StandIn
from tests.stone_answers import line

MANY = 100_000
LIMIT = 24.0


def history(seed, *, beyond=0, gaps=True, count=MANY):
    """Return moments and values of a long history with so many points beyond the limit."""
    rng = np.random.default_rng(seed)
    step = np.where(rng.random(count) < 0.001, 6 * 3600, 60) if gaps else np.full(count, 60)
    at = np.datetime64("2026-01-01", "us") + np.cumsum(step).astype("timedelta64[s]")
    value = np.clip(12.0 + 2.0 * rng.standard_normal(count), 1.0, LIMIT - 1.0)
    far = rng.choice(count, size=beyond, replace=False)
    value[far] = LIMIT + 0.001 + rng.random(beyond)
    return at, value


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 3000), st.booleans(), st.integers(1, 3000))
def test_no_point_beyond_is_ever_dropped(seed, beyond, gaps, columns):
    at, value = history(seed, beyond=beyond, gaps=gaps)
    drawn = kept(at, value, always=value > LIMIT, columns=columns)
    assert set(np.flatnonzero(value > LIMIT)) <= set(drawn)
    assert (np.diff(drawn) > 0).all()
    assert len(drawn) <= 4 * columns + beyond


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 2000))
def test_the_outline_of_every_column_is_that_of_all_points(seed, columns):
    at, value = history(seed, beyond=3)
    value[::97] = np.nan
    drawn = kept(at, value, columns=columns)
    share = (at - at[0]) / (at[-1] - at[0])
    column = np.minimum((share * columns).astype(int), columns - 1)
    inside = np.zeros(len(at), dtype=bool)
    inside[drawn] = True
    for edge in (np.fmin, np.fmax):
        whole = edge.reduceat(value, starts := np.flatnonzero(np.diff(column, prepend=-1)))
        shown = edge.reduceat(np.where(inside, value, np.nan), starts)
        np.testing.assert_array_equal(shown, whole)


@pytest.mark.parametrize("count", [0, 1, FROM])
def test_a_short_history_is_drawn_whole(count):
    at, value = history(1, count=count)
    assert kept(at, value).tolist() == list(range(count))


@pytest.fixture(scope="module")
def long_view():
    """A stream with 100,000 bores, seven of them beyond the tolerance, one far off, two doubted."""
    view = StandIn().stream(spindle="S2", bore="3", feature="diameter", since=CHIP[0], until=CHIP[1])
    at, value = history(7)
    far = np.array([5, 4_321, 50_000, 50_001, 77_777, 99_000, 99_999])
    value[far] = LIMIT + 1.0
    value[50_001] = 900.0
    doubted = np.zeros(MANY, dtype=bool)
    doubted[[1234, 88_888]] = True
    verdict = np.full(MANY, Verdict.CONFORMS, dtype=object)
    verdict[far[:3]] = Verdict.DOES_NOT_CONFORM
    bores = StreamBores(
        part=np.array([f"P{i}" for i in range(MANY)], dtype=object),
        at=at,
        value_um=value,
        flagged=doubted,
        verdict=verdict,
        stone_set=np.full(MANY, "FS-1", dtype=object),
    )
    since = at[0].item().replace(tzinfo=view.since.tzinfo)
    return replace(
        view,
        bores=bores,
        since=since,
        until=since + timedelta(days=400),
        tolerance=Tolerance(lower_um=0.0, upper_um=LIMIT, target_um=12.0, guard_um=1.0),
    ), far


def test_a_ribbon_of_100_000_bores_draws_every_one_that_is_out_and_says_what_it_left_out(long_view):
    view, far = long_view
    figure = ribbon_figure(view)
    go.Figure(figure)
    traces = {t.get("name"): t for t in figure["data"]}
    drawn = traces["bores"]
    assert len(drawn["x"]) < 6000
    wanted = {f"P{i}" for i in (*far, 1234, 88_888)}
    assert wanted <= set(drawn["customdata"])
    assert set(traces["does not conform"]["customdata"]) == {f"P{i}" for i in far[:3]}
    assert any("of 100,000 bores drawn" in a["text"] for a in figure["layout"]["annotations"])
    assert len(rows(view)["part"]) == MANY, "what is saved holds all"


def test_a_bore_beyond_the_drawing_stands_at_its_edge_and_says_its_size(long_view):
    view, _ = long_view
    (edge,) = (t for t in ribbon_figure(view)["data"] if t.get("name") == "beyond the drawing")
    low, high = ribbon_figure(view)["layout"]["yaxis"]["range"]
    assert edge["customdata"] == ["P50001"]
    assert low < edge["y"][0] < high
    assert "+900.00" in hovered(edge, 0)
    assert edge["marker"]["color"] == [theme.ATTENTION]


def test_a_seismograph_of_long_lines_keeps_every_point_in_ink():
    answer = StandIn().seismograph()
    at, _ = history(3)
    deviation = np.random.default_rng(3).standard_normal(MANY) * 0.7
    deviation[[17, 40_404, 99_998]] = 5.0, -6.0, 4.0
    line = replace(
        answer.traces[0],
        at=at,
        deviation=deviation,
        last_part=np.array([f"P{i}" for i in range(MANY)], dtype=object),
        stone_set=np.full(MANY, None, dtype=object),
        signals=(),
    )
    until = answer.since + timedelta(days=400)
    figure = seismograph_figure(replace(answer, traces=(line,), until=until), chosen=line.stream, shift=None)
    quiet = next(t for t in figure["data"] if t["name"] == str(line.stream))
    assert len(quiet["x"]) < 8000
    loud = np.flatnonzero(np.abs(deviation) > LOUD)
    heights = np.clip(deviation[loud] / SIGMAS_PER_ROW, -REACH, REACH).round(3)  # of a row: no pixel is lost
    assert set(heights) <= {y for y in quiet["y"] if y is not None}
    assert {f"P{i}" for i in loud} <= set(quiet["ids"]), "a click on the chosen line opens its block"


def test_of_ten_thousand_past_sets_those_are_drawn_that_differ_to_the_eye():
    """Stones of decades: each end and each middle of a line has one drawn in its place, no chip is lost."""
    random = np.random.default_rng(5)
    some = line("X", "S1", state="ended", fan=None, now_bores=None, now_left_um=None)
    past = []
    for i in range(10_000):
        end = float(random.uniform(500, 9000))
        chip = replace(some.rounds[0], bores=end, left_um=1.0, jump="chip") if i % 997 == 0 else None
        of = {"bores": np.array([0.0, end / 2, end]), "left_um": np.array([2400.0, 1200.0, 0.0])}
        rounds = (some.rounds[0], *((chip,) if chip else ()))
        past.append(replace(some, stone_set=f"X{i}", rounds=rounds, **of))
    shown = shown_lines(past)
    assert len(shown) < 400
    assert {one.stone_set for one in past[::997]} <= {one.stone_set for one in shown}
    ends = np.array([one.bores[-1] for one in shown])
    assert max(np.abs(ends - one.bores[-1]).min() for one in past) < 9000 / CELLS[0]
    assert shown_lines(past[:1000]) == past[:1000]


def test_the_words_of_a_doubted_stretch_hang_below_the_lower_limit():
    at = np.datetime64("2026-03-02T06:00", "us") + np.arange(100) * np.timedelta64(60, "s")
    flagged = np.isin(np.arange(100), [*range(2, 14), *range(88, 99)])
    view = SimpleNamespace(bores=SimpleNamespace(flagged=flagged, at=at))
    since = datetime(2026, 3, 2, 6, tzinfo=UTC)
    clock = SimpleNamespace(xs=list, since=since, until=since + timedelta(minutes=100))
    [drawn] = ticks.doubted(view, clock, -2.0, 26.0)
    assert [word for word in drawn["text"] if word] == ["doubted: 12 bores", "doubted: 11 bores"]
    assert drawn["textposition"] == ["bottom right"] * 3 + ["bottom left"] * 3
    assert drawn["cliponaxis"] is False
