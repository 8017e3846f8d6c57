"""Doubts: seldom on clean bores, often on planted faults; all by seeded simulation."""

import numpy as np
import pytest

from cellmon.bores.doubts import dial_turn, single_reading, swapped_directions, swapped_planes

TOLERANCE = 24.0


def bores(k, *, spread, seed=0):
    return np.random.default_rng(seed).normal(scale=spread, size=(k, 3, 2))


@pytest.mark.parametrize("spread", [1.0, 1.5, 2.0, 2.4])
def test_clean_bores_are_doubted_less_than_once_in_ten_thousand(spread):
    # 200,000 bores: 20 doubts are one in ten thousand; 1.7 in 100,000 were seen at 2.4 um over a million
    um = bores(200_000, spread=spread)
    assert (single_reading(um, tolerance_um=TOLERANCE) >= 0).sum() < 20
    assert (dial_turn(um).cell >= 0).sum() == 0


@pytest.mark.parametrize(
    ("spread", "off", "found"), [(1.0, -16, 0.98), (1.5, 20, 0.97), (1.5, -16, 0.90), (2.0, -30, 0.98)]
)
def test_a_stray_reading_is_found(spread, off, found):
    um = bores(20_000, spread=spread, seed=1)
    um[:, 2, 0] += off
    cells = single_reading(um, tolerance_um=TOLERANCE)
    assert (cells == 4).mean() > found


def test_a_stray_reading_within_half_the_tolerance_is_left_alone():
    um = bores(5000, spread=0.1)
    um[:, 0, 0] -= 11.0
    assert (single_reading(um, tolerance_um=TOLERANCE) >= 0).sum() == 0


def test_a_known_spread_is_a_floor():
    um = np.zeros((1, 3, 2))
    um[0, 1, 1] = 13.0
    assert single_reading(um, tolerance_um=TOLERANCE)[0] == 3
    assert single_reading(um, tolerance_um=TOLERANCE, least_sigma_um=3.0)[0] == -1


@pytest.mark.parametrize("turn", [200.0, -200.0, 1000.0, -1000.0])
def test_a_turn_of_the_dial_is_found_with_its_sign(turn):
    um = bores(2000, spread=2.0) + 12
    um[:, 1, 0] += turn
    found = dial_turn(um)
    assert (found.cell == 2).all()
    assert (found.turn_um == turn).all()


def test_what_is_off_by_no_whole_turn_is_no_turn():
    um = bores(2000, spread=2.0)
    um[:, 1, 0] += 100.0
    assert (dial_turn(um).cell == -1).all()


def test_gaps_and_too_few_readings_are_not_judged():
    um = np.zeros((2, 3, 2))
    um[0, 0, 0], um[:, 1, 1] = np.nan, 1000.0
    assert single_reading(um, tolerance_um=TOLERANCE).tolist() == [-1, 3]
    assert dial_turn(um).cell.tolist() == [-1, 3]
    assert single_reading(um[:, :1], tolerance_um=TOLERANCE).tolist() == [-1, -1]
    assert dial_turn(um[:, :1]).cell.tolist() == [-1, -1]


def cell_of_four(k, *, seed):
    """Taper of four streams in turn, templates of 1.5 of their sigma, one of them negative."""
    mean = np.tile([1.5, 1.5, 1.5, -1.5], k // 4)
    return mean, mean + np.random.default_rng(seed).standard_normal(k), np.tile(np.arange(4), k // 4)


def test_no_run_of_clean_bores_is_doubted():
    mean, taper, stream = cell_of_four(400_000, seed=5)
    assert swapped_planes(taper, template_mean=mean, template_sd=1.0).sum() == 0
    assert swapped_directions(taper, template_mean=mean, template_sd=1.0, stream=stream).sum() == 0


def test_a_run_of_swapped_bores_is_found_nearly_whole():
    share = []
    for seed in range(60):
        mean, taper, stream = cell_of_four(400, seed=seed)
        taper[200:220] *= -1
        found = swapped_planes(taper, template_mean=mean, template_sd=1.0, stream=stream)
        share.append(found[200:220].mean())
        assert found[:196].sum() + found[224:].sum() == 0
    assert np.mean(share) > 0.95


def test_a_real_change_of_one_stream_is_no_swap():
    mean, taper, stream = cell_of_four(400, seed=7)
    taper[200:][stream[200:] == 0] -= 3.0
    assert swapped_planes(taper, template_mean=mean, template_sd=1.0, stream=stream).sum() == 0


def test_bores_without_a_template_are_passed_over():
    mean, taper, stream = cell_of_four(400, seed=8)
    taper[200:240] *= -1
    mean[210], taper[211] = np.nan, np.nan
    found = swapped_planes(taper, template_mean=mean, template_sd=1.0, stream=stream)
    assert not found[210]
    assert not found[211]
    assert found[200:240].sum() > 30
