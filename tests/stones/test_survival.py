"""Lives of sets compared, against a published data set and an independent library."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from cellmon.errors import NotEnoughData
from cellmon.stones.survival import life_ratio, log_rank, survival

# Freireich and others, Blood 21 (1963): weeks in remission, as tabled by Gehan, Biometrika 52 (1965); data,
# Kaplan-Meier shares, the log-rank 16.79 and the Weibull fit (log ratio 1.267, shape 1 / 0.732) from memory.
TREATED = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
TREATED_ENDED = [True] * 9 + [False] * 12
OTHERS = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
OTHERS_ENDED = [True] * 21


def test_shares_agree_with_the_published_ones():
    found = survival(TREATED, TREATED_ENDED)
    assert found.bores.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert found.share == pytest.approx([0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=0.0006)
    assert found.median == 23
    assert survival(OTHERS, OTHERS_ENDED).median == 8


def test_the_log_rank_statistic_agrees_with_the_published_one_and_a_library():
    found = log_rank(TREATED, TREATED_ENDED, OTHERS, OTHERS_ENDED)
    assert found.statistic == pytest.approx(16.79, abs=0.006)
    assert (found.ended, found.expected) == pytest.approx((9, 19.25), abs=0.006)
    censored = stats.CensoredData.right_censored(TREATED, ~np.array(TREATED_ENDED))
    other = stats.logrank(censored, stats.CensoredData(np.array(OTHERS, dtype=float)))
    assert found.p_value == pytest.approx(float(other.pvalue), rel=1e-9)


def test_the_ratio_of_lives_agrees_with_the_published_weibull_fit():
    found = life_ratio(TREATED, TREATED_ENDED, OTHERS, OTHERS_ENDED)
    assert np.log(found.value) == pytest.approx(1.267, abs=0.001)
    assert found.shape == pytest.approx(1 / 0.732, abs=0.002)
    assert found.low < found.value < found.high


LIVES = st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=2, max_size=30)


@given(LIVES)
def test_shares_agree_with_an_independent_library(lives):
    bores, ended = np.array([t for t, _ in lives], float), np.array([d for _, d in lives])
    assume(ended.any())
    found = survival(bores, ended)
    other = stats.ecdf(stats.CensoredData.right_censored(bores, ~ended)).sf
    assert found.share == pytest.approx(other.evaluate(found.bores), abs=1e-12)
    assert ((found.low <= found.share + 1e-12) & (found.share <= found.high + 1e-12)).all()


@given(LIVES, LIVES)
def test_the_groups_may_be_exchanged(one, two):
    (t1, d1), (t2, d2) = zip(*one, strict=True), zip(*two, strict=True)
    assume(sum(d1) and sum(d2) and min(max(t1), max(t2)) >= 2)
    try:
        found = log_rank(t1, d1, t2, d2)
    except NotEnoughData:
        with pytest.raises(NotEnoughData):
            log_rank(t2, d2, t1, d1)
        return
    other = log_rank(t2, d2, t1, d1)
    assert found.p_value == pytest.approx(other.p_value)
    ratio, back = life_ratio(t1, d1, t2, d2), life_ratio(t2, d2, t1, d1)
    assert ratio.value == pytest.approx(1 / back.value, rel=1e-3)


# 400 pairs of lots of 8 and 24 sets whose lives are alike, a third still running: the 95 % interval holds
# 1 in 95 % (standard error 1.1 %); small samples of a likelihood interval are allowed 92 %.
def test_the_interval_of_a_ratio_holds_it():
    rng, held = np.random.default_rng(5), 0
    for _ in range(400):
        lives = 8700 * rng.weibull(6.0, 32)
        seen = np.where(rng.random(32) < 0.33, rng.uniform(0.3, 1.2, 32) * 8000, np.inf)
        t, d = np.minimum(lives, seen), lives <= seen
        if d[:8].any() and d[8:].any():
            found = life_ratio(t[:8], d[:8], t[8:], d[8:])
            held += found.low <= 1.0 <= found.high
        else:
            held += 1
    assert 0.92 <= held / 400 <= 0.985


def test_sets_that_all_run_compare_with_nothing():
    with pytest.raises(NotEnoughData):
        survival([100.0, 200.0], [False, False])
    with pytest.raises(NotEnoughData):
        log_rank([1.0], [False], [2.0], [False])
    with pytest.raises(NotEnoughData):
        life_ratio([1.0, 2.0], [True, False], [2.0], [False])
    with pytest.raises(TypeError):
        survival([1.0, 2.0], [True])


def test_one_group_without_an_end_has_a_ratio_that_is_only_bounded():
    found = life_ratio([9000.0, 9500.0], [False, False], [5000.0, 6000.0, 5500.0], [True] * 3)
    assert found.high == pytest.approx(20.0) and found.low > 1.0


# The ratio is looked for on a grid of 401 shapes by 401 ratios; here every place of it is worked out.
@given(st.integers(0, 10_000))
def test_the_ratio_is_that_of_every_place_of_the_grid(seed):
    rng = np.random.default_rng(seed)
    lives = 8000 * rng.weibull(rng.uniform(0.7, 9), 14)
    ended = rng.random(14) < 0.7
    one, two = slice(0, 4), slice(4, None)
    assume(ended[one].any() and ended[two].any())
    found = life_ratio(lives[one], ended[one], lives[two], ended[two])
    shape, x = (
        np.exp(np.linspace(np.log(0.3), np.log(60), 401))[:, None],
        np.linspace(-np.log(20), np.log(20), 401),
    )
    logs, ends = np.log(lives) - np.log(lives).mean(), ended.sum()
    both = sum(np.exp(shape * v)[..., None] for v in logs[two]) + sum(
        np.exp(shape[..., None] * (v - x)) for v in logs[one]
    )
    likelihood = ends * (np.log(shape) - np.log(both[:, 0] / ends)) + shape * (
        logs[ended].sum() - ended[one].sum() * x
    )
    profile = likelihood.max(axis=0)
    inside = x[profile >= profile.max() - stats.chi2(1).ppf(0.95) / 2]
    step = x[1] - x[0]
    assert inside[0] - step <= np.log(found.low) <= inside[0]
    assert inside[-1] <= np.log(found.high) <= inside[-1] + step
    assert abs(np.log(found.shape) - np.log(shape[likelihood.max(axis=1).argmax(), 0])) <= np.log(200) / 400
