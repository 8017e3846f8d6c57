"""Agreement of two gauges against a printed example, an independent axis, and by simulation."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import nct

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.agreement import agreement, gauge_line, spread_allows

# Bland and Altman, Lancet 327 (1986), table: first reading of each of two flow meters on 17 people (from
# memory; the printed mean difference and standard deviation come out of these readings)
FIRST = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427.0])
SECOND = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451.0])


def test_the_printed_difference_is_met():
    found = agreement(FIRST, SECOND)
    assert found.difference == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    # printed -22.0 to 17.8
    assert (found.difference_interval.low, found.difference_interval.high) == pytest.approx(
        (-22.0, 17.8), abs=0.06
    )
    # the paper takes 2 for 1.96: -79.7 and 75.5
    assert found.difference - 2 * found.sd == pytest.approx(-79.7, abs=0.1)
    assert (found.lower, found.upper) == pytest.approx(
        (found.difference - 1.959964 * found.sd, found.difference + 1.959964 * found.sd)
    )


def test_limits_have_the_exact_interval():
    # mean + z s of n normal values: the noncentral t, solved here from its distribution function
    found = agreement(FIRST, SECOND)
    root, z = np.sqrt(17), 1.959964
    for p, limit in ((0.975, found.upper_interval.low), (0.025, found.upper_interval.high)):
        # the true z whose chance of a larger estimate is p
        k = (limit - found.difference) / found.sd
        assert nct.cdf(k * root, 16, z * root) == pytest.approx(1 - p, abs=1e-6)
    assert brentq(lambda k: nct.cdf(k * root, 16, z * root) - 0.5, 1, 3) == pytest.approx(z, abs=0.1)
    mirrored = agreement(SECOND, FIRST)
    assert mirrored.lower_interval.low == pytest.approx(-found.upper_interval.high)


def test_bores_of_one_block_count_once():
    rng = np.random.default_rng(3)
    block = np.repeat(np.arange(30), 4)
    d = np.repeat(rng.standard_normal(30), 4) + 0.1 * rng.standard_normal(120)
    alone, blocked = agreement(d, np.zeros(120)), agreement(d, np.zeros(120), block=block)
    assert (blocked.n, blocked.blocks) == (120, 30)
    width = [a.difference_interval.high - a.difference_interval.low for a in (alone, blocked)]
    assert width[1] > 1.7 * width[0]


# seed 5, 2,000 pairs of gauges on 20 blocks of 4 bores: 95 % within four standard errors (0.02)
def test_the_difference_covers_where_bores_of_a_block_share_their_error():
    rng, hits = np.random.default_rng(5), 0
    block = np.repeat(np.arange(20), 4)
    for _ in range(2000):
        d = 0.7 + np.repeat(rng.standard_normal(20), 4) + 0.5 * rng.standard_normal(80)
        inside = agreement(d, np.zeros(80), block=block).difference_interval
        hits += inside.low <= 0.7 <= inside.high
    assert hits / 2000 == pytest.approx(0.95, abs=0.02)


def test_equal_errors_give_the_first_principal_axis():
    found = gauge_line(FIRST, SECOND, u_first=1.0, u_second=1.0)
    centred = np.column_stack((FIRST - FIRST.mean(), SECOND - SECOND.mean()))
    axis = np.linalg.svd(centred)[2][0]
    assert found.slope == pytest.approx(axis[1] / axis[0], rel=1e-9)
    turned = gauge_line(SECOND, FIRST, u_first=1.0, u_second=1.0)
    assert turned.slope == pytest.approx(1 / found.slope, rel=1e-9)


# seed 6: the slope of two gauges that both err is found without the bias of a plain regression
def test_a_gauge_that_reads_two_per_cent_large_is_found():
    rng, hits, slopes = np.random.default_rng(6), 0, []
    for _ in range(400):
        true = rng.uniform(0, 24, 60)
        x, y = true + 0.4 * rng.standard_normal(60), 1.02 * true + 0.9 * rng.standard_normal(60)
        found = gauge_line(x, y, u_first=0.4, u_second=0.9)
        slopes.append(found.slope)
        hits += found.slope_interval.low <= 1.02 <= found.slope_interval.high
    assert np.mean(slopes) == pytest.approx(1.02, abs=4 * np.std(slopes) / 20)
    assert hits / 400 == pytest.approx(0.95, abs=0.045)


def test_many_bores_take_no_more_room_than_they_are():
    rng = np.random.default_rng(12)
    x = rng.normal(0, 5, 20_000)
    found = gauge_line(
        x + rng.standard_normal(len(x)), x + rng.standard_normal(len(x)), u_first=1, u_second=1
    )
    assert found.slope_interval.low < 1 < found.slope_interval.high


# the interval by leaving out one, written out plainly
def test_leaving_out_one_is_what_it_says():
    def alone(x, y):
        return gauge_line(x, y, u_first=1.0, u_second=2.0).slope

    n, whole = len(FIRST), alone(FIRST, SECOND)
    keep = ~np.eye(n, dtype=bool)
    pseudo = [n * whole - (n - 1) * alone(FIRST[k], SECOND[k]) for k in keep]
    half = (
        2.13145 * np.std(pseudo, ddof=1) / np.sqrt(n)
    )  # t of 0.975 and 15 degrees of freedom, printed 2.131
    found = gauge_line(FIRST, SECOND, u_first=1.0, u_second=2.0).slope_interval
    assert (found.low, found.high) == pytest.approx((whole - half, whole + half), rel=1e-5)


def test_a_line_needs_bores_that_spread():
    rng = np.random.default_rng(8)
    wide, narrow = rng.normal(0, 5, 40), rng.normal(0, 0.5, 40)
    assert spread_allows(wide, wide, u_first=0.4, u_second=0.9)
    assert not spread_allows(narrow, narrow, u_first=0.4, u_second=0.9)


def test_too_few_or_equal_readings_are_refused():
    with pytest.raises(NotEnoughData):
        agreement([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(NoSpread):
        agreement([1.0, 2.0, 3.0], [0.0, 1.0, 2.0])
    with pytest.raises(NotEnoughData):
        agreement([1.0, 2.0, 3.5], [0.0, 1.0, 2.0], block=["a", "a", "a"])
    with pytest.raises(ValueError):
        gauge_line(FIRST, SECOND, u_first=0.0, u_second=1.0)
