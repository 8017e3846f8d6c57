"""The Gauge page: its sentence, its rulers to scale, its masters, and what it says of each."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
import pytest

from cellmon.errors import NotFound
from dashboards.figures import ruler, two_gauges, zeroes
from dashboards.pages import gauge
from tests.dashboards.stand_in import END, StandIn
from tests.gauge_answers import gauge_answer

ZONE = ZoneInfo("Europe/Berlin")


@pytest.fixture(scope="module")
def monitor():
    return StandIn()


@pytest.fixture(scope="module")
def answer():
    return gauge_answer(END, sheet=1)


def test_the_first_thing_is_the_sentence(monitor):
    sentence, figure, style, words = gauge.show_study(monitor, None, None)
    assert sentence.startswith("Yes: G1 last read its master")
    go.Figure(figure)
    assert style["height"] == f"{figure['layout']['height']}px"
    assert "part T7: 2 of 3 trials by Q" in str(words)
    assert "3 rows of study files wait aside" in str(words)


def test_rulers_are_to_scale_and_lengths_too(answer):
    rulers = ruler.rulers_of(answer.studies[0], answer.rule.zones)
    assert [r.feature for r in rulers] == ["one reading", "taper", "roundness"]  # barrel has no tolerance
    figure = ruler.ruler_figure(rulers)
    go.Figure(figure)
    assert figure["layout"]["xaxis"]["range"] == [0, 24.0]
    widths = [s["x1"] for s in figure["layout"]["shapes"] if s["type"] == "rect"]
    for feature in answer.studies[0].features[:3]:
        assert feature.tolerance_um in widths
        six = 6 * feature.repeatability_um.value
        assert min(six, feature.tolerance_um) in widths


def test_what_reaches_past_its_ruler_is_cut_and_said(answer):
    rulers = ruler.rulers_of(answer.studies[0], answer.rule.zones)
    figure = ruler.ruler_figure(rulers)
    said = [a["text"] for a in figure["layout"]["annotations"]]
    assert "30.0 µm, cut here" in said
    assert all(s["x1"] <= 24.0 for s in figure["layout"]["shapes"])


def test_colour_never_stands_alone(answer):
    by_name = {
        r.feature: {one.name: one for one in r.lengths} for r in ruler.rulers_of(answer.studies[0], ())
    }
    assert not by_name["one reading"]["gauge"].attention
    assert by_name["taper"]["gauge"].attention and "with care" in by_name["taper"]["gauge"].words
    assert "too much" in by_name["roundness"]["gauge"].words


def test_a_ring_shows_how_far_off_it_is_read(monitor, answer):
    [one] = ruler.rulers_of(answer.studies[1], ())
    assert [length.name for length in one.lengths] == ["off", "repeats"]
    words = str(gauge.show_study(monitor, "G1", "G1-ring")[-1])
    assert "It reads the master +0.40 (+0.32 to +0.48) µm off: proven." in words


def test_a_refused_study_says_why(monitor):
    sentence, figure, _, words = gauge.show_study(monitor, "G2", None)
    assert sentence == "G2 was never seen on a master."
    assert "No feature of this study has a tolerance and a figure." in str(figure)
    assert "need at least 2, got 1" in str(words)


def test_the_fullest_study_is_shown_first_and_a_link_chooses_another(monitor):
    _, chosen, studies, study = gauge.choose(monitor, None, None)
    assert (chosen, study) == ("G1", "G1-crossed")
    assert [s["value"] for s in studies] == ["G1-crossed", "G1-ring"]
    assert gauge.choose(monitor, None, None, "?gauge=G1&study=G1-ring")[3] == "G1-ring"
    assert gauge.choose(monitor, "G2", "G1-ring")[3] == "G2-refused"


def test_checks_beyond_the_limit_are_ringed_named_and_their_bores_listed(monitor, answer):
    lead, figure, words = gauge.show_checks(monitor, "G1")
    assert lead.startswith("G1 last read its master")
    go.Figure(figure)
    ring = next(t for t in figure["data"] if t["name"] == "beyond the limit")
    assert ring["y"] == [4.0]
    assert any("444 bores suspect" in a["text"] for a in figure["layout"]["annotations"])
    text = str(words)
    assert "scale is off" in text and "no drift is proven" in text
    assert "B1, B111" in text and "a qualified person decides" in text
    assert "never seen" in gauge.show_checks(monitor, "G2")[0]


def test_every_check_is_drawn_once(answer):
    checks = answer.gauges[0].checks
    figure = zeroes.zeroes_figure(checks, zeroes.clock_for(checks, ZONE))
    drawn = [t for t in figure["data"] if t["name"] in ("as found", "as left", "another master")]
    assert sum(len(t["y"]) for t in drawn) == len(checks.at)
    columns = zeroes.rows(checks, zeroes.clock_for(checks, ZONE))
    assert {len(c) for c in columns.values()} == {len(checks.at)}


def test_the_budget_and_the_rule_are_said(monitor):
    budget, rule = gauge.show_worth(monitor, "G1")
    assert "the sheet uses ±1.22" in str(budget) and "not known" in str(budget)
    assert "1.645" in str(rule) and "A perfect bore reads" in str(rule) and "+23.0" in str(rule)
    assert "it has read no size" in str(gauge.show_worth(monitor, "G2")[0])


def test_two_gauges_are_drawn_with_what_lies_apart(monitor, answer):
    words, figure = gauge.show_pair(monitor, "G2")
    go.Figure(figure)
    assert "4 more left out" in str(words) and "less than G2" in str(words)
    apart = next(t for t in figure["data"] if t["name"] == "apart")
    pair = answer.agreements[0]
    assert apart["y"] == pytest.approx((pair.first_um - pair.second_um)[[7]].tolist())
    assert len(two_gauges.rows(pair)["G1_um"]) == 40
    (held,) = figure["layout"]["annotations"]
    assert held["text"].startswith("pale: 95 of 100 bores between ") and held["text"].endswith(" µm")
    assert (held["yref"], held["y"], held["yanchor"]) == ("paper", 1, "bottom"), "no bore is drawn up there"


def test_what_is_shown_can_be_taken_away(monitor):
    lengths = gauge.ruler_rows(monitor, "G1", "G1-crossed")
    assert set(lengths["length"]) == {"repeats", "persons", "gauge", "parts"}
    assert {len(c) for c in lengths.values()} == {12}
    assert gauge.zero_rows(monitor, "G2") == {} and len(gauge.pair_rows(monitor, "G1")["part"]) == 40


def test_a_gauge_found_off_is_said_first():
    class Off(StandIn):
        def gauge(self, study=None):
            return gauge_answer(END, sheet=1, good=False)

    assert gauge.show_study(Off(), None, None)[0].startswith("Do not believe G1")
    _, figure, _ = gauge.show_checks(Off(), "G1")
    ring = next(t for t in figure["data"] if t["name"] == "beyond the limit")
    assert np.isclose(ring["y"], [4.0, -3.0]).all()


def test_a_refusal_is_a_sentence():
    class Refusing(StandIn):
        def gauge(self, study=None):
            raise NotFound("nothing was taken yet")

    refusing = Refusing()
    assert gauge.choose(refusing, None, None) == [[], None, [], None]
    for said in (
        gauge.show_study(refusing, None, None),
        gauge.show_checks(refusing, None),
        gauge.show_worth(refusing, None),
        gauge.show_pair(refusing, None),
    ):
        assert "nothing was taken yet" in str(said)
