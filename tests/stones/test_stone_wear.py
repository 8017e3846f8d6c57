"""Thickness as wear: repeatability, chips, slips and growth, and the break-in that sets share."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.stones.break_in import NO_BREAK_IN, BreakIn, break_in
from cellmon.stones.wear import Jump, Repeatability, Thickness, repeatability, set_wear

READING = Repeatability(sd_um=2.0, df=100, from_="repeats")
UNEVEN = np.array([0.995, 1.0, 1.012])


def thickness(rng, worn, *, sd=2.0, stones=4, uneven=UNEVEN):
    """Return a set of some stones measured at three places; `worn` by each round."""
    worn = np.asarray(worn, dtype=float)
    height = 3000.0 + 3.0 * rng.standard_normal((1, stones, 1))
    um = height - worn[:, None, None] * uneven + sd * rng.standard_normal((len(worn), stones, len(uneven)))
    return Thickness(bores=np.arange(len(worn)) * 1000.0, um=um)


def test_repeatability_comes_back_from_repeats():
    d = np.sqrt(2) * 3.0 * np.random.default_rng(1).standard_normal(2000)
    found = repeatability([], d)
    assert found is not None and found.from_ == "repeats"
    assert found.sd_um == pytest.approx(3.0, rel=0.06)  # standard error 1.6 %


# 20 sets of 9 rounds: 20 x 7 x 11 degrees of freedom, standard error 1.8 %.
def test_repeatability_comes_back_from_how_places_scatter_about_their_own_lines():
    rng = np.random.default_rng(2)
    sets = [thickness(rng, np.linspace(0, 2300, 9), sd=2.5) for _ in range(20)]
    found = repeatability(sets)
    assert found is not None and found.from_ == "scatter"
    assert found.sd_um == pytest.approx(2.5, rel=0.06)


def test_without_repeats_or_rounds_nothing_is_said_of_repeatability():
    assert repeatability([thickness(np.random.default_rng(3), [0, 200])]) is None


def test_a_chip_is_seen_and_leaves_the_wear_of_the_others():
    one = thickness(np.random.default_rng(4), np.arange(6) * 250.0)
    one.um[-1, 2, 2] -= 350.0
    found = set_wear(one, READING)
    assert found.jumps == (None, None, None, None, None, Jump.CHIP)
    assert found.mean_um[-1] == pytest.approx(1250.0, rel=0.01)
    assert found.thinnest_um[-1] == pytest.approx(one.um[-1].min())


def test_thickness_that_grows_is_no_wear_and_said():
    found = set_wear(thickness(np.random.default_rng(5), [0, 250, 500, 460, 700]), READING)
    assert found.jumps[3] is Jump.GREW
    assert (np.diff(found.mean_um) >= 0).all()


def test_growth_inside_what_readings_repeat_to_is_nothing():
    found = set_wear(thickness(np.random.default_rng(6), [0, 0, 0, 0]), READING)
    assert found.jumps == (None,) * 4


def test_a_slip_of_the_whole_set_is_a_step_and_left_out_of_the_rate():
    worn = np.arange(10) * 250.0
    worn[6:] += 180.0
    found = set_wear(thickness(np.random.default_rng(7), worn), READING)
    assert found.jumps[6] is Jump.STEP
    assert found.plain.sum() == 8


def test_a_place_that_was_not_measured_takes_no_part():
    one = thickness(np.random.default_rng(8), [0, 250, 500])
    one.um[1, 0, :] = np.nan
    assert set_wear(one, READING).mean_um == pytest.approx([0, 250.6, 501.2], abs=4)


def test_the_thinnest_place_wears_on_where_it_was_not_measured():
    one = thickness(np.random.default_rng(8), [0, 250, 500, 750])
    one.um[0, 3, :] -= 100.0
    one.um[1, 3, :] -= 100.0
    one.um[2:, 3, :] = np.nan  # only the thicker stones are measured from then on
    found = set_wear(one, READING)
    assert np.diff(found.thinnest_um) == pytest.approx([-250, -250, -250], abs=12)


def test_bores_that_fall_are_refused():
    with pytest.raises(ValueError, match="never fall"):
        Thickness(bores=np.array([0.0, 100.0, 50.0]), um=np.ones((3, 1, 1)))
    with pytest.raises(TypeError, match="rounds, stones, places"):
        Thickness(bores=np.zeros(2), um=np.ones((2, 3)))


@given(st.floats(0.05, 2.0), st.integers(2, 12), st.floats(-500, 500))
@settings(max_examples=40, deadline=None)
def test_even_wear_comes_back_whatever_the_height(rate, rounds, height):
    bores = np.arange(rounds) * 500.0
    um = 3000.0 + height - rate * bores[:, None, None] * np.ones((1, 4, 3))
    found = set_wear(Thickness(bores=bores, um=um), None)
    assert found.mean_um == pytest.approx(rate * bores, abs=1e-6)
    assert set(found.jumps) == {None}


def broken_in(rng, *, sets, extra, length, noise=0.6):
    """Return bores and wear of sets that lose so much beside their line in their first bores."""
    at = np.array([0, 100, 250, 500, 1000, 2000, 4000, 6000, 8000.0])
    bores, wear = [], []
    for _ in range(sets):
        rate = 0.28 * (1 + 0.15 * rng.standard_normal())
        path = np.cumsum(noise * np.sqrt(np.diff(at, prepend=0)) * rng.standard_normal(len(at)))
        bores.append(at)
        wear.append(rate * at + extra * np.minimum(at / length, 1.0) + np.where(at > 0, path, 0.0))
    return bores, wear


def test_a_break_in_comes_back_with_its_length():
    bores, wear = broken_in(np.random.default_rng(9), sets=8, extra=120.0, length=250.0)
    found = break_in(bores, wear, life_bores=8600)
    assert found.extra_um == pytest.approx(120.0, rel=0.15)
    assert 150 <= found.bores <= 450
    assert found.pending(0) == found.extra_um and found.pending(1e4) == 0.0


# 200 kinds of sets without a break-in; one in 10,000 is allowed a length, eight are tried
def test_sets_without_a_break_in_are_not_given_one():
    rng = np.random.default_rng(10)
    found = [break_in(*broken_in(rng, sets=5, extra=0.0, length=250.0), life_bores=8600) for _ in range(200)]
    assert sum(one != NO_BREAK_IN for one in found) <= 4


def test_nothing_is_pending_without_a_break_in():
    assert BreakIn(bores=0.0, extra_um=0.0).pending(0.0) == 0.0
    assert break_in([], [], life_bores=8000) == NO_BREAK_IN
