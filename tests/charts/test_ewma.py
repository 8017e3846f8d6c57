"""The EWMA of a series and its limits, against a worked example and the recursion itself."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.charts.ewma import ewma, ewma_limits
from cellmon.errors import GapInReadings, NotEnoughData

CHECKS = json.loads((Path(__file__).parents[1] / "checks/cusum_ewma_series.json").read_text())["checks"]
ROWS = {row["id"]: row for row in CHECKS}


# NIST/SEMATECH e-Handbook 6.3.2.4 (read second hand)
def test_series_agrees_with_the_worked_example():
    row = ROWS["handbook-ewma"]
    found = ewma(row["inputs"]["x"], row["inputs"]["lam"], start=row["inputs"]["target"])
    assert (np.abs(found - row["expected"]) <= row["tol"]).all()
    assert found == pytest.approx(row["recomputed"], abs=1e-7)


def test_limits_agree_with_the_worked_example():
    row = ROWS["handbook-ewma-limits"]
    inputs = row["inputs"]
    found = ewma_limits(inputs["target"], inputs["sigma"], inputs["lam"], width=inputs["L"])
    assert float(found.upper) == pytest.approx(row["expected"]["ucl"], rel=0, abs=row["tol"]["ucl"])
    assert float(found.lower) == pytest.approx(row["expected"]["lcl"], rel=0, abs=row["tol"]["lcl"])


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=60), st.floats(0.01, 1), st.floats(-5, 5))
def test_series_is_that_of_the_recursion(x, weight, start):
    z, expected = start, []
    for value in x:
        z = weight * value + (1 - weight) * z
        expected.append(z)
    assert ewma(x, weight, start=start) == pytest.approx(expected, abs=1e-9)


def test_limits_of_the_first_points_have_the_spread_of_the_first_points():
    # 40,000 series of 6 points; a variance of normal values has a relative standard error of sqrt(2 / 40,000)
    x = np.random.default_rng(6).standard_normal((40_000, 6))
    z = np.array([ewma(row, 0.2) for row in x])
    half = ewma_limits(0.0, 1.0, 0.2, width=1.0, points=np.arange(1, 7)).upper
    assert z.var(axis=0) == pytest.approx(half**2, rel=4 * math.sqrt(2 / 40_000))
    assert float(ewma_limits(0.0, 1.0, 0.2, points=400).upper) == pytest.approx(
        float(ewma_limits(0.0, 1.0, 0.2).upper)
    )


def test_points_that_are_none_are_refused():
    with pytest.raises(GapInReadings, match="position 0"):
        ewma([math.nan], 0.2)
    with pytest.raises(NotEnoughData):
        ewma([], 0.2)
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], 0.0)
    with pytest.raises(ValueError, match="sigma"):
        ewma_limits(0.0, 0.0, 0.2)
