"""Correlation, skewness and steps as subgroups show them: other formulas, simulated coverage, refusals."""

import numpy as np
import pytest
from scipy.stats import kstat

from cellmon.charts.inside import neighbour_correlation, skewness_inside, step_of
from cellmon.errors import GapInReadings, NoSpread, NotEnoughData


def autoregression(r, size, rng):
    """Return a stationary first-order autoregression with standard deviation 1."""
    x = rng.normal(size=size)
    for t in range(1, size):
        x[t] = r * x[t - 1] + np.sqrt(1 - r * r) * x[t]
    return x


# with long subgroups the figure must come to the plain correlation of each value with the one before
@pytest.mark.parametrize("r", [-0.4, 0.0, 0.3, 0.7])
def test_long_subgroups_give_the_plain_correlation(r):
    x = autoregression(r, 40_000, np.random.default_rng(6)).reshape(20, 2000)
    plain = np.mean([np.corrcoef(row[1:], row[:-1])[0, 1] for row in x])
    assert neighbour_correlation(x).value == pytest.approx(plain, abs=0.002)


# 300 baselines of 100 subgroups of five, levels of subgroups scattered at will: unbiased, and the interval
# covers as often as it says; standard errors 0.0045 and 1.3 %
@pytest.mark.parametrize("r", [-0.3, 0.0, 0.15, 0.5])
def test_short_subgroups_give_the_true_correlation_whatever_their_levels(r):
    rng = np.random.default_rng(17)
    found = [
        neighbour_correlation(autoregression(r, 500, rng).reshape(100, 5) + rng.normal(0, 5, (100, 1)))
        for _ in range(300)
    ]
    assert np.mean([f.value for f in found]) == pytest.approx(r, abs=0.02)
    covered = np.mean([f.interval.low <= r <= f.interval.high for f in found])
    assert 0.90 <= covered <= 0.99


def test_skewness_is_that_of_fishers_statistics():
    x = np.random.default_rng(8).gamma(3.0, size=(50, 5))
    cubes, spreads = (np.mean([kstat(row, order) for row in x]) for order in (3, 2))
    assert skewness_inside(x).value == pytest.approx(cubes / spreads**1.5)
    assert skewness_inside(x + 100 * np.arange(50)[:, None]).value == pytest.approx(cubes / spreads**1.5)
    assert skewness_inside(-x).value == pytest.approx(-cubes / spreads**1.5)


# gamma 4 has skewness 1 (any text); 300 baselines. Tails show late: intervals cover 9 in 10, not 19 in 20
def test_skewness_of_gamma_bores_is_found_with_its_interval():
    rng = np.random.default_rng(18)
    found = [skewness_inside(rng.gamma(4.0, size=(100, 5))) for _ in range(300)]
    assert np.mean([f.value for f in found]) == pytest.approx(1.0, abs=0.06)
    assert np.mean([f.interval.low <= 1 <= f.interval.high for f in found]) > 0.88


def test_the_step_is_the_least_difference():
    assert step_of(np.round(np.random.default_rng(1).normal(size=500), 1)) == pytest.approx(0.1)
    with pytest.raises(NoSpread):
        step_of([2.0, 2.0])


@pytest.mark.parametrize("ask", [neighbour_correlation, skewness_inside])
def test_what_says_nothing_is_refused(ask):
    x = np.random.default_rng(2).normal(size=(30, 5))
    with pytest.raises(NotEnoughData, match="subgroups: need at least 10, got 9"):
        ask(x[:9])
    with pytest.raises(NotEnoughData, match="bores in a subgroup: need at least 3, got 2"):
        ask(x[:, :2])
    with pytest.raises(NoSpread):
        ask(np.ones((30, 5)))
    x[3, 2] = np.nan
    with pytest.raises(GapInReadings):
        ask(x)


def test_extremes_stay_inside_one():
    rising = np.tile(np.arange(5.0), (12, 1)) + np.random.default_rng(3).normal(0, 1e-3, (12, 5))
    assert 0.9 < neighbour_correlation(rising).value <= 0.99
    zigzag = np.tile([1.0, -1.0, 1.0, -1.0, 1.0], (12, 1)) + np.random.default_rng(3).normal(0, 1e-3, (12, 5))
    assert neighbour_correlation(zigzag).value < -0.9
