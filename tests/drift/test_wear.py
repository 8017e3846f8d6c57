"""What a baseline teaches: likelihood against the joint normal's, tails against scipy, refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cellmon.drift.wear import (
    DIFFUSE,
    FRESH_VAR,
    PRIOR_DF,
    WALKS,
    Window,
    filtered,
    learn,
)
from cellmon.errors import NoSpread, NotEnoughData
from tests.drift.streams import MEAN_SD, SIZE, drawn

LANES = 2 * len(WALKS)


def window(mean, sd=None, **other):
    k = len(mean)
    given_ = {"n": np.full(k, float(SIZE)), "moved": np.zeros(k), "fresh": np.zeros(k, dtype=bool)}
    sd = np.ones(k) if sd is None else sd
    return Window(**{**given_, "mean": np.asarray(mean, dtype=float), "sd": sd, **other})


def uneven(seed, k=30, *, dressings=True):
    """Return a window with subgroups of 3 to 7, known moves and two dressings."""
    rng = np.random.default_rng(seed)
    fresh = np.zeros(k, dtype=bool)
    if dressings:
        fresh[[k // 3, 2 * k // 3]] = True
    moved = np.where(rng.random(k) < 0.2, rng.normal(0, 1.0, k), 0.0)
    mean = rng.normal(0, 0.5, k) + np.cumsum(moved) + 0.03 * np.arange(k) + 1.5 * np.cumsum(fresh)
    return window(mean, n=rng.integers(3, 8, k).astype(float), moved=moved, fresh=fresh)


def of_lane(seed, lane):
    """Return a window for one lane.

    With a slope it has no dressings: how far the slope varies at one is taken from the slope found so far,
    which no joint normal does.
    """
    return uneven(seed, dressings=lane < len(WALKS))


def joint(w, lane):
    """Return the covariance of means, and of means with the last level and with the slope.

    In variances of a mean; written out from the model: level and slope at the start, one random step a
    subgroup, what a dressing leaves unsure, noise.
    """
    walk, sloped = np.tile(WALKS, 2)[lane], lane >= len(WALKS)
    gaps = np.concatenate(([0.0], (w.n[1:] + w.n[:-1]) / 2))
    dressed = w.fresh & (np.arange(len(w.n)) > 0)
    steps = np.cumsum(walk * gaps / SIZE + FRESH_VAR * dressed)
    bores = np.cumsum(gaps)
    level = DIFFUSE + np.minimum.outer(steps, steps) + sloped / SIZE**2 * np.outer(bores, bores)
    return level + np.diag(SIZE / w.n + dressed), level[-1], bores * sloped / SIZE**2


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("lane", range(LANES))
def test_the_likelihood_is_that_of_the_joint_normal(seed, lane):
    # scipy.stats.multivariate_normal, of the means after the first, given the first. A variance v with the
    # prior's 5 degrees of freedom: sum of squares / v = degrees of freedom less 5 prior / v. The diffuse
    # level is a variance of 1e4 in both.
    w, prior = of_lane(seed, lane), 0.3
    found = filtered(w, size=SIZE, prior=prior)
    v = float(found.variance[lane])
    cov, _, _ = joint(w, lane)
    away = w.mean - w.mean[0] - np.cumsum(np.where(np.arange(len(w.mean)) > 0, w.moved, 0.0))
    gain = cov[1:, 0] / cov[0, 0]
    left = cov[1:, 1:] - np.outer(gain, cov[0, 1:])
    density = stats.multivariate_normal.logpdf(away[1:], mean=gain * away[0], cov=v * left)
    k = len(away) - 1
    squares = k + PRIOR_DF - PRIOR_DF * prior / v
    expected = density + 0.5 * k * np.log(2 * np.pi) + 0.5 * squares - 0.5 * PRIOR_DF * np.log(v)
    assert found.likelihood[lane] == pytest.approx(expected, rel=0, abs=1e-6)
    off = away[1:] - gain * away[0]
    assert off @ np.linalg.solve(left, off) == pytest.approx(v * squares, rel=1e-6)


@pytest.mark.parametrize("lane", range(LANES))
def test_level_and_slope_are_what_the_joint_normal_gives(lane):
    # Gaussian conditioning on all means at once, instead of one after another
    w = of_lane(3, lane)
    found = filtered(w, size=SIZE, prior=0.3)
    cov, last, slope = joint(w, lane)
    moved = np.cumsum(np.where(np.arange(len(w.mean)) > 0, w.moved, 0.0))
    weights = np.linalg.solve(cov, w.mean - w.mean[0] - moved)
    assert found.level[lane] == pytest.approx(w.mean[0] + moved[-1] + last @ weights, abs=1e-6)
    assert found.slope[lane] == pytest.approx(slope @ weights, abs=1e-9)
    at_end = cov[-1, -1] - SIZE / w.n[-1]
    assert found.p11[lane] == pytest.approx(at_end - last @ np.linalg.solve(cov, last), rel=1e-5, abs=1e-7)
    sloped = float(lane >= len(WALKS)) / SIZE**2
    assert found.p22[lane] == pytest.approx(sloped - slope @ np.linalg.solve(cov, slope), rel=1e-6)


@given(st.integers(0, 10_000), st.floats(0.01, 100), st.floats(-500, 500))
@settings(max_examples=20)
def test_units_and_nominal_change_nothing_else(seed, scale, nominal):
    w = uneven(seed)
    one = learn(w)
    other = learn(window(scale * w.mean + nominal, scale * w.sd, n=w.n, moved=scale * w.moved, fresh=w.fresh))
    assert other.level == pytest.approx(scale * one.level + nominal, rel=1e-6, abs=1e-6 * scale)
    assert other.mean_sd == pytest.approx(scale * one.mean_sd, rel=1e-6)
    assert other.slope == pytest.approx(scale * one.slope, rel=1e-5, abs=1e-9 * scale)
    assert other.level_var == pytest.approx(scale**2 * one.level_var, rel=1e-5)


def test_a_still_stream_is_learned_as_its_mean_and_spread():
    # A level without slope or walk is the mean; its variance a subgroup's over their number. The first mean
    # stands for a level known no better than 1e4 variances.
    mean, sd = (x[:, 0] for x in drawn(np.random.default_rng(5), 100, 1))
    one = learn(window(mean, sd))
    assert (one.walk, one.slope, one.slope_var) == (0.0, 0.0, 0.0)
    assert one.level == pytest.approx(mean.mean(), abs=1e-4)
    assert one.level_var == pytest.approx(one.mean_sd**2 / 100, rel=1e-3)
    assert one.bore_sd == pytest.approx(np.sqrt((sd**2).mean()), rel=1e-12)
    assert one.bore_df == 400 and one.mean_df == 104
    prior = PRIOR_DF * (sd**2).mean() / SIZE
    assert one.mean_sd**2 == pytest.approx((100 * mean.var() + prior) / 104, rel=1e-3)


def test_wear_is_learned_as_a_slope_a_bore_with_a_walk_beside_it():
    # numpy.polyfit's line through the same means; with a random step beside it the slope is less sure
    rng = np.random.default_rng(6)
    mean, sd = (x[:, 0] for x in drawn(rng, 100, 1))
    worn = mean + 0.02 * SIZE * np.arange(100)
    one = learn(window(worn, sd, wears=True))
    line, cov = np.polyfit(SIZE * np.arange(100), worn, 1, cov=True)
    assert one.slope == pytest.approx(line[0], abs=3 * np.sqrt(one.slope_var))
    assert one.slope == pytest.approx(0.02, abs=3 * np.sqrt(one.slope_var))
    assert one.slope_var >= cov[0, 0] * 0.8


def test_a_slope_that_varies_between_dressings_is_learned_with_the_error_it_has():
    # 40 streams, seed 12: worn 0.05 of a mean's standard deviation a subgroup, 0.0125 more or less an
    # interval of 60; each dressing draws the level anew. Against the slope of the last interval; the share
    # of 40 deviates has a standard error of 0.11 in their standard deviation.
    rng = np.random.default_rng(12)
    k, away = 300, []
    for _ in range(40):
        slopes, starts = rng.normal(0.05, 0.0125, 5), rng.normal(0.0, 1.0, 5)
        place, interval = np.arange(k) % 60, np.arange(k) // 60
        mean = (starts[interval] + slopes[interval] * place + rng.standard_normal(k)) * MEAN_SD
        sd = np.sqrt(rng.chisquare(SIZE - 1, k) / (SIZE - 1))
        one = learn(window(mean, sd, fresh=place == 0, wears=True))
        if one.slope_var > 0:
            away.append((one.slope - slopes[-1] * MEAN_SD / SIZE) / np.sqrt(one.slope_var))
    assert len(away) >= 36, "so much wear is believed"
    assert abs(np.mean(away)) < 0.7
    assert 0.4 < np.std(away) < 1.5


def test_a_wandering_level_is_learned_as_a_walk():
    rng = np.random.default_rng(7)
    mean, sd = drawn(rng, 200, 40)
    wandering = mean + np.cumsum(rng.normal(0, 0.3 * MEAN_SD, mean.shape), axis=0)
    walks = [learn(window(wandering[:, i], sd[:, i])).walk * SIZE for i in range(40)]
    share = np.array(walks) / MEAN_SD**2
    assert np.median(share) == pytest.approx(0.09, rel=0.25)
    assert np.mean(share > 0) == 1.0


def test_what_is_known_to_have_moved_a_level_is_taken_out():
    mean, sd = (x[:, 0] for x in drawn(np.random.default_rng(8), 60, 1))
    moved = np.zeros(60)
    moved[[20, 40]] = 3.0, -1.0
    still, other = learn(window(mean, sd)), learn(window(mean + np.cumsum(moved), sd, moved=moved))
    assert other.level == pytest.approx(still.level + 2.0, abs=1e-6)
    assert (other.mean_sd, other.walk, other.slope) == pytest.approx((still.mean_sd, 0.0, 0.0), rel=1e-6)


def test_too_few_subgroups_are_refused():
    mean, sd = (x[:, 0] for x in drawn(np.random.default_rng(9), 20, 1))
    assert learn(window(mean, sd)).mean_df == 24
    with pytest.raises(NotEnoughData) as refused:
        learn(window(mean[:19], sd[:19]))
    assert (refused.value.need, refused.value.got) == (20, 19)


@pytest.mark.parametrize("constant", ["mean", "sd"])
def test_a_window_without_spread_is_refused(constant):
    mean, sd = (x[:, 0] for x in drawn(np.random.default_rng(10), 30, 1))
    given_ = {"mean": mean, "sd": sd, constant: np.full(30, 1.0 if constant == "mean" else 0.0)}
    with pytest.raises(NoSpread):
        learn(window(given_["mean"], given_["sd"]))
