"""The CUSUM of a series, against a worked example and the recursion itself."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.charts.cusum import cusum
from cellmon.errors import GapInReadings, NotEnoughData

CHECKS = json.loads((Path(__file__).parents[1] / "checks/cusum_ewma_series.json").read_text())["checks"]
ROWS = {row["id"]: row for row in CHECKS}


# NIST/SEMATECH e-Handbook 6.3.2.3, tabular example (read second hand), two decimals, some cut off
def test_sums_agree_with_the_worked_example():
    row = ROWS["handbook-cusum"]
    inputs = row["inputs"]
    found = cusum(inputs["x"], inputs["K"], target=inputs["target"])
    for name, values in (("upper", found.upper), ("lower", found.lower)):
        assert (np.abs(values - row["expected"][name]) <= row["tol"][name]).all()
        assert values == pytest.approx(row["recomputed"][name], abs=1e-9)
    beyond = (found.upper > inputs["H"]) | (found.lower > inputs["H"])
    assert int(np.argmax(beyond)) + 1 == row["expected"]["first_signal"]


def test_no_row_of_the_file_is_left_out():
    # the other two stand in test_ewma.py
    assert set(ROWS) == {"handbook-cusum", "handbook-ewma", "handbook-ewma-limits"}


def by_loop(x, k, target, begin):
    upper = lower = begin
    sums = []
    for value in x:
        upper, lower = max(0.0, upper + value - target - k), max(0.0, lower + target - value - k)
        sums.append((upper, lower))
    return np.array(sums).T


@given(
    st.lists(st.floats(-5, 5), min_size=1, max_size=80), st.floats(0, 2), st.floats(-3, 3), st.floats(0, 4)
)
def test_sums_are_those_of_the_recursion(x, k, target, begin):
    found = cusum(x, k, target=target, head_start=begin)
    upper, lower = by_loop(x, k, target, begin)
    assert found.upper == pytest.approx(upper, abs=1e-9)
    assert found.lower == pytest.approx(lower, abs=1e-9)


def test_blocks_leave_no_seam_and_sums_stay_exact_in_a_long_series():
    x = np.random.default_rng(4).standard_normal(200_000) + 1000.0
    found = cusum(x, 0.3, target=1000.0)
    upper, lower = by_loop(x, 0.3, 1000.0, 0.0)
    assert np.abs(found.upper - upper).max() < 1e-8 and np.abs(found.lower - lower).max() < 1e-8
    assert found.upper.min() == 0 and found.lower.min() == 0


def test_points_that_are_none_are_refused():
    with pytest.raises(GapInReadings, match="position 2"):
        cusum([0.0, 1.0, math.inf], 0.5)
    with pytest.raises(NotEnoughData):
        cusum([], 0.5)
    with pytest.raises(ValueError, match="from 0"):
        cusum([1.0], -0.5)
