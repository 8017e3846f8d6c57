"""The distribution of run lengths: moments, survival, quantiles, a later change, steady state."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.charts.patterns import EIGHT_TESTS, FOUR_ZONE_TESTS, STANDARD_TESTS
from cellmon.charts.run_length.cusum import cusum_run_length, two_sided_cusum_arl, two_sided_cusum_run_length
from cellmon.charts.run_length.distribution import (
    Steady,
    after_change,
    alongside,
    first_of,
    geometric,
    steady_state,
)
from cellmon.charts.run_length.ewma import ewma_run_length
from cellmon.charts.run_length.multivariate import mewma_run_length
from cellmon.charts.run_length.rules import rules_run_length
from cellmon.charts.run_length.shewhart import individuals_run_length, mean_run_length
from cellmon.charts.run_length.variance import variance_cusum_run_length

CHARTS = {
    "geometric": geometric(0.02),
    "one-sided": cusum_run_length(0.5, 2.5),
    "two-sided": two_sided_cusum_run_length(0.5, 3.0),
    "head start": two_sided_cusum_run_length(0.5, 3.0, shift=0.7, head_start=1.5),
    "ewma": ewma_run_length(0.2, 2.2),
    "exact limits": ewma_run_length(0.1, 2.2, exact_limits=True),
    "four tests": rules_run_length(FOUR_ZONE_TESTS),
    "trends": rules_run_length(STANDARD_TESTS),
    "beside": rules_run_length(FOUR_ZONE_TESTS, beside=0.0046),
    "mewma": mewma_run_length(2, 0.4, 6.0, distance=0.5),
    "variance": variance_cusum_run_length(1.4, 2.0, 4),
    "individuals": individuals_run_length(2.5, moving_range=3.0),
}


# sum of survival is the mean, sum of (2 t + 1) survival the mean square, by definition
@pytest.mark.parametrize("run", CHARTS.values(), ids=CHARTS.keys())
def test_moments_and_quantiles_agree_with_the_survival(run):
    t = np.arange(5000)
    alive = run.survival(t)
    assert alive[0] == pytest.approx(1, abs=1e-12) and alive[-1] < 1e-9
    assert (np.diff(alive) < 1e-15).all()
    assert run.mean == pytest.approx(alive.sum(), rel=1e-9)
    assert run.sd == pytest.approx(np.sqrt(((2 * t + 1) * alive).sum() - alive.sum() ** 2), rel=1e-7)
    for share in (0.001, 0.05, 0.5, 0.95):
        assert run.quantile(share) == int(np.argmax(alive <= 1 - share))


def test_a_geometric_run_has_the_closed_forms():
    run = geometric(1 / 370.4)
    assert (run.mean, run.sd) == pytest.approx((370.4, 370.4 * np.sqrt(1 - 1 / 370.4)), rel=1e-10)
    assert run.survival([0, 1, 1_000_000]) == pytest.approx((1 - 1 / 370.4) ** np.array([0.0, 1, 1e6]))
    assert geometric(1.0).mean == 1 and first_of(geometric(1.0), 12) == 1


def test_far_survival_goes_on_from_the_near_one():
    run = two_sided_cusum_run_length(0.5, 7.0)
    near = run.survival(20_000)
    assert float(run.survival([20_001])[0]) < near
    alike = float(run.survival([20_000, 20_001])[0])
    assert alike == pytest.approx(float(near), rel=1e-10)
    assert run.quantile(0.5) == pytest.approx(np.log(2) * run.mean, rel=0.01)


# van Dobben de Bruyn's rule on means must follow from the joined chains, head start included (Lucas and
# Crosier 1982, formula for both sides)
@given(st.floats(0.1, 1.0), st.floats(0.5, 4.0), st.floats(-1, 1), st.floats(0, 0.95))
@settings(max_examples=40, deadline=None)
def test_both_sides_follow_from_one(k, h, shift, share):
    up, down = cusum_run_length(k, h, shift=shift).mean, cusum_run_length(k, h, shift=-shift).mean
    up_u = cusum_run_length(k, h, shift=shift, head_start=share * h).mean
    down_u = cusum_run_length(k, h, shift=-shift, head_start=share * h).mean
    together = (up_u * down + down_u * up - up * down) / (up + down)
    assert two_sided_cusum_arl(k, h, shift=shift, head_start=share * h) == pytest.approx(together, rel=1e-7)


def test_a_change_at_once_is_the_zero_state_and_a_late_one_the_conditional_steady_state():
    before, after = two_sided_cusum_run_length(0.5, 4.0), two_sided_cusum_run_length(0.5, 4.0, shift=1.0)
    assert after_change(before, after, at=0).mean == pytest.approx(after.mean, rel=1e-12)
    late = after_change(before, after, at=400).mean
    assert steady_state(before, after).mean == pytest.approx(late, rel=1e-9)
    assert late < after.mean


def test_the_cyclical_state_weighs_each_change_by_the_chance_to_reach_it_unsignalled():
    # occupancy until the alarm: sum over t of survival times the state then, by definition
    before, after = ewma_run_length(0.2, 2.0), ewma_run_length(0.2, 2.0, shift=1.0)
    at = np.arange(600)
    weights = before.survival(at)
    means = [after_change(before, after, at=int(t)).mean for t in at]
    expected = float(weights @ means / weights.sum())
    assert steady_state(before, after, kind=Steady.CYCLICAL).mean == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("kind", list(Steady))
def test_a_chart_without_memory_has_no_steady_state_of_its_own(kind):
    before, after = mean_run_length(), mean_run_length(shift=1.0)
    assert steady_state(before, after, kind=kind).mean == pytest.approx(after.mean)


@pytest.mark.parametrize("kind", list(Steady))
def test_a_steady_state_that_does_not_change_runs_on(kind):
    for run in (rules_run_length(STANDARD_TESTS), variance_cusum_run_length(1.5, 3.0, 4)):
        assert 0.8 * run.mean < steady_state(run, run, kind=kind).mean <= run.mean * (1 + 1e-9)


def test_the_steady_state_of_trends_sees_the_nodes_of_the_moved_chart():
    # shown on a test of trends; a change of nothing but the nodes' places must change nothing
    before = rules_run_length(STANDARD_TESTS)
    barely = rules_run_length(STANDARD_TESTS, shift=1e-9)
    assert after_change(before, barely, at=30).mean == pytest.approx(
        after_change(before, before, at=30).mean, rel=1e-7
    )
    moved = rules_run_length(STANDARD_TESTS, shift=1.0)
    late = after_change(before, moved, at=200).mean
    assert steady_state(before, moved).mean == pytest.approx(late, rel=1e-9)
    assert 0.8 * moved.mean < late < moved.mean


def test_limits_that_change_have_a_steady_state_but_no_other():
    exact, plain = ewma_run_length(0.1, 2.5, exact_limits=True), ewma_run_length(0.1, 2.5)
    moved = ewma_run_length(0.1, 2.5, shift=1.0, exact_limits=True)
    expected = steady_state(plain, ewma_run_length(0.1, 2.5, shift=1.0)).mean
    assert steady_state(exact, moved).mean == pytest.approx(expected, rel=1e-9)
    with pytest.raises(ValueError, match="conditional"):
        steady_state(exact, moved, kind=Steady.CYCLICAL)


def test_states_of_two_charts_do_not_mix():
    with pytest.raises(ValueError, match="do not match"):
        steady_state(cusum_run_length(0.5, 2.0), cusum_run_length(0.5, 8.0))
    with pytest.raises(ValueError, match="limits that change"):
        after_change(ewma_run_length(0.2, 2.0, exact_limits=True), ewma_run_length(0.2, 2.0), at=3)


def test_independent_charts_multiply_their_survival():
    run = cusum_run_length(0.5, 2.0)
    t = np.arange(200)
    assert alongside(run, 0.01).survival(t) == pytest.approx(run.survival(t) * 0.99**t, abs=1e-13)
    assert first_of(run, 3) == pytest.approx((run.survival(np.arange(4000)) ** 3).sum(), rel=1e-10)
    for slow in (
        cusum_run_length(0.1, 20.0),
        rules_run_length(STANDARD_TESTS),
    ):  # both quiet for long at first
        assert first_of(slow, 12) == pytest.approx((slow.survival(np.arange(6000)) ** 12).sum(), rel=1e-9)
    exact = ewma_run_length(0.1, 2.2, exact_limits=True)
    assert first_of(exact, 4) == pytest.approx((exact.survival(np.arange(4000)) ** 4).sum(), rel=1e-9)
    kept = exact.survival(np.arange(4000)) * 0.99 ** np.arange(4000)
    assert alongside(exact, 0.01).mean == pytest.approx(kept.sum(), rel=1e-9)


# figures of the trials this design rests on (simulated there, 1 %): one cell of 12 streams
def test_the_first_alarm_of_twelve_streams():
    beside = 1 / 217.247
    assert first_of(mean_run_length(beside=beside), 12) == pytest.approx(11.9, rel=0.01)
    assert first_of(rules_run_length(EIGHT_TESTS, beside=beside), 12) == pytest.approx(7.3, rel=0.01)


# the same trials: worst ratio of the steady-state delay to the best chart for each shift, shifts 0.5 to 3
@pytest.mark.parametrize(
    ("make", "limit", "worst"),
    [(two_sided_cusum_run_length, (0.5, 4.7749), 1.36), (ewma_run_length, (0.1, 2.7010), 1.61)],
    ids=["cusum 0.5", "ewma 0.1"],
)
def test_steady_delays_are_those_of_the_trials(make, limit, worst):
    bound = {0.5: 24.9, 0.75: 13.9, 1.0: 9.1, 1.5: 4.9, 2.0: 3.1, 3.0: 1.70}
    before = make(*limit)
    assert before.mean == pytest.approx(370.4, rel=2e-3)
    ratios = [steady_state(before, make(*limit, shift=d)).mean / best for d, best in bound.items()]
    assert max(ratios) == pytest.approx(worst, abs=0.02)


def test_what_is_no_run_length_is_refused():
    for wrong in (0.0, -0.1, 1.2):
        with pytest.raises(ValueError, match="chance"):
            geometric(wrong)
    with pytest.raises(ValueError, match="share"):
        geometric(0.1).quantile(1.0)
    with pytest.raises(ValueError, match="points"):
        geometric(0.1).survival([-1])
    with pytest.raises(ValueError, match="narrow its limits"):
        _ = mean_run_length(9.0).mean
