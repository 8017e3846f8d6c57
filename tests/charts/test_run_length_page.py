"""The figures of docs/run-lengths.md that are computed, against the code: the page cannot go stale."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy import stats

from cellmon.charts.patterns import BEYOND_3, EIGHT_TESTS, FOUR_ZONE_TESTS, STANDARD_TESTS
from cellmon.charts.run_length.correlated import correlated_chance, correlated_width
from cellmon.charts.run_length.cusum import two_sided_cusum_limit, two_sided_cusum_run_length
from cellmon.charts.run_length.distribution import first_of, steady_state
from cellmon.charts.run_length.estimated import (
    baseline_of,
    estimated_run,
    guarded_width,
    run_length_quantile,
    share_shorter,
    widened,
)
from cellmon.charts.run_length.ewma import ewma_limit, ewma_run_length
from cellmon.charts.run_length.rounded import rounded_charts, sheppard_ratio
from cellmon.charts.run_length.rules import rule_price, rules_run_length
from cellmon.charts.run_length.shewhart import mean_run_length, range_chance
from cellmon.charts.run_length.skewed import skewed_charts
from tests.charts.test_run_length_simulated import CASES

PAGE = (Path(__file__).parents[2] / "docs" / "run-lengths.md").read_text(encoding="utf-8")
SHIFTS = (0.5, 1.0, 1.5, 2.0, 3.0)


def says(*cells):
    """The page has a row of just these cells."""
    row = "| " + " | ".join(cells) + " |"
    assert row in PAGE, row


@pytest.mark.parametrize("name", CASES)
def test_computed_figures_beside_the_simulated_ones(name):
    assert f"| {name} | {CASES[name][0]().mean:.2f} | " in PAGE


NAMES = ("run of 9", "trend of 6", "14 up and down", "2 of 3 beyond 2", "4 of 5 beyond 1", "15 within 1")
SETS = {
    "3 sigma": (BEYOND_3,),
    "three tests of the standard": STANDARD_TESTS,
    "four zone tests (1956)": FOUR_ZONE_TESTS,
    "eight tests (1984)": EIGHT_TESTS,
    **{
        f"3 sigma, {name}": (BEYOND_3, test)
        for name, test in zip((*NAMES, "8 that avoid the centre"), EIGHT_TESTS[1:], strict=True)
    },
}


@pytest.mark.parametrize("name", SETS)
def test_prices(name):
    tests, beside = SETS[name], range_chance(5)
    plain, both = rules_run_length(tests), rules_run_length(tests, beside=beside)
    cells = (rule_price(tests), rule_price(tests, beside=beside), first_of(plain, 12), first_of(both, 12))
    says(name, *(f"{value:.1f}" for value in cells))


def head_start(shift):
    h = two_sided_cusum_limit(0.5, 370.4, head_start_share=0.5)
    return two_sided_cusum_run_length(0.5, h, shift=shift, head_start=h / 2)


WATCHES = {
    "CUSUM 0.5, h = 4.775": lambda shift: two_sided_cusum_run_length(
        0.5, two_sided_cusum_limit(0.5, 370.4), shift=shift
    ),
    "the same, head start h/2, h = 4.857": head_start,
    "EWMA 0.1, width 2.701": lambda shift: ewma_run_length(0.1, ewma_limit(0.1, 370.4), shift=shift),
    "the same, exact limits, width 2.715": lambda shift: ewma_run_length(
        0.1, ewma_limit(0.1, 370.4, exact_limits=True), shift=shift, exact_limits=True
    ),
    "four zone tests": lambda shift: rules_run_length(FOUR_ZONE_TESTS, shift=shift),
    "eight tests": lambda shift: rules_run_length(EIGHT_TESTS, shift=shift),
}


@pytest.mark.parametrize("name", WATCHES)
def test_delays(name):
    before = WATCHES[name](0.0)
    cells = [(after.mean, steady_state(before, after).mean) for after in map(WATCHES[name], SHIFTS)]
    says(name, *(f"{zero:.1f} / {steady:.1f}" for zero, steady in cells))


def test_delays_of_means_and_early_false_alarms():
    says("means, 3 sigma", *(f"{mean_run_length(shift=shift).mean:.1f}" for shift in SHIFTS))
    makers = list(WATCHES.values())
    early = [mean_run_length(), makers[0](0.0), makers[2](0.0), makers[1](0.0)]
    assert [run.quantile(0.05) for run in early] == [19, 25, 26, 5]


@pytest.mark.parametrize("subgroups", [25, 50, 100, 200, 500])
def test_estimated_limits(subgroups):
    base = baseline_of(subgroups, 5)
    low, high = share_shorter(base, [0.8 * 370.4, 1.2 * 370.4])
    found = estimated_run(base)
    says(
        f"{subgroups}",
        f"{1 / found.chance:.0f}",
        f"{found.mean:.0f}",
        f"{run_length_quantile(base, 0.05):.0f} to {run_length_quantile(base, 0.95):.0f}",
        f"{100 * (high - low):.0f} %",
        f"{widened(base):.3f}",
        f"{guarded_width(base):.2f}",
    )


def test_correlated_bores():
    chances = " / ".join(f"{1 / correlated_chance(5, r1):.0f}" for r1 in (0.15, 0.3, 0.5))
    widths = " / ".join(f"{correlated_width(5, r1):.2f}" for r1 in (0.15, 0.3, 0.5))
    assert chances in PAGE and widths in PAGE


@pytest.mark.parametrize("step", [0.1, 0.5, 1, 1.5, 2, 3])
def test_rounded_readings(step):
    found = rounded_charts(step, 5)
    chances = (f"{1 / found.mean_chance:.0f}", f"{1 / found.range_chance:.0f}")
    says(f"{step}", *chances, f"{sheppard_ratio(step):.2f}", f"{100 * found.zero_ranges:.1f} %")


@pytest.mark.parametrize(
    ("name", "law"),
    [
        ("normal", stats.norm()),
        ("Rayleigh", stats.rayleigh()),
        ("folded normal", stats.halfnorm()),
        ("lognormal 0.5", stats.lognorm(0.5)),
        ("exponential", stats.expon()),
    ],
)
def test_skewed_features(name, law):
    found = skewed_charts(law, 5)
    says(name, f"{1 / found.mean_chance:.0f}", f"{1 / found.range_chance:.0f}")
