"""The distribution of all bores of a process that moves."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from cellmon.capability.moving import moving_distribution, moving_indices
from cellmon.errors import NotEnoughData

SAW = np.linspace(-2, 2, 4001)  # wear over four standard deviations, dressed off again and again


def limits(index):
    share = lambda x: norm.cdf(x - SAW).mean()  # noqa: E731
    low, high = (brentq(lambda x, p=p: share(x) - p, -9, 9) for p in (0.00135, 0.99865))
    return low * (index + 0.1), index * high


def worn(k, rng):
    phase = rng.uniform()
    levels = ((np.arange(k) / 20 + phase) % 1 - 0.5) * 4
    return (levels[:, None] + rng.normal(size=(k, 5))).ravel(), np.repeat(np.arange(k), 5)


def indices(x, labels, lower, upper, **kwargs):
    options = {"in_time": True, "spread_moves": False} | kwargs
    return moving_indices(moving_distribution(x, labels, **options), lower=lower, upper=upper)


# trade.md section 6: 8 um uniform drift and sigma 1.6: within 2.50, quantile 1.64 (derived; tolerance 24)
def test_the_spread_inside_subgroups_flatters_a_worn_process():
    rng = np.random.default_rng(1)
    levels = 8 * (np.arange(2000) % 25 / 25 - 0.5)
    x = (levels[:, None] + 1.6 * rng.normal(size=(2000, 5))).ravel()
    found = moving_distribution(x, np.repeat(np.arange(2000), 5), in_time=True, spread_moves=False)
    assert 24 / (6 * found.sd_within) == pytest.approx(2.5, rel=0.02)
    assert found.sd_levels == pytest.approx(8 / np.sqrt(12), rel=0.03)
    answer = moving_indices(found, lower=-12.0, upper=12.0)
    assert answer.ppk.value == pytest.approx(1.64, rel=0.03)
    assert answer.pp.value == pytest.approx(1.64, rel=0.03)


@pytest.mark.parametrize("k", [40, 100])
def test_intervals_hold_the_truth_and_bounds_stay_below_it(k):
    # 150 cells: standard error of 95 % 1.8 %, of 2.5 % 1.3 %
    lower, upper = limits(1.33)
    rng = np.random.default_rng(k)
    found = [indices(*worn(k, rng), lower, upper) for _ in range(150)]
    assert np.mean([f.ppk.low <= 1.33 <= f.ppk.high for f in found]) >= 0.93 - 0.054
    assert np.mean([f.bound >= 1.33 for f in found]) <= 0.025 + 0.039


def test_a_constant_process_has_the_index_of_its_spread():
    rng = np.random.default_rng(3)
    x = rng.normal(size=2000)
    found = indices(x, np.repeat(np.arange(400), 5), -4.0, 4.5, in_time=False)
    assert found.ppk.value == pytest.approx(4 / 3, rel=0.05)
    assert found.ppm.value == pytest.approx(1e6 * (norm.sf(4.0) + norm.sf(4.5)), rel=0.5)
    assert (found.ppl, found.ppu) == pytest.approx((4 / 3, 1.5), rel=0.05)


def test_a_spread_that_moves_is_taken_as_it_is():
    rng = np.random.default_rng(3)
    spread = np.repeat([1.0, 2.0], 200)[:, None]
    x = (spread * rng.normal(size=(400, 5))).ravel()
    labels = np.repeat(np.arange(400), 5)
    share = lambda v: 0.5 * norm.sf(v) + 0.5 * norm.sf(v / 2)  # noqa: E731
    far = brentq(lambda v: share(v) - 0.00135, 0, 12)
    found = indices(x, labels, None, 1.33 * far, in_time=False, spread_moves=True)
    pooled = indices(x, labels, None, 1.33 * far, in_time=False)
    assert found.ppk.value == pytest.approx(1.33, rel=0.05)
    assert pooled.ppk.value > 1.1 * found.ppk.value
    assert (found.pp, found.ppl) == (None, None)


def test_few_subgroups_are_refused():
    with pytest.raises(NotEnoughData):
        moving_distribution(np.arange(20.0), np.repeat(np.arange(4), 5), in_time=True, spread_moves=False)


# computed anew: the same scores on every size of the grid at once
@pytest.mark.parametrize("spread_moves", [False, True])
def test_a_size_is_found_without_the_scores_of_all_sizes(spread_moves):
    x, labels = worn(150, np.random.default_rng(11))
    few, every = (moving_distribution(x, labels, in_time=True, spread_moves=spread_moves) for _ in range(2))
    rows = every.mixture.scores(every.grid)
    for score in (-3.0, 0.0, 0.4, 3.0):
        expected = [np.interp(score, row, every.grid) for row in rows]
        assert few.sizes(score) == pytest.approx(expected, rel=1e-12, abs=1e-12)
    expected = [np.interp([-3.3, 2.0], every.grid, row) for row in rows]
    assert few.scores([-3.3, 2.0]) == pytest.approx(np.array(expected), rel=1e-12)
    assert np.isnan(few.known[0]).mean() > 0.7
