"""Shares of the normal distribution against the printed fallout table."""

import json
from pathlib import Path

import numpy as np
import pytest

from cellmon.stats.normal import ppm_outside, quantile, share_above, share_below

ROWS = [
    c
    for c in json.loads((Path(__file__).parents[1] / "checks/capability.json").read_text())["checks"]
    if c["quantity"] == "fallout_ppm"
]


# Montgomery, Introduction to Statistical Quality Control, table of process fallout.
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_fallout_agrees_with_the_printed_table(row):
    half = 3 * row["inputs"]["cp"]
    two, one = ppm_outside(0, 1, lower=-half, upper=half), ppm_outside(0, 1, lower=None, upper=half)
    for name, found in (("two_sided", two.total), ("one_sided", one.total)):
        assert float(found) == pytest.approx(row["expected"][name], rel=0, abs=row["tol"][name])
        assert float(found) == pytest.approx(row["recomputed"][name], rel=1e-8)


def test_tails_keep_their_digits():
    # Abramowitz and Stegun, table 26.2: Q(10) = 7.61985e-24
    assert float(share_above(10.0)) == pytest.approx(7.61985e-24, rel=1e-6)
    assert quantile(share_below([-2.0, 1.5])) == pytest.approx([-2.0, 1.5])


def test_a_missing_limit_lets_nothing_out():
    found = ppm_outside(np.array([0.0, 1.0]), 1.0, lower=0.0, upper=None)
    assert found.above.tolist() == [0.0, 0.0]
    assert found.below[0] == pytest.approx(500_000)
