"""Clearance of two populations: against the published sum of spreads, and counted pair by pair."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from cellmon.errors import GapInReadings, NotEnoughData
from cellmon.fits.clearance import (
    Limits,
    as_sizes,
    clearance,
    growth_of_clearance_um,
    normal_share_outside,
    shares_by_part,
)

LIMITS = Limits(lower=30.0, upper=46.0)
SIZES = st.lists(st.integers(-40, 40).map(lambda v: v / 4), min_size=2, max_size=15)


# Scholz, Tolerance Stack Analysis Methods (1995): variances of independent parts add. The worked case of
# this trade (derived): bore N(12, 2), piston 38 lower with 3.5, limits 30 to 46: sd 4.03, 4.7 % outside.
def test_two_normal_populations_get_the_worked_clearance():
    levels = (np.arange(4000) + 0.5) / 4000
    found = clearance(norm.ppf(levels, 12.0, 2.0), norm.ppf(levels, -26.0, 3.5), LIMITS)
    assert (found.mean, found.sd) == pytest.approx((38.0, 4.03), abs=0.01)
    assert 100 * found.outside.value == pytest.approx(4.7, abs=0.05)
    assert 100 * found.outside_if_normal == pytest.approx(4.7, abs=0.05)
    assert found.below == pytest.approx(found.above, abs=1e-3)


# derived: 0.83 um per degree between an iron bore and an aluminium piston of 87.3 mm
def test_clearance_closes_as_both_warm_up():
    per_degree = growth_of_clearance_um(
        87.3, bore_expansion=11e-6, mating_expansion=20.5e-6, bore_c=21.0, mating_c=21.0
    )
    assert per_degree == pytest.approx(-0.83, abs=0.005)
    only_bore = growth_of_clearance_um(87.3, bore_expansion=11e-6, mating_expansion=20.5e-6, bore_c=30.0)
    assert only_bore == pytest.approx(9.603)


@settings(deadline=None)
@given(SIZES, SIZES, st.floats(-5, 5))
def test_the_share_outside_is_the_count_over_all_pairs(bores, mates, growth):
    limits = Limits(lower=-3.0, upper=5.0)
    found = clearance(bores, mates, limits, growth_um=growth)
    every = np.subtract.outer(np.array(bores) + growth, np.array(mates))
    below, above = every < limits.lower - 1e-9, every > limits.upper + 1e-9
    assert found.below == pytest.approx(below.mean())
    assert found.above == pytest.approx(above.mean())
    assert found.outside.value == pytest.approx((below | above).mean())
    assert (
        found.outside.low <= found.outside.value + 1e-12 and found.outside.value <= found.outside.high + 1e-12
    )
    tight, loose = shares_by_part(np.array(bores) + growth, np.array(mates), limits)
    assert tight == pytest.approx(below.mean(axis=1)) and loose == pytest.approx(above.mean(axis=1))


def test_a_clearance_on_its_limit_is_inside():
    found = clearance([0.1 + 0.2, 0.3], [0.3, 0.3], Limits(lower=0.0, upper=0.0))
    assert found.outside.value == 0.0


def test_nothing_seen_outside_still_has_an_upper_limit():
    found = clearance(np.full(60, 12.0) + np.arange(60) / 100, np.full(40, -26.0), LIMITS)
    assert found.outside.low == 0.0
    assert found.outside.high == pytest.approx(1 - 0.025 ** (1 / 40), rel=1e-6)  # none in 40: exact


def coverage(n, m, spread, runs, seed):
    """Return how often the interval holds the true share; bores skewed by half, seed given."""
    rng, held = np.random.default_rng(seed), 0
    limits = Limits(lower=38 - spread, upper=38 + spread)
    truth_b, truth_m = rng.gamma(4.0, 1.0, 400_000) + 8.0, rng.normal(-26.0, 3.5, 400_000)
    each = truth_b - truth_m
    truth = float(((each < limits.lower) | (each > limits.upper)).mean())
    for _ in range(runs):
        found = clearance(rng.gamma(4.0, 1.0, n) + 8.0, rng.normal(-26.0, 3.5, m), limits).outside
        held += found.low <= truth <= found.high
    return held / runs


# by simulation, seed 11, 2,000 runs: standard error 0.5 %; wider than promised is allowed, narrower not
@pytest.mark.parametrize(
    ("n", "m", "spread"), [(50, 50, 8.0), (300, 60, 6.0), (100, 100, 11.0), (300, 60, 13.0)]
)
def test_the_interval_covers_as_often_as_it_says(n, m, spread):
    assert coverage(n, m, spread, 2000, 11) > 0.95 - 4 * 0.005


def test_one_sided_clearances_have_a_normal_share_too():
    assert normal_share_outside(38.0, 0.0, LIMITS) == 0.0
    assert normal_share_outside(29.0, 0.0, LIMITS) == 1.0
    assert normal_share_outside(38.0, 4.0, LIMITS) == pytest.approx(2 * norm.sf(2.0))


def test_what_cannot_be_fitted_is_refused():
    with pytest.raises(NotEnoughData, match="mating parts: need at least 2, got 1"):
        clearance([1.0, 2.0], [1.0], LIMITS)
    with pytest.raises(GapInReadings):
        as_sizes([1.0, np.nan], "bores")
    with pytest.raises(TypeError):
        as_sizes([[1.0], [2.0]], "bores")
    assert Limits(lower=30.0, upper=46.0).middle == 38.0


@settings(max_examples=20, deadline=None)
@given(SIZES, SIZES, st.floats(-100, 100))
def test_moving_both_parts_together_changes_nothing(bores, mates, shift):
    limits = Limits(lower=-3.1, upper=5.1)
    before = clearance(bores, mates, limits)
    after = clearance(np.array(bores) + shift, np.array(mates) + shift, limits)
    assert after.outside.value == pytest.approx(before.outside.value)
    assert after.sd == pytest.approx(before.sd, abs=1e-6)
