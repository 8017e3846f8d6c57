"""The question of how long charts run, against published figures."""

import json
from pathlib import Path

import pytest

from cellmon.errors import WrongUsage
from cellmon.monitor.run_length_charts import CHARTS, ChartAsked
from cellmon.monitor.run_lengths import run_lengths


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


# 10,000 baselines simulated in tests/charts/test_cost_of_limits.py: 5 and 95 % points 100 and 1,150 (2 %);
# widths and the chance over all cells as docs/run-lengths.md has them
def test_limits_from_few_subgroups_run_as_they_come_out():
    found = run_lengths(ChartAsked(chart="mean", shifts=(0.0,), subgroups=25)).estimated
    assert (found.p05, found.p95) == pytest.approx((100, 1150), rel=0.02)
    assert found.one_in == pytest.approx(247, abs=0.5)
    assert found.width_as_promised == pytest.approx(3.137, abs=5e-4)
    assert found.width_for_nine_in_ten == pytest.approx(3.39, abs=5e-3)
    assert run_lengths(ChartAsked(chart="mean", shifts=(0.0,))).estimated is None


# Borror, Montgomery and Runger, J. Quality Technology 31 (1999): moving averages of gamma points, from
# memory, recomputed apart; the rows of tests/checks/average_run_lengths.json
GAMMA = [
    row
    for row in json.loads((Path(__file__).parents[1] / "checks/average_run_lengths.json").read_text())[
        "checks"
    ]
    if row["quantity"] == "arl_ewma_nonnormal" and row["inputs"]["dist"]["family"] == "gamma"
]


@pytest.mark.parametrize("row", GAMMA, ids=[row["id"] for row in GAMMA])
def test_a_moving_average_of_skewed_points_runs_as_printed(row):
    skew = 2 / row["inputs"]["dist"]["shape"] ** 0.5
    for (weight, width), printed, tol in zip(
        row["inputs"]["designs"], row["expected"], row["tol"], strict=True
    ):
        found = means(chart="ewma", weight=weight, limit=width, skew=skew, shifts=(0.0,))
        assert found[0] == pytest.approx(printed, abs=tol)


def test_a_change_after_quiet_points_lies_between_the_start_and_the_steady_state():
    found = run_lengths(ChartAsked(chart="cusum", limit=4.0, shifts=(1.0,), after=400)).run_lengths[0]
    assert found.after_quiet == pytest.approx(found.steady, rel=1e-9)
    early = run_lengths(ChartAsked(chart="cusum", limit=4.0, shifts=(1.0,), after=1)).run_lengths[0]
    assert early.steady < early.after_quiet < early.mean
    assert run_lengths(ChartAsked(chart="cusum", limit=4.0, shifts=(1.0,))).run_lengths[0].after_quiet is None


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
        {"chart": "cusum", "skew": 1.0},
        {"chart": "ewma", "skew": -1.0, "limit": 2.7},
        {"chart": "ewma", "skew": 1.0, "arl": 370.0},
        {"chart": "range", "subgroups": 25},
        {"chart": "mean", "subgroups": 1},
        {"chart": "mean", "after": -1},
    ],
)
def test_what_cannot_be_is_refused_in_words(asked):
    with pytest.raises(WrongUsage):
        run_lengths(ChartAsked(**asked))


def test_what_runs_too_long_is_said_to():
    found = run_lengths(ChartAsked(chart="cusum", arl=1e8, shifts=(0.0,))).run_lengths[0]
    assert found.mean == pytest.approx(1e8, rel=1e-5)
    assert found.steady is None and "steady" in found.why_not
