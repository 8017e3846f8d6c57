"""Intervals against printed values, and their coverage by simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import nctdtr, ndtri

from cellmon.stats.intervals import (
    chi_square_quantile,
    clopper_pearson,
    cp_interval,
    cpk_interval,
    cpk_interval_bissell,
    one_sided_index_bound,
    one_sided_index_interval,
    sd_interval,
)

FOLDER = Path(__file__).parents[1] / "checks"


def rows(file, *quantities):
    return [c for c in json.loads((FOLDER / file).read_text())["checks"] if c["quantity"] in quantities]


# Newcombe (1998), Statistics in Medicine 17, table I.
@pytest.mark.parametrize("row", rows("proportions.json", "clopper_pearson"), ids=lambda row: row["id"])
def test_intervals_of_a_share_agree_with_print(row):
    given = row["inputs"]
    found = clopper_pearson(given["k"], given["n"], confidence=given["conf"])
    assert (found.low, found.high) == pytest.approx(row["expected"], rel=0, abs=row["tol"][0])
    assert (found.low, found.high) == pytest.approx(row["recomputed"], rel=1e-8, abs=1e-12)


@pytest.mark.parametrize("row", rows("proportions.json", "poisson_upper"), ids=lambda row: row["id"])
def test_limit_of_a_count_agrees_with_print(row):
    # Garwood, Biometrika 28 (1936): the upper limit of a Poisson mean is half a quantile of chi-square
    found = chi_square_quantile(row["inputs"]["conf"], 2 * row["inputs"]["c"] + 2) / 2
    assert found == pytest.approx(row["expected"], rel=0, abs=row["tol"])
    assert found == pytest.approx(row["recomputed"], rel=1e-9)


@pytest.mark.parametrize("row", rows("hypothesis_tests.json", "sd_ci"), ids=lambda row: row["id"])
def test_interval_of_a_standard_deviation_agrees_with_print(row):
    given = row["inputs"]
    found = sd_interval(given["sd"], df=given["n"] - 1, confidence=given["conf"])
    assert (found.low, found.high) == pytest.approx(row["expected"], rel=0, abs=row["tol"][0])
    assert (found.low, found.high) == pytest.approx(row["recomputed"], rel=1e-8)


# Montgomery (Cp); Quality Digest, May 2000, formula of Bissell 1990 (Cpk).
@pytest.mark.parametrize("row", rows("capability.json", "cp_ci", "cpk_ci_bissell"), ids=lambda row: row["id"])
def test_intervals_of_indices_agree_with_print(row):
    given, n = row["inputs"], row["inputs"]["n"]
    if row["quantity"] == "cp_ci":
        found = cp_interval(given["cp"], df=n - 1, confidence=given["conf"])
    else:
        found = cpk_interval_bissell(given["cpk"], n=n, df=n - 1, confidence=given["conf"])
    assert (found.low, found.high) == pytest.approx(row["expected"], rel=0, abs=row["tol"][0])
    assert (found.low, found.high) == pytest.approx(row["recomputed"], rel=1e-8)


@pytest.mark.parametrize("row", rows("capability.json", "cpu_bounds_nct"), ids=lambda row: row["id"])
def test_bound_of_a_one_sided_index_is_the_exact_one(row):
    given = row["inputs"]
    found = one_sided_index_bound(given["cpu"], n=given["n"], df=given["n"] - 1, confidence=given["conf"])
    assert found == pytest.approx(row["expected"], rel=0, abs=row["tol"])


# Kane (1986); Montgomery, table of Cp(high) / Cp(low): the bounds at both risks, one over the other.
@pytest.mark.parametrize("row", rows("capability.json", "cp_test_ratio"), ids=lambda row: row["id"])
def test_ratio_of_cp_in_a_test_agrees_with_print(row):
    given = row["inputs"]
    df = given["n"] - 1
    high = cp_interval(1.0, df=df, confidence=1 - 2 * given["beta"]).high
    ratio = high / cp_interval(1.0, df=df, confidence=1 - 2 * given["alpha"]).low
    assert ratio == pytest.approx(row["expected"], rel=0, abs=row["tol"])


@pytest.mark.parametrize(
    ("index", "n", "df"), [(0.3, 10, 9), (1.67, 50, 40), (1.33, 5000, 4000), (-0.4, 20, 19)]
)
def test_bound_of_a_one_sided_index_solves_the_noncentral_t(index, n, df):
    for confidence in (0.025, 0.9, 0.975):
        bound = one_sided_index_bound(index, n=n, df=df, confidence=confidence)
        scale = 3 * math.sqrt(n)
        assert float(nctdtr(df, scale * bound, scale * index)) == pytest.approx(confidence, abs=2e-5)


def test_needed_index_agrees_with_the_planning_figures():
    # to show a lower bound of 1.33: 1.5 observed from 117 bores at 95 %, from 166 at 97.5 % (own computation
    # of the project, noncentral t)
    assert one_sided_index_bound(1.5, n=117, df=116, confidence=0.95) == pytest.approx(1.33, abs=0.002)
    assert one_sided_index_bound(1.5, n=166, df=165, confidence=0.975) == pytest.approx(1.33, abs=0.002)


def coverage(*, n, df, cpk, off, repeats, seed):
    """Shares of simulated normal processes whose Cp, Cpk and bound cover; off is Cp less Cpk."""
    rng = np.random.default_rng(seed)
    upper, lower = 3 * cpk, -(3 * cpk + 6 * off)
    mean, sd = rng.standard_normal(repeats) / math.sqrt(n), np.sqrt(rng.chisquare(df, repeats) / df)
    index = np.minimum(upper - mean, mean - lower) / (3 * sd)
    # the formulas are scalar by design; what they give is checked once and worked in arrays here
    z, shift = float(ndtri(0.975)), 1 / (30 * math.sqrt(n))
    half = z * np.sqrt(1 / (9 * n) + index**2 / (2 * df))
    one = cpk_interval(float(index[0]), n=n, df=df)
    assert (one.low, one.high) == pytest.approx((index[0] - half[0] + shift, index[0] + half[0] + shift))
    cp = cp_interval(1.0, df=df)
    return {
        "cp": np.mean((cp.low / sd <= 1) & (cp.high / sd >= 1)),
        "cpk": np.mean((index - half + shift <= cpk) & (cpk <= index + half + shift)),
        # a claim at the border is false where the exact bound exceeds the truth: index above its quantile
        "claim": np.mean(nctdtr(df, 3 * math.sqrt(n) * cpk, 3 * math.sqrt(n) * index) > 0.975),
    }


CASES = [
    (30, 29, 1.0, 0.0),
    (50, 40, 1.33, 0.1),
    (100, 78, 1.33, 0.0),
    (100, 99, 0.8, 1.0),
    (300, 240, 2.0, 0.0),
]


def hold_to_target(found, *, repeats):
    """Target 95 +- 1.5 % and at most 1 false claim in 40, each with four standard errors."""
    error, claim_error = math.sqrt(0.95 * 0.05 / repeats), math.sqrt(0.025 * 0.975 / repeats)
    assert found["cp"] == pytest.approx(0.95, abs=4 * error)
    assert abs(found["cpk"] - 0.95) <= 0.015 + 4 * error
    assert found["claim"] <= 0.025 + 4 * claim_error


@pytest.mark.parametrize(("n", "df", "cpk", "off"), CASES)
def test_intervals_cover_as_often_as_they_say(n, df, cpk, off):
    # 10,000 processes each: standard error of a coverage of 95 % 0.22 %, of 2.5 % 0.16 %
    hold_to_target(coverage(n=n, df=df, cpk=cpk, off=off, repeats=10_000, seed=n + df), repeats=10_000)


@pytest.mark.slow
@pytest.mark.parametrize("n", [30, 50, 100, 300])
@pytest.mark.parametrize("cpk", [0.8, 1.33, 2.0])
@pytest.mark.parametrize("off", [0.0, 0.1, 0.3, 1.0])
def test_intervals_cover_as_often_as_they_say_in_a_large_run(n, cpk, off):
    # 400,000 processes each: standard error of a coverage of 95 % 0.034 %
    found = coverage(n=n, df=0.8 * n, cpk=cpk, off=off, repeats=400_000, seed=n)
    hold_to_target(found, repeats=400_000)
    assert 0.947 <= found["cpk"] <= 0.957


def test_exact_interval_of_a_one_sided_index_covers():
    rng = np.random.default_rng(4)
    n, true, repeats = 40, 1.2, 2000
    hits = 0
    for mean, square in zip(rng.standard_normal(repeats), rng.chisquare(n - 1, repeats), strict=True):
        index = (3 * true - mean / math.sqrt(n)) / (3 * math.sqrt(square / (n - 1)))
        found = one_sided_index_interval(index, n=n, df=n - 1)
        hits += found.low <= true <= found.high
    assert hits / repeats == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / repeats))


def test_clopper_pearson_never_covers_too_seldom():
    # exact by enumeration, no simulation: sum of binomial chances of the counts whose interval holds p
    n = 25
    limits = [clopper_pearson(k, n) for k in range(n + 1)]
    for p in np.linspace(0.01, 0.99, 50):
        chance = [math.comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(n + 1)]
        assert sum(c for c, i in zip(chance, limits, strict=True) if i.low <= p <= i.high) >= 0.95


@pytest.mark.parametrize("k", [-1, 6])
def test_impossible_counts_are_refused(k):
    with pytest.raises(ValueError, match="count"):
        clopper_pearson(k, 5)


def test_impossible_confidence_and_freedom_are_refused():
    with pytest.raises(ValueError, match="confidence"):
        sd_interval(1.0, df=3, confidence=1.0)
    with pytest.raises(ValueError, match="freedom"):
        cp_interval(1.0, df=0)
