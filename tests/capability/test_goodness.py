"""The test of Anderson and Darling against published values and its own promise."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from cellmon.capability.goodness import (
    _TABLES,
    anderson_darling,
    goodness_of_fit,
    normal_p_value,
    spread_ties,
    tabled_chance,
)
from cellmon.capability.levels import THREE_LEVELS, TWO_LEVELS
from cellmon.capability.unbounded import HEAVY_TAILED, NORMAL, SHIFTED_LOGNORMAL
from cellmon.capability.zero_bounded import FOLDED_NORMAL, GAMMA, HALF_NORMAL, RAYLEIGH, WEIBULL

CHECKS = Path(__file__).parents[1] / "checks"
ROWS = json.loads((CHECKS / "hypothesis_tests.json").read_text())["checks"]


def of(quantity):
    return [row for row in ROWS if row["quantity"] == quantity]


# NIST/SEMATECH e-Handbook 1.4.2.1, printed without adjustment
@pytest.mark.parametrize("row", of("anderson_darling_normal"), ids=lambda row: row["id"])
def test_the_statistic_agrees_with_print(row):
    with (CHECKS / row["inputs"]["data"]).open() as file:
        lines = csv.DictReader(line for line in file if not line.startswith("#"))
        x = np.sort([float(line[row["inputs"]["column"]]) for line in lines])[None]
    mean, sd = x.mean(), x.std(ddof=1)
    statistic = anderson_darling(NORMAL.cdf(x, np.array([[mean, np.log(sd)]])))[0]
    assert statistic == pytest.approx(row["expected"], abs=row["tol"])


# D'Agostino and Stephens (1986), tables 4.7 and 4.9
@pytest.mark.parametrize("row", of("ad_pvalue"), ids=lambda row: row["id"])
def test_the_chance_at_published_critical_values(row):
    assert normal_p_value(row["inputs"]["a2star"]) == pytest.approx(row["expected"], abs=row["tol"])


# D'Agostino and Stephens (1986), from memory: table 4.14 (exponential with unknown scale, of which the
# square of a Rayleigh value is one), A (1 + 0.6 / n): 1.062 (10 %), 1.321 (5 %); table 4.17 (extreme value,
# both unknown; the logarithm of a Weibull value), A (1 + 0.2 / sqrt n): 0.637, 0.757.
@pytest.mark.parametrize(
    ("family", "factor", "critical"),
    [
        (RAYLEIGH, 1 + 0.6 / 100, (1.062, 1.321)),
        (WEIBULL, 1 + 0.2 / 10, (0.637, 0.757)),
    ],
    ids=["Rayleigh", "Weibull"],
)
def test_our_tables_agree_with_the_published_ones(family, factor, critical):
    row = _TABLES[family.name][0.0]
    for value, chance in zip(critical, (0.1, 0.05), strict=True):
        # ours are from 10,000 samples: standard error of a chance of 5 % 0.2 %
        assert tabled_chance(value / factor, row) == pytest.approx(chance, rel=0.15)


MEMBERS = [
    (HALF_NORMAL, [0.0], 0.0),
    (GAMMA, [0.0, 1.0], 1.0),
    (FOLDED_NORMAL, [0.0, 0.3], 0.3),
    (SHIFTED_LOGNORMAL, [0.0, 0.0, 0.3], 0.3),
    (HEAVY_TAILED, [0.0, 0.0, 0.2], 0.2),
    (TWO_LEVELS, [0.0, 3.0, 0.0, 0.0], 3.0),
    (THREE_LEVELS, [0.0, 3.0, 6.0, 0.0, 0.0, 0.0], 3.0),
]


@pytest.mark.parametrize(("family", "theta", "shape"), MEMBERS, ids=[m[0].name for m in MEMBERS])
def test_tables_are_what_drawing_and_fitting_anew_gives(family, theta, shape):
    draws = 600
    uniform = np.random.default_rng(77).random((draws, 100))
    x = np.sort(family.quantile(uniform, np.repeat(np.array([theta]), draws, axis=0)), axis=1)
    drawn = anderson_darling(family.cdf(x, family.fit(x)))
    row = _TABLES[family.name][shape]
    for value, chance in zip(row[:5], (0.5, 0.25, 0.15, 0.1, 0.05), strict=True):
        assert np.mean(drawn > value) == pytest.approx(chance, abs=3 * np.sqrt(chance * (1 - chance) / draws))


def test_chances_fall_between_and_beyond_the_table():
    row = _TABLES[RAYLEIGH.name][0.0]
    chances = [tabled_chance(a, row) for a in (0.1, 0.493, 1.0, 2.0, 3.0, 6.0)]
    assert chances == sorted(chances, reverse=True)
    assert chances[1] == pytest.approx(0.5)
    assert 0 < chances[-1] < 1e-4


@pytest.mark.parametrize(
    ("family", "population"),
    [(RAYLEIGH, stats.rayleigh()), (WEIBULL, stats.weibull_min(2.2)), (GAMMA, stats.gamma(4))],
    ids=["Rayleigh", "Weibull", "gamma"],
)
def test_a_true_family_is_ruled_out_as_often_as_said(family, population):
    rng = np.random.default_rng(31)
    x = population.rvs((400, 80), random_state=rng)
    refused = np.mean([goodness_of_fit(family, row, family.fit(row[None])).p_value < 0.05 for row in x])
    assert refused == pytest.approx(0.05, abs=0.035)  # three standard errors


def test_a_false_family_is_ruled_out():
    x = np.random.default_rng(1).exponential(size=200)
    assert goodness_of_fit(NORMAL, x, NORMAL.fit(x[None])).p_value < 1e-6


def test_rounding_alone_rules_nothing_out():
    x = np.round(np.random.default_rng(1).normal(0, 2, 500))  # a step of half a standard deviation
    bare = anderson_darling(NORMAL.cdf(np.sort(x)[None], NORMAL.fit(x[None])))[0]
    assert normal_p_value(bare) < 0.01
    assert goodness_of_fit(NORMAL, x, NORMAL.fit(x[None])).p_value > 0.2


def test_equal_values_are_spread_over_their_step():
    assert spread_ties(np.array([3.0, 1.0, 2.0])).tolist() == [1.0, 2.0, 3.0]
    assert spread_ties(np.array([0.0, 0.0, 1.0])).min() > 0
