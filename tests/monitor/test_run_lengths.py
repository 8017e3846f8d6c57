"""The question of how long charts run, against published figures."""

import pytest

from cellmon.errors import WrongUsage
from cellmon.monitor.run_lengths import CHARTS, ChartAsked, run_lengths


def means(**asked):
    return [one.mean for one in run_lengths(ChartAsked(**asked)).run_lengths]


# Lucas and Crosier, Technometrics 24 (1982), table 1: two-sided CUSUM k = 0.5, h = 4 and 5, shifts 0 and 1;
# and with a head start of half the limit. Half of the last printed digit.
@pytest.mark.parametrize(
    ("limit", "head_start", "printed"),
    [
        (4.0, 0.0, (168.0, 8.38)),
        (5.0, 0.0, (465.0, 10.4)),
        (4.0, 0.5, (149.0, 5.29)),
        (5.0, 0.5, (430.0, 6.35)),
    ],
)
def test_a_cusum_runs_as_printed(limit, head_start, printed):
    found = means(chart="cusum", limit=limit, head_start=head_start, shifts=(0.0, 1.0))
    assert found[0] == pytest.approx(printed[0], abs=0.5)
    assert found[1] == pytest.approx(printed[1], abs=0.05 if printed[1] > 10 else 0.005)


# Champ and Woodall, Technometrics 29 (1987), table 1: the four zone tests, shifts 0 and 1.
def test_rule_sets_run_as_printed():
    assert means(chart="rules", rules="zones-1956", shifts=(0.0, 1.0)) == pytest.approx(
        [91.75, 9.22], abs=0.005
    )


# the chance beyond three sigma, 0.0026998, by definition; twelve charts: 1 / (1 - (1 - p)^12)
def test_twelve_charts_call_sooner_than_one():
    found = run_lengths(ChartAsked(chart="mean", shifts=(0.0,), charts=12)).run_lengths[0]
    p = 0.0026997960632601866
    assert found.mean == pytest.approx(1 / p)
    assert found.first_of_all == pytest.approx(1 / (1 - (1 - p) ** 12))
    assert (found.p05, found.p50, found.p95) == (19, 257, 1109)


@pytest.mark.parametrize("chart", [name for name, chart in CHARTS.items() if chart.solve is not None])
def test_the_limit_solved_gives_the_run_length_wanted(chart):
    reference = 1.5 if chart == "spread-cusum" else 0.5
    found = run_lengths(
        ChartAsked(chart=chart, arl=500.0, reference=reference, features=2, shifts=(AT_REST[chart],))
    )
    assert found.limit is not None
    assert found.run_lengths[0].mean == pytest.approx(500.0, rel=1e-5)


AT_REST = {name: 1.0 if "spread" in chart.of else 0.0 for name, chart in CHARTS.items()}


@pytest.mark.parametrize(
    "asked",
    [
        {"chart": "nothing"},
        {"chart": "rules", "rules": "nothing"},
        {"chart": "rules", "arl": 370.0},
        {"chart": "mean", "arl": 370.0, "limit": 3.0},
        {"chart": "mean", "arl": 1.0},
        {"chart": "range", "size": 1},
        {"chart": "ewma", "weight": 3.0},
        {"chart": "cusum", "limit": -1.0},
        {"chart": "spread-cusum", "reference": 1.0},
        {"chart": "mean", "charts": 0},
        {"chart": "mewma", "features": 0},
    ],
)
def test_what_cannot_be_is_refused_in_words(asked):
    with pytest.raises(WrongUsage):
        run_lengths(ChartAsked(**asked))


def test_what_runs_too_long_is_said_to():
    found = run_lengths(ChartAsked(chart="cusum", arl=1e8, shifts=(0.0,))).run_lengths[0]
    assert found.mean == pytest.approx(1e8, rel=1e-5)
    assert found.steady is None and "steady" in found.why_not
