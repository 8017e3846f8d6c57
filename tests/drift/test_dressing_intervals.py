"""Lines between dressings, against the joint normal and simulated dressings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.drift.intervals import Interval, between, fit_lines, what_dressing_does

# Mandel and Paule's method by hand: equal errors v, so that the variance between is that seen, less v.
FIGURES = np.array([10.2, 11.9, 9.4, 12.5, 10.0])


def interval(rng, length, *, walk=0.3, dressed=True):
    n = rng.integers(3, 6, length).astype(float)
    gap = np.concatenate([n[:1], (n[1:] + n[:-1]) / 2])
    moved = np.where(rng.random(length) < 0.2, 1.0, 0.0)
    bores = np.cumsum(gap)
    mean = 2.0 - 0.02 * bores + np.cumsum(moved) + rng.normal(0, 0.5, length)
    mean += np.cumsum(rng.normal(0, np.sqrt(walk * gap) * 0.1))
    return Interval(
        mean=mean,
        so_far=np.cumsum(moved),
        doubt=0.02 * moved,
        bores=bores,
        gap=gap,
        noise=5 / n,
        dressed=dressed,
    )


@pytest.mark.parametrize("walk", [0.0, 0.02])
@pytest.mark.parametrize("slopes", [True, False])
def test_a_line_is_that_of_generalised_least_squares_with_the_whole_covariance(walk, slopes):
    one = interval(np.random.default_rng(3), 30)
    prior = 0.3
    found = fit_lines([one], walks=np.array([walk]), slopes=slopes, prior=prior, prior_df=5.0)
    steps = np.cumsum(walk * one.gap + one.doubt / prior)
    cov = np.minimum.outer(steps, steps) + np.diag(one.noise)
    x = np.stack([np.ones(30), one.bores], axis=1)[:, : 1 + slopes]
    inverse = np.linalg.inv(cov)
    information = x.T @ inverse @ x
    y = one.mean - one.so_far
    beta = np.linalg.solve(information, x.T @ inverse @ y)
    left = y - x @ beta
    spread = np.linalg.inv(information)
    squares, df = left @ inverse @ left, 30 - 1 - slopes
    variance = (squares + 5 * prior) / (df + 5)
    assert found.start[0, 0] == pytest.approx(beta[0], abs=1e-9)
    assert found.start_var[0, 0] == pytest.approx(spread[0, 0], rel=1e-9)
    if slopes:
        assert found.slope[0, 0] == pytest.approx(beta[1], abs=1e-10)
        assert found.slope_var[0, 0] == pytest.approx(spread[1, 1], rel=1e-9)
    assert found.variance[0] == pytest.approx(variance, rel=1e-9)
    log_dets = np.linalg.slogdet(cov)[1] + np.linalg.slogdet(information)[1]
    assert found.likelihood[0] == pytest.approx(-0.5 * (log_dets + (df + 5) * np.log(variance)), rel=1e-9)
    # the level at the end: best linear unbiased prediction from the joint normal
    to_end = np.minimum(steps, steps[-1])
    at_end = x[-1]
    end = at_end @ beta + to_end @ inverse @ left + one.so_far[-1]
    gap = at_end - to_end @ inverse @ x
    end_var = steps[-1] - to_end @ inverse @ to_end + gap @ spread @ gap
    assert found.end[0, 0] == pytest.approx(end, abs=1e-9)
    assert found.end_var[0, 0] == pytest.approx(end_var, rel=1e-8, abs=1e-12)


def test_with_equal_errors_the_variance_between_is_what_is_seen_less_the_errors():
    found = between(FIGURES, np.full(5, 0.4))
    assert found.mean == pytest.approx(FIGURES.mean())
    assert found.variance == pytest.approx(FIGURES.var(ddof=1) - 0.4)


@given(st.lists(st.floats(-50, 50), min_size=2, max_size=12), st.floats(0.01, 10), st.floats(-20, 20))
def test_moving_all_figures_moves_their_mean_and_nothing_else(figures, error, by):
    x = np.array(figures)
    before, after = between(x, np.full(len(x), error)), between(x + by, np.full(len(x), error))
    assert after.mean == pytest.approx(before.mean + by, abs=1e-5)
    assert after.variance == pytest.approx(before.variance, rel=1e-4, abs=1e-4)
    assert before.variance >= 0


@pytest.mark.parametrize("resets", [True, False])
def test_it_is_told_whether_levels_start_anew_or_go_on(resets):
    rng, right = np.random.default_rng(5), 0
    for _ in range(100):
        fall = rng.normal(-3, 0.7, 12)
        start, end, level = np.zeros(12), np.zeros(12), 0.0
        for i in range(12):
            level = rng.normal(1.5, 0.6) if resets else level + rng.normal(3, 0.6)
            start[i], level = level, level + fall[i]
            end[i] = level
        error = np.full(12, 0.05)
        noisy = [x + rng.normal(0, np.sqrt(0.05), 12) for x in (start, end)]
        found = what_dressing_does(*noisy, error, error, np.ones(12, dtype=bool), guess=0.3)
        right += found.resets is resets
        if resets and found.resets:
            assert found.level == pytest.approx(1.5, abs=5 * 0.65 / np.sqrt(11))
    assert right >= 90, "of 100 cells of eleven dressings each; 100 that start anew, 95 that go on"


def test_too_few_dressings_do_not_tell():
    three = np.zeros(3)
    assert what_dressing_does(three, three, three + 1, three + 1, np.ones(3, dtype=bool), guess=1.0) is None
