"""Capability indices against worked examples, and the coverage of what stands beside them."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.capability.indices import Side, indices
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.intervals import cp_interval, cpk_interval, one_sided_index_interval
from cellmon.stats.normal import share_above, share_below

ROWS = [
    c
    for c in json.loads((Path(__file__).parents[1] / "checks/capability.json").read_text())["checks"]
    if c["quantity"] == "capability"
]


def side(*, mean=12.0, sd=2.0, total=2.4, df=80.0, n=100):
    return Side(mean=mean, sd_within=sd, df_within=df, sd_total=total, n=n)


def both(lower, upper, one, **kwargs):
    return indices(lower, upper, low_side=one, high_side=one, **kwargs)


# NIST/SEMATECH e-Handbook, section 6.1.6
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_indices_agree_with_the_worked_example(row):
    given_, one = row["inputs"], None
    one = side(mean=given_["mean"], sd=given_["sd"], total=given_["sd"], n=50)
    found = both(given_["lsl"], given_["usl"], one)
    values = {"cp": found.cp.value, "cpl": found.cpl, "cpu": found.cpu, "cpk": found.cpk.value}
    for name, value in values.items():
        assert value == pytest.approx(row["expected"][name], rel=0, abs=row["tol"][name])
        assert value == pytest.approx(row["recomputed"][name], rel=1e-9)
    assert found.pp.value == pytest.approx(found.cp.value)
    k = 1 - found.cpk.value / found.cp.value  # Cpk = (1 - k) Cp
    assert k == pytest.approx(row["expected"]["k"], abs=row["tol"]["k"])
    if "fraction_outside" in row["expected"]:
        assert found.ppm_expected.value / 1e6 == pytest.approx(row["expected"]["fraction_outside"], rel=1e-4)


def test_within_and_total_spread_serve_their_own_indices():
    found = both(0.0, 24.0, side())
    assert (found.cp.value, found.pp.value) == pytest.approx((24 / 12, 24 / 14.4))
    interval = cp_interval(found.cp.value, df=80)
    assert (found.cp.low, found.cp.high, found.cp.confidence) == (interval.low, interval.high, 0.95)
    total = cpk_interval(found.ppk.value, n=100, df=99)
    assert (found.ppk.low, found.ppk.high) == (total.low, total.high)
    expected = float(share_below(-12 / 2.4) + share_above(12 / 2.4)) * 1e6
    assert found.ppm_expected.value == pytest.approx(expected)


def test_the_limits_meet_their_own_populations():
    low, high = side(mean=10.0, sd=1.0, total=1.0), side(mean=14.0, sd=2.0, total=2.0)
    found = indices(0.0, 24.0, low_side=low, high_side=high)
    assert (found.cpl, found.cpu) == pytest.approx((10 / 3, 10 / 6))
    assert found.cpk.value == pytest.approx(10 / 6)
    # moving the level by d: (10 + d) / 3 and (10 - d) / 6 are equal at d = -10/3, both 20/9
    assert found.cp.value == pytest.approx(20 / 9)


def test_an_upper_limit_alone_has_one_index_with_the_exact_interval():
    found = indices(None, 4.0, high_side=side(mean=1.0, sd=0.5, total=0.6))
    assert (found.cp, found.pp, found.cpl) == (None, None, None)
    exact = one_sided_index_interval(2.0, n=100, df=80)
    assert (found.cpk.value, found.cpk.low, found.cpk.high) == pytest.approx((2.0, exact.low, exact.high))
    assert found.ppm_expected.low < found.ppm_expected.value < found.ppm_expected.high


def test_without_subgroups_only_performance_is_stated():
    one = Side(mean=12.0, sd_within=None, df_within=None, sd_total=2.0, n=60)
    found = both(0.0, 24.0, one)
    assert (found.cp, found.cpk, found.cpk_bound) == (None, None, None)
    assert found.ppk.value == 2.0


def test_parts_seen_outside_have_an_exact_interval():
    # Clopper and Pearson: none of 100 seen, upper end 1 - 0.025^(1/100)
    found = both(0.0, 24.0, side(), nonconforming=0)
    assert (found.ppm_observed.value, found.ppm_observed.low) == (0, 0)
    assert found.ppm_observed.high == pytest.approx(1e6 * (1 - 0.025 ** (1 / 100)))
    assert both(0.0, 24.0, side()).ppm_observed is None


@given(st.floats(4, 20), st.floats(0.5, 4), st.floats(1, 2), st.floats(-100, 100), st.floats(0.01, 100))
def test_unit_and_origin_do_not_matter(mean, sd, more, shift, scale):
    plain = both(0.0, 24.0, side(mean=mean, sd=sd, total=sd * more))
    moved = both(
        shift, 24.0 * scale + shift, side(mean=mean * scale + shift, sd=sd * scale, total=sd * more * scale)
    )
    for name in ("cp", "cpk", "pp", "ppk"):
        assert getattr(moved, name).low == pytest.approx(getattr(plain, name).low, rel=1e-6, abs=1e-6)
    assert moved.cpk_bound == pytest.approx(plain.cpk_bound, rel=1e-5, abs=1e-5)
    assert plain.cpk.value <= plain.cp.value + 1e-12
    assert plain.cpk_bound < plain.cpk.value


@given(st.floats(4, 20), st.floats(0.5, 4))
def test_mirrored_processes_have_the_same_indices(mean, sd):
    plain, mirrored = (both(0.0, 24.0, side(mean=m, sd=sd, total=sd)) for m in (mean, 24 - mean))
    assert mirrored.cpk.value == pytest.approx(plain.cpk.value)
    assert mirrored.ppm_expected.low == pytest.approx(plain.ppm_expected.low, rel=1e-6)
    assert mirrored.ppm_expected.high == pytest.approx(plain.ppm_expected.high, rel=1e-6)


def covering(*, n, subgroup, cpk, off, repeats, seed):
    """Simulate normal bores in subgroups; return shares of cells whose intervals hold the truth."""
    rng = np.random.default_rng(seed)
    lower, upper = -(3 * cpk + 6 * off), 3 * cpk
    x = rng.standard_normal((repeats, n // subgroup, subgroup))
    within = np.sqrt(x.var(axis=2, ddof=1).mean(axis=1))
    flat = x.reshape(repeats, n)
    mean, total = flat.mean(axis=1), flat.std(axis=1, ddof=1)
    ppm = 1e6 * float(share_below(lower) + share_above(upper))
    truth = {"cp": cpk + off, "cpk": cpk, "pp": cpk + off, "ppk": cpk, "ppm_expected": ppm}
    hits = dict.fromkeys(truth, 0)
    false = 0
    for m, w, t in zip(mean, within, total, strict=True):
        one = side(mean=float(m), sd=float(w), total=float(t), df=n - n // subgroup, n=n)
        found = both(lower, upper, one)
        for name, value in truth.items():
            hits[name] += getattr(found, name).low <= value <= getattr(found, name).high
        false += found.cpk_bound > cpk
    return {name: count / repeats for name, count in hits.items()}, false / repeats


def hold_to_target(shares, false, *, repeats):
    """95 +- 1.5 %, and claims at the border false in at most 1 of 40; plus four standard errors."""
    error = math.sqrt(0.95 * 0.05 / repeats)
    for name, share in shares.items():
        assert abs(share - 0.95) <= 0.015 + 4 * error, name
    assert false <= 0.025 + 4 * math.sqrt(0.025 * 0.975 / repeats)


@pytest.mark.parametrize(("n", "cpk", "off"), [(50, 1.0, 0.0), (125, 1.33, 0.1)])
def test_intervals_hold_the_truth_as_often_as_they_say(n, cpk, off):
    # 1,500 cells each: standard error of a share of 95 % 0.56 %, of 2.5 % 0.40 %
    found = covering(n=n, subgroup=5, cpk=cpk, off=off, repeats=1500, seed=n)
    hold_to_target(*found, repeats=1500)


@pytest.mark.slow
@pytest.mark.parametrize("n", [30, 50, 100, 300])
@pytest.mark.parametrize("cpk", [1.0, 1.33, 1.67])
@pytest.mark.parametrize("off", [0.0, 0.1, 0.5])
def test_intervals_hold_the_truth_in_a_large_run(n, cpk, off):
    # 20,000 cells each: standard error of a share of 95 % 0.15 %, of 2.5 % 0.11 %
    found = covering(n=n, subgroup=5, cpk=cpk, off=off, repeats=20_000, seed=n)
    hold_to_target(*found, repeats=20_000)


def test_share_outside_is_stated_far_into_the_tail():
    found = both(-200.0, 200.0, side(mean=0.0, sd=1.0, total=1.0))
    assert found.ppm_expected.value == 0
    assert found.ppm_expected.low <= found.ppm_expected.high < 1e-9


def test_what_makes_no_index_is_refused():
    with pytest.raises(NoSpread):
        side(sd=0.0)
    with pytest.raises(NotEnoughData):
        side(n=1)
    with pytest.raises(ValueError, match="side"):
        indices(0.0, 24.0, low_side=side())
    with pytest.raises(ValueError, match="limit"):
        indices(None, None)
    with pytest.raises(ValueError, match="together"):
        Side(mean=0.0, sd_within=1.0, df_within=None, sd_total=1.0, n=10)
