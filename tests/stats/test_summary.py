"""Mean, standard deviation and lag-1 correlation against the NIST reference data."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.errors import GapInReadings, NotEnoughData
from cellmon.stats.summary import summarise

FOLDER = Path(__file__).parents[1] / "checks"
ROWS = json.loads((FOLDER / "nist_strd_univariate.json").read_text())["checks"]


# NIST Statistical Reference Datasets, univariate: certified values.
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_certified_values_are_met(row):
    found = summarise(np.loadtxt(FOLDER / row["inputs"]["data"], skiprows=2, delimiter=",", usecols=-1))
    for name, certified in row["expected"].items():
        assert getattr(found, name) == pytest.approx(certified, rel=0, abs=row["tol"][name])


def test_numacc2_and_numacc4_are_met():
    # NIST StRD: NumAcc2 is 1.2, then 1.1 and 1.3 by turns (1001 values), NumAcc4 the same plus 1e7;
    # certified mean 1.2 and 10000000.2, sd 0.1, r1 -0.999 (construction and values from memory)
    turns = np.concatenate(([1.2], np.tile([1.1, 1.3], 500)))
    easy, hard = summarise(turns), summarise(turns - 1 + 10_000_000)
    assert (easy.mean, easy.sd, easy.r1) == pytest.approx((1.2, 0.1, -0.999), rel=1e-12)
    assert hard.mean == pytest.approx(10_000_000.2, rel=1e-15)
    assert (hard.sd, hard.r1) == pytest.approx((0.1, -0.999), rel=2e-7)


@given(st.lists(st.floats(-50, 50), min_size=3, max_size=40), st.floats(-1e4, 1e4), st.floats(0.1, 10))
def test_shift_and_scale_do_what_they_say(values, shift, scale):
    before, after = summarise(values), summarise(np.array(values) * scale + shift)
    assert after.mean == pytest.approx(before.mean * scale + shift, abs=1e-9)
    assert after.sd == pytest.approx(before.sd * scale, abs=1e-8)


def test_what_cannot_be_summarised_is_refused():
    assert np.isnan(summarise([2.0, 2.0]).r1)
    with pytest.raises(NotEnoughData):
        summarise([1.0])
    with pytest.raises(GapInReadings, match="position 1"):
        summarise([1.0, np.nan, 2.0])
    with pytest.raises(TypeError):
        summarise([[1.0, 2.0]])
