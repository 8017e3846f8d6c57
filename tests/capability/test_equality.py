"""Tests of equal levels and spreads against print, and pooling."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from cellmon.capability.equality import bartlett, equal_means, equal_spreads, variances_of
from cellmon.capability.pooling import may_pool
from cellmon.errors import NoSpread, NotEnoughData

CHECKS = Path(__file__).parents[1] / "checks"
ROWS = {row["id"]: row for row in json.loads((CHECKS / "hypothesis_tests.json").read_text())["checks"]}


def gear():
    with (CHECKS / "data/gear.csv").open() as file:
        lines = list(csv.DictReader(line for line in file if not line.startswith("#")))
    batches = sorted({line["group"] for line in lines}, key=int)
    return [[float(line["value"]) for line in lines if line["group"] == batch] for batch in batches]


def analyse_variance(groups):
    """Return the analysis of variance of groups that are given by their bores."""
    sizes = [len(g) for g in groups]
    squares = [len(g) * np.var(g) for g in groups]
    return variances_of(sizes=sizes, means=[np.mean(g) for g in groups], squares=squares)


def of_normal(groups):
    """Return Bartlett's test of groups that are given by their bores."""
    return bartlett(variances=[np.var(g, ddof=1) for g in groups], df=[len(g) - 1 for g in groups])


# NIST/SEMATECH e-Handbook 1.3.5.7, 1.3.5.10, 1.3.5.4, gear data
def test_gear_batches_agree_with_print():
    normal, levene = ROWS["bartlett-gear"], ROWS["levene-gear"]
    assert of_normal(gear()).statistic == pytest.approx(normal["expected"]["T"], abs=normal["tol"]["T"])
    assert equal_spreads(gear()).statistic == pytest.approx(levene["expected"]["W"], abs=levene["tol"]["W"])
    found, row = analyse_variance(gear()), ROWS["anova-gear"]
    values = {"ss_between": found.between, "ss_within": found.within, "F": found.test.statistic}
    for name, value in values.items():
        assert value == pytest.approx(row["expected"][name], abs=row["tol"][name])
    assert (found.df_between, found.df_within) == (9, 90)
    assert found.within_variance == pytest.approx(found.within / 90)


def test_chances_agree_with_an_independent_library():
    assert of_normal(gear()).p_value == pytest.approx(stats.bartlett(*gear()).pvalue)
    assert equal_spreads(gear()).p_value == pytest.approx(stats.levene(*gear()).pvalue)
    assert analyse_variance(gear()).test.p_value == pytest.approx(stats.f_oneway(*gear()).pvalue)
    assert equal_means(gear()).p_value == pytest.approx(stats.f_oneway(*gear(), equal_var=False).pvalue)


# NIST/SEMATECH e-Handbook 7.3.1: for two groups the statistic is the square of Welch's t
def test_two_groups_agree_with_the_printed_t():
    row = ROWS["t-welch-assembly"]
    found = equal_means([row["inputs"]["a"], row["inputs"]["b"]])
    assert np.sqrt(found.statistic) == pytest.approx(row["expected"]["t"], abs=row["tol"]["t"])


def test_groups_that_tell_nothing_are_refused():
    with pytest.raises(NotEnoughData):
        equal_spreads([[1.0, 2.0]])
    with pytest.raises(NotEnoughData):
        equal_means([[1.0], [2.0]])
    with pytest.raises(NotEnoughData):
        analyse_variance([[1.0], [2.0]])
    with pytest.raises(NoSpread):
        analyse_variance([[1.0, 1.0], [2.0, 2.0]])
    with pytest.raises(NoSpread):
        equal_means([[1.0, 1.0], [1.0, 2.0]])


def streams(*, step=0.0, ratio=1.0, n=100, seed=3):
    rng = np.random.default_rng(seed)
    return {"S1 bore 1": rng.normal(size=n), "S1 bore 2": step + ratio * rng.normal(size=n)}


def test_like_streams_may_be_pooled_and_others_may_not():
    assert may_pool(streams()).may
    apart = may_pool(streams(step=1.0))
    assert (apart.may, apart.highest) == (False, "S1 bore 2")
    assert "lies" in apart.reasons[0] and "above S1 bore 1" in apart.reasons[0]
    wide = may_pool(streams(ratio=1.8))
    assert not wide.may and "spreads" in wide.reasons[0]


def test_a_difference_too_small_to_matter_does_not_forbid_pooling():
    found = may_pool(streams(step=0.06, n=20_000))
    assert found.means.p_value < 0.025
    assert found.may


def test_few_bores_cannot_show_that_streams_are_alike():
    found = may_pool(streams(n=20))
    assert not found.may and "20 bores; 25 are needed" in found.reasons[0]
    with pytest.raises(NotEnoughData):
        may_pool({"S1": [1.0, 2.0]})


def test_like_streams_are_kept_apart_as_seldom_as_said():
    refused = np.mean([not may_pool(streams(seed=seed)).may for seed in range(300)])
    assert refused <= 0.05 + 0.038  # three standard errors
