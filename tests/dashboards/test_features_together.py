"""Features together on the Stream page: drawn on demand, valid, ringed and named; a refusal is a sentence."""

from __future__ import annotations

from types import SimpleNamespace

import plotly.graph_objects as go
import pytest

from cellmon import words
from cellmon.errors import CellmonError
from dashboards import theme
from dashboards.figures import mean_range, promised, together
from dashboards.figures.mean_range import mean_range_figure, pair_of_shift
from dashboards.pages import parts, promise, saving, shifts, stream, stream_asked
from tests.dashboards.stand_in import StandIn

TAPER = "spindle=S2&bore=3&feature=taper"


@pytest.fixture(scope="module")
def monitor():
    return StandIn()


def words_of(component):
    """Return all text below a component."""
    if component is None or isinstance(component, (int, float)):
        return ""
    if isinstance(component, str):
        return component
    if isinstance(component, (list, tuple)):
        return " ".join(map(words_of, component))
    return words_of(getattr(component, "children", None))


def test_it_is_drawn_only_when_it_is_asked_for(monitor):
    *_, hidden, said = stream.show_stream(monitor, TAPER, "two", None, "none")
    assert hidden == parts.HIDDEN and "Features together" not in words_of(said)
    _, _, figure, shown, said = stream.show_stream(monitor, TAPER, "two", None, "joint")
    assert shown == {} and go.Figure(figure)
    told = words_of(said)
    assert "size and taper together" in told and "taper 9.0 standard errors above its centre" in told
    assert "once in about 47,000 subgroups" in told and "raises no signal" in told


def test_what_lies_beyond_is_ringed_and_named_and_the_rest_is_quiet(monitor):
    answer = monitor.joint(spindle="S2", bore="3")
    figure = together.joint_figure(answer)
    traces = {t["name"]: t for t in figure["data"] if "name" in t}
    assert set(traces) == {"inside the limits", "T-squared", "MEWMA", "T-squared beyond"}
    assert traces["T-squared beyond"]["y"] == pytest.approx(answer.points.t_squared[26:29] ** 0.5)
    assert traces["T-squared beyond"]["marker"] == theme.RING
    named = [a["text"] for a in figure["layout"]["annotations"]]
    assert any("taper up" in text for text in named)
    zones = [t for t in figure["data"] if t.get("name") == "inside the limits"]
    assert [max(y for y in z["y"] if y is not None) for z in zones] == pytest.approx(
        [answer.t_squared_limit**0.5, answer.mewma_limit**0.5]
    )
    assert all(z["fillcolor"] == theme.INSIDE for z in zones)


def test_a_bore_that_cannot_be_judged_says_why_and_keeps_the_ribbon(monitor):
    lead, ribbon, figure, shown, said = stream.show_stream(
        monitor, "spindle=S1&bore=1&feature=taper", "two", None, "joint"
    )
    assert len(ribbon["data"]) > 3 and shown == {} and go.Figure(figure)
    assert "no limits yet" in words_of(said) and "S1 bore 1 taper" in str(lead)


def test_a_mean_of_bores_is_refused_in_a_sentence(monitor):
    pooled = parts.stream_query(monitor.pooled()[0])
    *_, said = stream.show_stream(monitor, pooled, "two", None, "joint")
    assert "choose a stream of a bore" in words_of(said)
    apart = parts.stream_query(monitor.pooled()[1])
    with pytest.raises(CellmonError, match="one bore"):
        stream_asked.joint_asked(monitor, apart, "two", None)


def test_a_time_without_points_is_a_sentence():
    figure = together.joint_figure(StandIn(empty=True).joint(spindle="S2", bore="3"))
    assert "No subgroup" in figure["layout"]["annotations"][0]["text"]


def test_the_saved_table_holds_both_charts_and_each_feature(monitor):
    rows = stream.below_rows(monitor, "joint", TAPER, "two", None)
    assert set(rows) >= {"at", "t_squared", "t_squared_limit", "mewma", "taper_standard_errors"}
    assert len({len(column) for column in rows.values()}) == 1
    assert saving.csv_text(rows).count("\n") == 41


def test_limits_by_probability_are_dotted_where_a_feature_is_skewed(monitor):
    pair = mean_range_figure(pair_of_shift(monitor.shifts().shifts[0]))
    by_feature = {s.feature: s for s in monitor.streams()}
    skewed = promise.trust_in(monitor, by_feature["barrel"])
    drawn = promised.with_probability(pair, promise.skew_of(skewed))
    assert go.Figure(drawn)
    more = drawn["layout"]["shapes"][len(pair["layout"]["shapes"]) :]
    assert [(one["yref"], one["y0"], one["line"]["dash"]) for one in more] == [
        ("y", -1.2, "dot"),
        ("y", 0.9, "dot"),
        ("y2", 5.1, "dot"),
    ]
    told = words_of(promise.promise_words(skewed))
    assert "one in 370 is promised" in told and "by probability" in told
    straight = promise.trust_in(monitor, by_feature["taper"])
    assert promised.with_probability(pair, promise.skew_of(straight)) is pair
    assert "Dotted" not in words_of(promise.promise_words(straight))
    assert promise.trust_in(monitor, monitor.pooled()[0]) is None
    assert promise.trust_in(StandIn(fails=True), by_feature["taper"]) is None


def test_the_shifts_page_draws_them_too(monitor):
    chosen = next(one for one in monitor.shifts().shifts if one.stream.feature == "barrel")
    _, _, figure, _ = shifts.show_shift(monitor, None, parts.stream_query(chosen.stream))
    assert promised.WORDS in [a["text"] for a in figure["layout"]["annotations"]]


def test_the_classic_pair_says_how_far_its_limits_keep_their_promise(monitor):
    class WithPair(StandIn):
        def pair(self, *, kind, **names):
            return SimpleNamespace(kind=kind)

    pair = pair_of_shift(monitor.shifts().shifts[0])
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(mean_range, "pair_of", lambda answer: pair)
        *_, said = stream.show_stream(WithPair(), TAPER, "two", None, "range")
        assert "neighbours correlate by 0.31" in words_of(said)
        *_, said = stream.show_stream(WithPair(), TAPER, "two", None, "sd")
        assert "neighbours" not in words_of(said)


def test_columns_of_a_file_keep_their_english_names_in_every_language(read_week):
    monitor = read_week
    stream_of = parts.names_of(next(s for s in monitor.streams() if s.feature == "diameter"))
    words.speak({"mean": "Mittelwert", "standard deviation": "Streuung"})
    try:
        pair = mean_range.pair_of(monitor.pair(kind="sd", **stream_of))
        titles = mean_range_figure(pair)["layout"]
        assert {"mean_um", "standard_deviation_um"} <= set(mean_range.rows(pair))
        assert titles["yaxis"]["title"]["text"].startswith("Mittelwert")
        assert titles["yaxis2"]["title"]["text"].startswith("Streuung")
    finally:
        words.speak({})
