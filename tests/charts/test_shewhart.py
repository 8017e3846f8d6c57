"""Three-sigma limits against worked examples."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.charts.shewhart import (
    baseline_from_ranges,
    beyond,
    mean_limits,
    moving_range,
    range_limits,
    sd_limits,
    sigma_from_ranges,
)
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.constants import c4, chart_factors, d2_star_df
from tests.charts.rows import statistics_of_rows

FOLDER = Path(__file__).parents[1] / "checks"
ROWS = {c["id"]: c for c in json.loads((FOLDER / "shewhart_examples.json").read_text())["checks"]}
PATTERNS = {c["id"]: c for c in json.loads((FOLDER / "pattern_tests.json").read_text())["checks"]}
RINGS = np.loadtxt(FOLDER / "data/piston_rings.csv", skiprows=2, delimiter=",")[:, 1:]
FIRST, LATER = statistics_of_rows(RINGS[:25]), statistics_of_rows(RINGS[25:])


# Montgomery, Introduction to Statistical Quality Control, piston rings, samples 1 to 25
def test_limits_of_the_piston_rings_agree_with_print():
    row = ROWS["piston-rings-phase1"]
    base = baseline_from_ranges(FIRST.mean, FIRST.range, FIRST.n)
    by_sd = FIRST.sd.mean() / c4(5)
    by_range, spread = mean_limits(base.centre_um, base.sigma_um, 5), range_limits(base.sigma_um, 5)
    with_sd, deviation = mean_limits(base.centre_um, by_sd, 5), sd_limits(by_sd, 5)
    found = {
        "grand_mean": base.centre_um,
        "rbar": spread.centre,
        "sbar": deviation.centre,
        "xbar_ucl_r": by_range.upper,
        "xbar_lcl_r": by_range.lower,
        "r_ucl": spread.upper,
        "r_lcl": spread.lower,
        "xbar_ucl_s": with_sd.upper,
        "xbar_lcl_s": with_sd.lower,
        "s_ucl": deviation.upper,
        "s_lcl": deviation.lower,
    }
    assert set(found) == set(row["expected"])
    for name, value in found.items():
        assert float(value) == pytest.approx(row["expected"][name], rel=0, abs=row["tol"][name])
        assert float(value) == pytest.approx(row["recomputed"][name], rel=1e-8)


def test_first_later_ring_sample_beyond_its_limits_is_the_printed_one():
    row = ROWS["piston-rings-phase2-first-signal"]
    base = baseline_from_ranges(FIRST.mean, FIRST.range, 5)
    found = beyond(LATER.mean, mean_limits(base.centre_um, base.sigma_um, LATER.n))
    assert 26 + int(np.flatnonzero(found)[0]) == row["expected"]
    assert found[np.flatnonzero(found)[0]] == 1


# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate
def test_individuals_chart_of_the_flow_rates_agrees_with_print():
    row = ROWS["individuals-flowrate"]
    x = np.array(row["inputs"]["x"])
    sigma = sigma_from_ranges(moving_range(x)[1:], 2).sigma
    limits = mean_limits(float(x.mean()), sigma, 1)
    found = {
        "mean": limits.centre,
        "mr_bar": range_limits(sigma, 2).centre,
        "ucl": limits.upper,
        "lcl": limits.lower,
    }
    for name, value in found.items():
        assert float(value) == pytest.approx(row["expected"][name], rel=0, abs=row["tol"][name])
        assert float(value) == pytest.approx(row["recomputed"][name], rel=1e-8)
    assert np.nanmean(moving_range(x)) == pytest.approx(float(found["mr_bar"]))


# own construction after ISO 7870-2: a value on the limit is not beyond
def test_only_points_past_the_limit_are_beyond():
    row = PATTERNS["beyond-3"]
    z = np.array(row["inputs"]["z"])
    found = beyond(z, mean_limits(0.0, 1.0, 1))
    assert (np.flatnonzero(found) + 1).tolist() == row["expected"]
    assert found[row["expected"][0] - 1] == 1
    assert found[row["expected"][1] - 1] == -1
    assert not beyond(np.full(z.size, np.nan), range_limits(1.0, 2)).any()


def test_limits_follow_each_subgroup_s_own_size():
    sizes = np.array([2, 5, 7, 1])
    means, ranges = mean_limits(10.0, 2.0, sizes), range_limits(2.0, sizes)
    assert means.upper == pytest.approx(10 + 6 / np.sqrt(sizes))
    assert ranges.upper[:3] == pytest.approx([2 * chart_factors(n).D2 for n in (2, 5, 7)])
    assert np.isnan(ranges.upper[3])
    assert ranges.lower[2] > 0
    assert beyond([0.0, 1.5, np.nan, -4.0], mean_limits(0.0, 1.0, sizes)).tolist() == [0, 1, 0, -1]
    assert beyond([3.9, 3.8, 0.1, np.nan], range_limits(1.0, sizes)).tolist() == [1, 0, -1, 0]


def test_limits_by_factors_are_the_same_limits():
    r, f = 5.0, chart_factors(5)
    sigma = sigma_from_ranges([r], 5).sigma
    assert mean_limits(0, sigma, 5).upper == pytest.approx(f.A2 * r)
    assert range_limits(sigma, 5).upper == pytest.approx(f.D4 * r)
    assert sd_limits(r / c4(5), 5).upper == pytest.approx(f.B4 * r)
    assert mean_limits(0, sigma_from_ranges([r], 2).sigma, 1).upper == pytest.approx(chart_factors(2).E2 * r)


def test_unequal_sizes_estimate_the_same_sigma_with_the_least_spread():
    # 4,000 cells of 30 subgroups of 2 to 6 bores; standard error of a mean 0.1 %, of a spread 1.1 %
    rng = np.random.default_rng(1)
    sizes = np.tile([2, 3, 4, 5, 6], 6)
    x = rng.standard_normal((4000, 30, 6))
    x[:, np.arange(6) >= sizes[:, None]] = np.nan
    ranges = np.nanmax(x, axis=2) - np.nanmin(x, axis=2)
    found = [sigma_from_ranges(row, sizes) for row in ranges]
    sigma = np.array([f.sigma for f in found])
    assert sigma.mean() == pytest.approx(1, abs=0.005)
    assert sigma.std() == pytest.approx(np.sqrt(1 / (2 * found[0].df)), rel=0.05)
    plain = np.array(
        [
            np.mean([sigma_from_ranges([r], n).sigma for r, n in zip(row, sizes, strict=True)])
            for row in ranges[:300]
        ]
    )
    assert sigma[:300].std() < plain.std()


def test_equal_sizes_have_the_known_degrees_of_freedom():
    assert sigma_from_ranges(np.ones(10), 5).df == pytest.approx(d2_star_df(5, 10))


@given(
    arrays(np.float64, (24, 4), elements=st.floats(-50, 50)).filter(lambda x: np.ptp(x, axis=1).max() > 1e-3),
    st.floats(-20, 20),
    st.floats(0.1, 10),
    st.permutations(range(24)),
)
def test_baseline_moves_scales_and_ignores_order(x, shift, scale, order):
    one, two = statistics_of_rows(x), statistics_of_rows(x[order] * scale + shift)
    before = baseline_from_ranges(one.mean, one.range, one.n)
    after = baseline_from_ranges(two.mean, two.range, two.n)
    assert after.centre_um == pytest.approx(before.centre_um * scale + shift, abs=1e-9)
    assert after.sigma_um == pytest.approx(before.sigma_um * scale, rel=1e-9, abs=1e-12)
    assert (after.n, after.subgroups, after.df) == (96, 24, pytest.approx(before.df))


def test_a_baseline_needs_twenty_subgroups_that_can_be_used():
    means, ranges, sizes = np.zeros(22), np.ones(22), np.full(22, 5)
    ranges[0], sizes[1] = np.nan, 1
    assert baseline_from_ranges(means, ranges, sizes).subgroups == 20
    ranges[2] = np.nan
    with pytest.raises(NotEnoughData, match="at least 20, got 19"):
        baseline_from_ranges(means, ranges, sizes)


def test_a_baseline_needs_spread():
    with pytest.raises(NoSpread):
        baseline_from_ranges(np.zeros(25), np.zeros(25), 5)


def test_what_makes_no_estimate_is_refused():
    with pytest.raises(NotEnoughData):
        sigma_from_ranges([1.0], 1)
    with pytest.raises(NotEnoughData):
        moving_range([1.0, 2.0], span=1)
    with pytest.raises(TypeError):
        moving_range([[1.0]])
    assert np.isnan(moving_range([1.0], span=3)).all()
