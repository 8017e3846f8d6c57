"""Tolerance factors against print, and intervals against what they promise."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from cellmon.capability.tolerance import (
    bores_for_free_interval,
    free_tolerance_interval,
    normal_tolerance_interval,
    one_sided_factor,
    two_sided_factor,
)
from cellmon.errors import NotEnoughData

ROWS = json.loads((Path(__file__).parents[1] / "checks/tolerance_factors.json").read_text())["checks"]
FACTOR = {"tol_k1_exact": one_sided_factor, "tol_k2_exact": two_sided_factor}
# approximations of the exact factors (Howe, Natrella, Wald and Wolfowitz), near them from n = 10 on
NEAR = {
    "tol_k1_natrella": one_sided_factor,
    "tol_k2_howe": two_sided_factor,
    "tol_k2_wald_wolfowitz": two_sided_factor,
}


def factor(function, row):
    given = row["inputs"]
    return function(given["n"], content=given["p"], confidence=given["conf"])


# Odeh and Owen (1980), ISO 16269-6, Berthouex and Brown, e-Handbook 7.2.6.3: source in each row
@pytest.mark.parametrize("row", [r for r in ROWS if r["quantity"] in FACTOR], ids=lambda row: row["id"])
def test_exact_factors_agree_with_print(row):
    found = factor(FACTOR[row["quantity"]], row)
    assert found == pytest.approx(row["expected"], abs=row["tol"])
    assert found == pytest.approx(row["recomputed"], rel=1e-7)


LARGE = [r for r in ROWS if r["quantity"] in NEAR and r["inputs"]["n"] >= 10]


@pytest.mark.parametrize("row", LARGE, ids=lambda row: row["id"])
def test_exact_factors_lie_near_the_printed_approximations(row):
    assert factor(NEAR[row["quantity"]], row) == pytest.approx(row["expected"], rel=0.02)


def test_factors_fall_to_the_quantile():
    assert one_sided_factor(10**6, content=0.99, confidence=0.95) == pytest.approx(
        stats.norm.ppf(0.99), 0.005
    )
    assert two_sided_factor(10**6, content=0.99, confidence=0.95) == pytest.approx(
        stats.norm.ppf(0.995), 0.005
    )


# Wilks (1941): 93 values for 95 % content at 95 %, 59 on one side (any table)
def test_numbers_of_bores_for_any_distribution():
    assert bores_for_free_interval(content=0.95, confidence=0.95) == 93
    assert bores_for_free_interval(content=0.95, confidence=0.95, side="upper") == 59


@pytest.mark.parametrize("side", ["both", "lower", "upper"])
@pytest.mark.parametrize(
    ("interval", "population"),
    [(normal_tolerance_interval, stats.norm(3, 2)), (free_tolerance_interval, stats.gamma(2))],
    ids=["normal", "free"],
)
def test_intervals_hold_their_share_as_often_as_they_say(interval, population, side):
    rng, held = np.random.default_rng(17), []
    for _ in range(300):
        x = population.rvs(100, random_state=rng)
        found = interval(x, content=0.9, confidence=0.9, side=side)
        high = 1.0 if found.high is None else population.cdf(found.high)
        low = 0.0 if found.low is None else population.cdf(found.low)
        held.append(high - low >= 0.9)
    assert np.mean(held) >= 0.9 - 0.052  # three standard errors
    if interval is normal_tolerance_interval:
        assert np.mean(held) <= 0.9 + 0.052


def test_too_few_bores_for_any_distribution_are_refused_with_the_number():
    with pytest.raises(NotEnoughData, match="93"):
        free_tolerance_interval(np.arange(92.0), content=0.95, confidence=0.95)
    assert free_tolerance_interval(np.arange(93.0), content=0.95, confidence=0.95).high == 92.0


def test_what_makes_no_interval_is_refused():
    with pytest.raises(NotEnoughData):
        one_sided_factor(1, content=0.9, confidence=0.9)
    with pytest.raises(ValueError, match="between 0 and 1"):
        two_sided_factor(10, content=1.0, confidence=0.9)
    with pytest.raises(ValueError, match="both, lower or upper"):
        normal_tolerance_interval([1.0, 2.0], side="above")
