"""Run length of pattern tests: closed forms, symmetry, prices, and the machine behind them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.charts.patterns import (
    BEYOND_3,
    EIGHT_TESTS,
    FOUR_OF_FIVE,
    FOUR_ZONE_TESTS,
    STANDARD_TESTS,
    TWO_OF_THREE,
    Shape,
    Test,
    completed,
)
from cellmon.charts.run_length.machines import machine_of
from cellmon.charts.run_length.rules import rule_price, rules_run_length
from cellmon.charts.run_length.shewhart import mean_run_length, range_chance
from tests.charts.window_chance import window_chance


# a run of n on one side is a run of n - 1 equal steps of a fair coin: 2^n - 1 points (any text on runs)
@pytest.mark.parametrize("n", [3, 7, 8, 9])
def test_a_run_alone_has_the_closed_form(n):
    assert rule_price([Test(shape=Shape.RUN, n=n)]) == pytest.approx(2**n - 1, rel=1e-10)


# n points within one sigma: (1 - p^n) / ((1 - p) p^n) (Feller, Introduction, I, XIII.7)
@pytest.mark.parametrize("n", [5, 15])
def test_a_run_within_has_the_closed_form(n):
    p = math.erf(1 / math.sqrt(2))
    found = rule_price([Test(shape=Shape.WITHIN, n=n, limit=1.0)])
    assert found == pytest.approx((1 - p**n) / ((1 - p) * p**n), rel=1e-9)


# no trend of three yet: the t points zigzag, 2 A(t) / t! of all orders from t = 2 on; A has the generating
# function sec + tan (Andre, 1881); summed over t, with 1 for t = 0 and 1
def test_a_trend_of_three_has_the_closed_form():
    expected = 2 * (1 / math.cos(1) + math.tan(1)) - 2
    assert rule_price([Test(shape=Shape.TREND, n=3)]) == pytest.approx(expected, rel=1e-9)


# no turn of three yet: the t points all rise or all fall, 2 / t! of all orders from t = 2 on
def test_a_turn_of_three_points_has_the_closed_form():
    expected = 2 + 2 * (math.e - 2)
    assert rule_price([Test(shape=Shape.ALTERNATING, n=3)]) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("shape", [Shape.TREND, Shape.ALTERNATING])
def test_moves_do_not_know_the_level_or_the_spread(shape):
    test = Test(shape=shape, n=7)
    still = rule_price([test])
    assert rules_run_length([test], shift=2.5, sd=1.7).mean == pytest.approx(still, rel=1e-9)


def test_a_point_beyond_alone_is_the_mean_chart():
    for shift in (0.0, 1.3):
        chain = rules_run_length([BEYOND_3], shift=shift, sd=1.2).mean
        assert chain == pytest.approx(mean_run_length(shift=shift, sd=1.2).mean, rel=1e-11)


@given(st.sets(st.sampled_from(range(8)), min_size=1, max_size=3), st.floats(0, 1.5))
@settings(max_examples=15, deadline=None)
def test_shifts_up_and_down_are_alike_and_more_tests_signal_sooner(chosen, shift):
    tests = [EIGHT_TESTS[i] for i in sorted(chosen)]
    found = rules_run_length(tests, shift=shift).mean
    assert rules_run_length(tests, shift=-shift).mean == pytest.approx(found, rel=1e-8)
    assert rules_run_length([*tests, BEYOND_3], shift=shift).mean <= found * (1 + 1e-9)
    assert found >= 1


LEVELS = [-3.5, -2.5, -1.5, -0.6, -0.4, 0.4, 0.6, 1.5, 2.5, 3.5]


@given(st.lists(st.sampled_from(LEVELS), min_size=1, max_size=60))
def test_the_machine_signals_where_the_tests_are_completed_first(z):
    # jitter parts equal points, in which no trend goes on
    points = np.array(z) + np.random.default_rng(len(z)).uniform(-0.05, 0.05, len(z))
    for tests in (FOUR_ZONE_TESTS, STANDARD_TESTS, EIGHT_TESTS, (TWO_OF_THREE, EIGHT_TESTS[7])):
        machine, state, first = machine_of(tests), 0, None
        zones = np.searchsorted(machine.borders, points)
        for at, zone in enumerate(zones):
            up = at == 0 or points[at] > points[at - 1]
            state = int(machine.following[state, zone, 0 if up or machine.moves == 1 else 1])
            if state < 0:
                first = at
                break
        marks = np.flatnonzero(completed(points, tests))
        assert first == (int(marks[0]) if marks.size else None)


def test_waiting_takes_at_least_one_over_the_chance_of_a_window():
    for test in EIGHT_TESTS:
        assert rule_price([test]) >= 1 / window_chance(test) * (1 - 1e-9)


# prices of the common sets; Champ and Woodall's 91.75 stands with the published rows
def test_prices_of_the_common_sets():
    beside = range_chance(5)
    assert rule_price(FOUR_ZONE_TESTS) == pytest.approx(91.75, abs=0.005)
    assert rule_price(EIGHT_TESTS) == pytest.approx(73.48, abs=0.005)  # test_run_length_simulated.py
    assert rule_price(STANDARD_TESTS) == pytest.approx(93.38, abs=0.005)
    assert rule_price([BEYOND_3], beside=beside) == pytest.approx(137, abs=0.5)
    assert rule_price(EIGHT_TESTS, beside=beside) < 60


def test_more_nodes_do_not_change_the_eight_tests(monkeypatch):
    from cellmon.charts.run_length import trends

    before = rules_run_length(EIGHT_TESTS, shift=1.0).mean
    monkeypatch.setattr(trends, "_nodes", lambda w: np.clip(np.ceil(5 + 12 * w), 3, 14).astype(np.int64))
    assert rules_run_length(EIGHT_TESTS, shift=1.0).mean == pytest.approx(before, rel=1e-8)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="at least one test"):
        rules_run_length([])
    with pytest.raises(ValueError, match="too much"):
        machine_of((Test(shape=Shape.SHARE_BEYOND, n=30, k=14, limit=1.0), FOUR_OF_FIVE))
