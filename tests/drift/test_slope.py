"""The slope that stretches have in common: against least squares, and blind to steps between them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.drift.slope import common_slope
from cellmon.errors import NotEnoughData

BORES = np.arange(2.5, 200.0, 5.0)
STRETCH = np.repeat([0, 1, 2], [12, 20, 8])


def noisy(seed: int, slope: float = -0.05) -> np.ndarray:
    return slope * BORES + np.random.default_rng(seed).normal(0.0, 0.6, BORES.size)


# independent: numpy.linalg.lstsq with an indicator of each stretch, its error from the normal equations
def test_slope_and_error_are_those_of_least_squares_with_a_level_a_stretch():
    mean = noisy(1) + np.array([0.0, 3.5, 7.0])[STRETCH]
    design = np.column_stack([BORES, *(i == STRETCH for i in range(3))]).astype(float)
    beta, squares, *_ = np.linalg.lstsq(design, mean, rcond=None)
    error = np.sqrt(squares[0] / (BORES.size - 4) * np.linalg.inv(design.T @ design)[0, 0])
    found = common_slope(mean, BORES, STRETCH)
    assert found.um == pytest.approx(beta[0], rel=1e-9)
    assert found.error_um == pytest.approx(error, rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-50, 50), min_size=3, max_size=3))
def test_steps_between_stretches_change_nothing(steps):
    before = common_slope(noisy(2), BORES, STRETCH)
    after = common_slope(noisy(2) + np.array(steps)[STRETCH], BORES, STRETCH)
    assert (after.um, after.error_um) == pytest.approx((before.um, before.error_um), abs=1e-9)


def test_an_error_is_no_less_than_that_of_the_least_scatter():
    line = common_slope(-0.05 * BORES, BORES, STRETCH, least_sd_um=0.5)
    parts = BORES[:12], BORES[12:32], BORES[32:]
    squares = sum(((part - part.mean()) ** 2).sum() for part in parts)
    assert line.error_um == pytest.approx(0.5 / np.sqrt(squares))


def test_stretches_too_short_to_tell_are_refused():
    with pytest.raises(NotEnoughData):
        common_slope(BORES[:7], BORES[:7], [0, 0, 1, 1, 2, 2, 2])
    with pytest.raises(NotEnoughData):
        common_slope(BORES, BORES, np.arange(BORES.size))


# 2,000 series of seed 3: standard error 0.5 %; t of 36 degrees of freedom against 1.96 costs 0.6 %
def test_the_error_is_the_spread_of_slopes():
    found = [common_slope(noisy(1000 + i), BORES, STRETCH) for i in range(2000)]
    inside = np.mean([abs(f.um + 0.05) < 1.96 * f.error_um for f in found])
    assert inside == pytest.approx(0.944, abs=3 * 0.005)
