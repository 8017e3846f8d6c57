"""Straight lines against certified values and a printed example."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.line import straight_line, zero_errors

# NIST Statistical Reference Datasets, linear regression, file Norris.dat: x, then y (read in the test data
# of a general numerical library)
NORRIS = np.array(
    [
        [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9,
         338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0,
         11.1, 118.3, 229.2, 669.1, 448.9, 0.5],
        [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8,
         339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9,
         10.2, 117.6, 228.9, 668.4, 449.2, 0.2],
    ]
)  # fmt: skip
# AIAG, Measurement Systems Analysis, 4th ed., bias and linearity example (from memory; the printed averages,
# slope, intercept and t values come out of these readings)
MASTERS = {
    2.0: [2.7, 2.5, 2.4, 2.5, 2.7, 2.3, 2.5, 2.5, 2.4, 2.4, 2.6, 2.4],
    4.0: [5.1, 3.9, 4.2, 5.0, 3.8, 3.9, 3.9, 3.9, 3.9, 4.0, 4.1, 3.8],
    6.0: [5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1],
    8.0: [7.6, 7.7, 7.8, 7.7, 7.8, 7.8, 7.8, 7.7, 7.8, 7.5, 7.6, 7.7],
    10.0: [9.1, 9.3, 9.5, 9.3, 9.4, 9.5, 9.5, 9.5, 9.6, 9.2, 9.3, 9.4],
}


def test_certified_values_are_met():
    found = straight_line(*NORRIS)
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.at(0.0) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert found.slope_se == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)
    t = 2.032245  # 0.975 quantile of t with 34 degrees of freedom, printed tables 2.0322
    assert found.half_width(0.0) == pytest.approx(t * 0.232818234301152, rel=1e-5)


def test_the_printed_linearity_is_met():
    x = np.repeat(list(MASTERS), 12)
    found = straight_line(x, np.concatenate(list(MASTERS.values())) - x)
    assert found.slope == pytest.approx(-0.1317, abs=5e-5)
    assert found.at(0.0) == pytest.approx(0.7367, abs=5e-5)
    assert found.slope / found.slope_se == pytest.approx(-12.043, abs=5e-4)
    t = found.at(0.0) / (found.half_width(0.0) / 2.00172)
    assert t == pytest.approx(10.158, abs=1e-3)
    assert found.slope_high < 0


@given(st.floats(-5, 5), st.floats(-100, 100), st.integers(0, 1000))
def test_a_line_added_to_the_points_is_added_to_the_fit(slope, level, seed):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 10, 12), rng.standard_normal(12)
    plain, moved = straight_line(x, y), straight_line(x, y + level + slope * x)
    assert moved.slope == pytest.approx(plain.slope + slope, abs=1e-8)
    assert moved.at(3.0) == pytest.approx(plain.at(3.0) + level + 3 * slope, abs=1e-7)
    assert moved.half_width(3.0) == pytest.approx(plain.half_width(3.0), abs=1e-7)


def test_what_gives_no_line_is_refused():
    with pytest.raises(NotEnoughData):
        straight_line([0.0, 1.0], [0.0, 1.0])
    with pytest.raises(NoSpread):
        straight_line([1.0, 1.0, 1.0], [0.0, 1.0, 2.0])


def test_errors_of_zero_are_micrometres_without_dust():
    assert zero_errors([50.0031, 49.9998], [50.0, 50.0]).tolist() == [3.1, -0.2]
