"""Removal learned round by round: against closed forms and direct integrals."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from cellmon.sizing.chance import outlook
from cellmon.sizing.learned import (
    after_readings,
    after_strokes,
    begin,
    taught_reach,
    taught_scatter,
    with_new_stones,
)
from cellmon.sizing.prior import BETWEEN_BORES, RatePrior, ScatterPrior, SeenRate, prior_from
from cellmon.sizing.strokes import Reach, Strokes, expected_reach

ONE = Reach(mean=np.array([[1.0], [0.0], [0.0]]), sd=np.full((3, 1), 1e-6))
NO_SCATTER = ScatterPrior(values=np.array([1e-6]), weights=np.ones(1))


# one plane, shares and scatter known: the posterior of the rate is prior x likelihood, integrated by scipy
@pytest.mark.parametrize(("scatter", "read", "strokes"), [(0.2, 9.0, 10), (0.05, 3.0, 8), (0.3, 25.0, 12)])
def test_rate_agrees_with_the_direct_integral(scatter, read, strokes):
    known = begin(
        [0.0], 1e-9, reach=ONE, scatter=ScatterPrior(values=np.array([scatter]), weights=np.ones(1))
    )
    known = after_readings(after_strokes(known, Strokes(full=strokes)), [read], 0.25)
    spread = scatter * np.sqrt(1 + 0.2**2)

    def joint(at: float) -> float:
        meant = exp(at) * strokes
        noise = np.hypot(spread * meant, 0.5)
        return stats.norm.pdf(at, log(0.6), 0.7) * stats.norm.pdf(read, meant, noise)

    ends = (log(0.6) - 2.6, log(0.6) + 2.6)
    whole = integrate.quad(joint, *ends, limit=200)[0]
    mean = integrate.quad(lambda at: at * joint(at), *ends, limit=200)[0] / whole
    second = integrate.quad(lambda at: at**2 * joint(at), *ends, limit=200)[0] / whole
    assert log(known.middle_um) == pytest.approx(mean, abs=0.005)
    assert known.log_sd == pytest.approx(np.sqrt(second - mean**2), abs=0.005)


# with the rate and its scatter known, size and share are plain normal: one conjugate update in closed form
def test_size_and_share_agree_with_the_conjugate_normal_update():
    reach = Reach(mean=np.array([[1.0], [0.0], [0.0]]), sd=np.array([[0.1], [0.0], [0.0]]))
    rate = RatePrior(middle_um=0.5, log_sd=0.0)
    known = begin([-40.0], 0.5, reach=reach, rate=rate, scatter=NO_SCATTER)
    known = after_readings(after_strokes(known, Strokes(full=20)), [-29.0], 0.5)
    prior = np.diag([0.5, 0.1**2])
    row = np.array([1.0, 10.0])  # size after = size + 0.5 * 20 * share
    spread = row @ prior @ row + 0.5
    gain = prior @ row / spread
    assert float(known.mean[0, 1]) == pytest.approx(1.0 + gain[1] * (-29.0 + 30.0), abs=1e-6)
    assert float(known.cov[0, 1, 1]) == pytest.approx(0.01 - gain[1] * row @ prior[:, 1], abs=1e-6)
    assert known.size_um[0] == pytest.approx(-30.0 + row @ prior @ row / spread, abs=1e-6)


# a log-normal removal with everything else known has scipy's log-normal for its distribution
def test_outlook_is_log_normal_where_all_else_is_known():
    scatter = ScatterPrior(values=np.array([0.25]), weights=np.ones(1))
    rate = RatePrior(middle_um=0.8, log_sd=0.0)
    seen = outlook(begin([-50.0], 1e-12, reach=ONE, rate=rate, scatter=scatter), Strokes(full=30))
    removal = stats.lognorm(0.25 * np.sqrt(1.04), scale=24.0)
    for limit in (-30.0, -20.0, 0.0, 10.0):
        assert seen.chance_beyond(limit)[0] == pytest.approx(removal.sf(limit + 50.0), abs=1e-5)
    assert seen.quantile(0.95)[0] == pytest.approx(-50.0 + removal.ppf(0.95), abs=0.01)


# chance of a normal size plus a log-normal removal, by simulation (seed 5, standard error 0.001)
def test_outlook_agrees_with_simulation():
    rng = np.random.default_rng(5)
    known = begin([-50.0, -55.0], [1.0, 4.0], reach=expected_reach([0.0, 100.0]))
    seen = outlook(known, Strokes(full=20, bottom=15))
    n = 200_000
    prior = ScatterPrior()
    s = rng.choice(prior.values, p=prior.weights, size=n) * np.sqrt(1.04)
    rate = 0.6 * np.exp(0.7 * stats.truncnorm.rvs(-3.6, 3.6, size=n, random_state=rng))
    share = 20 * (1 + 0.08 * rng.standard_normal(n)) + 15 * (1 + 0.2 * rng.standard_normal(n))
    size = -55.0 + 2.0 * rng.standard_normal(n) + rate * share * np.exp(s * rng.standard_normal(n))
    for limit in (-40.0, -20.0, 10.0):
        assert seen.chance_beyond(limit)[1] == pytest.approx((size > limit).mean(), abs=0.008)


# conjugate normal means with known variances: the posterior of scipy's normal by hand
def test_prior_of_known_stones_is_the_conjugate_one():
    seen = [SeenRate(stones="A", middle_um=m, log_sd=0.1) for m in (0.30, 0.36, 0.33)]
    found = prior_from(seen, stones="A")
    weights = np.array([1 / 0.7**2, *[1 / (0.01 + BETWEEN_BORES**2)] * 3])
    logs = np.log([0.6, 0.30, 0.36, 0.33])
    assert log(found.middle_um) == pytest.approx(weights @ logs / weights.sum())
    assert found.log_sd == pytest.approx(np.sqrt(1 / weights.sum() + BETWEEN_BORES**2))


def test_other_stones_leave_the_prior_wide():
    same = prior_from([SeenRate(stones="A", middle_um=0.3, log_sd=0.05)], stones="A")
    other = prior_from([SeenRate(stones="A", middle_um=0.3, log_sd=0.05)], stones="B")
    assert same.log_sd < 0.3
    assert 0.5 < other.log_sd <= 0.7
    assert 0.3 < other.middle_um < 0.6


def test_zones_are_learned_plane_by_plane():
    known = begin([-60.0, -60.0, -60.0], 0.05, reach=expected_reach([15, 70, 125]))
    sizes = np.array([-60.0, -60.0, -60.0])
    for _ in range(4):
        sizes = sizes + 0.5 * 10
        known = after_readings(after_strokes(known, Strokes(full=10)), sizes, 0.05)
        sizes = sizes + np.array([0.5, 0.15, 0.0]) * 10
        known = after_readings(after_strokes(known, Strokes(top=10)), sizes, 0.05)
    per = known.per_stroke_um()
    assert per[0] == pytest.approx(0.5, rel=0.08)
    assert per[1, 0] == pytest.approx(0.5, rel=0.12)
    assert per[1, 1] == pytest.approx(0.15, abs=0.06)
    assert known.log_sd < 0.12


def test_new_stones_begin_anew_and_keep_sizes_and_scatter():
    known = begin([-60.0, -62.0], 0.2, reach=expected_reach([0, 100]))
    known = after_readings(after_strokes(known, Strokes(full=20)), [-45.0, -47.0], 0.2)
    fresh = with_new_stones(known, rate=RatePrior(middle_um=0.2, log_sd=0.5), reach=expected_reach([0, 100]))
    assert fresh.size_um == pytest.approx(known.size_um)
    assert fresh.middle_um == pytest.approx(0.2, rel=0.01)
    assert fresh.log_sd > 0.45
    assert taught_scatter(fresh).weights == pytest.approx(taught_scatter(known).weights, abs=1e-6)


def test_what_a_bore_taught_of_the_reach_is_kept_for_the_next():
    expected = expected_reach([0, 100])
    known = begin([-60.0, -60.0], 0.05, reach=expected)
    known = after_readings(after_strokes(known, Strokes(bottom=20)), [-60.0, -50.0], 0.05)
    reach = taught_reach(known, expected)
    assert reach.mean[2, 0] < expected.mean[2, 0]
    assert reach.mean[0].mean() == pytest.approx(1.0)
    assert (reach.sd > 0).all()


@settings(max_examples=15)
@given(st.floats(0.1, 3.0), st.integers(1, 60))
def test_more_strokes_reach_further_with_every_chance(rate, strokes):
    known = begin([-50.0, -52.0], 0.5, reach=expected_reach([0, 100]), rate=RatePrior(middle_um=rate))
    fewer, more = outlook(known, Strokes(full=strokes)), outlook(known, Strokes(full=strokes + 3))
    assert (more.chance_beyond(0.0) >= fewer.chance_beyond(0.0) - 1e-9).all()
    assert (more.expected_um > fewer.expected_um).all()
