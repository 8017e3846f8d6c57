"""Wear between measurements, from the expander's position."""

import numpy as np
import pytest

from cellmon.stones.feed import feed_wear

RATIO, RATE = 3.0, 0.28
MEASURED = np.array([0.0, 800.0, 1600.0, 2400.0])


def positions(rng, n=4000, *, sd=0.4, drift=0.0):
    bores = np.arange(n, dtype=float)
    return bores, 800.0 + RATIO * RATE * bores + drift * bores + sd * rng.standard_normal(n)


def test_wear_since_the_last_measurement_comes_back_with_the_cones_ratio():
    bores, e = positions(np.random.default_rng(1))
    found = feed_wear(bores, e, measured_bores=MEASURED, measured_um=RATE * MEASURED)
    assert found is not None and found.jumps == 0
    assert found.um_per_um == pytest.approx(RATIO, rel=0.01)
    assert found.wear_um == pytest.approx(RATE * (3990 - 2400), rel=0.01)
    assert found.sd_um < 5.0


def test_a_slip_without_a_change_of_stones_is_taken_out_and_counted():
    bores, e = positions(np.random.default_rng(2))
    e[3000:] += 40.0
    found = feed_wear(bores, e, measured_bores=MEASURED, measured_um=RATE * MEASURED)
    assert found is not None and found.jumps == 1
    assert found.wear_um == pytest.approx(RATE * (3990 - 2400), rel=0.01)


def test_one_odd_position_is_no_slip():
    bores, e = positions(np.random.default_rng(3))
    e[3000] += 40.0
    found = feed_wear(bores, e, measured_bores=MEASURED, measured_um=RATE * MEASURED)
    assert found is not None and found.jumps == 0


def test_positions_that_do_not_follow_wear_say_nothing():
    rng = np.random.default_rng(4)
    bores, e = np.arange(4000.0), 800 + 5 * rng.standard_normal(4000)
    assert feed_wear(bores, e, measured_bores=MEASURED, measured_um=RATE * MEASURED) is None


def test_too_few_positions_or_measurements_say_nothing():
    bores, e = positions(np.random.default_rng(5))
    assert feed_wear(bores[:20], e[:20], measured_bores=MEASURED, measured_um=RATE * MEASURED) is None
    assert feed_wear(bores, e, measured_bores=[2400], measured_um=[RATE * 2400]) is None
    assert feed_wear(bores, np.full(4000, np.nan), measured_bores=MEASURED, measured_um=MEASURED) is None


# 200 sets with noise: the interval the result claims holds
def test_the_claimed_spread_holds():
    rng = np.random.default_rng(6)
    off = []
    for _ in range(200):
        bores, e = positions(rng, sd=1.5)
        measured = RATE * MEASURED + 2.0 * rng.standard_normal(4)
        found = feed_wear(bores, e, measured_bores=MEASURED, measured_um=measured)
        assert found is not None
        off.append((found.wear_um - RATE * (3990 - 2400)) / found.sd_um)
    assert 0.5 < np.std(off) < 1.6
