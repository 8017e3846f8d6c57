"""False alarms of three-sigma charts, against exact values and by simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from cellmon.charts.false_alarms import (
    false_alarms_per_week,
    mean_false_alarm,
    range_false_alarm,
    sd_false_alarm,
)
from cellmon.charts.shewhart import Baseline, beyond
from cellmon.charts.subgroups import statistics_of_equal
from cellmon.stats.constants import chart_factors

ROWS = {
    c["id"]: c
    for c in json.loads((Path(__file__).parents[1] / "checks/pattern_tests.json").read_text())["checks"]
}


# Nelson (1984): exact chance of a point beyond three sigma; one in 370 in every text
def test_chance_of_a_mean_is_the_published_one():
    row = ROWS["p-beyond"]
    assert mean_false_alarm(width=row["inputs"]["limit"]) == pytest.approx(
        row["expected"], rel=0, abs=row["tol"]
    )
    assert 1 / mean_false_alarm() == pytest.approx(370.4, abs=0.05)


def test_range_of_two_bores_has_the_closed_form():
    # the range of two is |N(0, 2)|, and its lower limit is 0
    upper = chart_factors(2).D2
    assert float(range_false_alarm(2)) == pytest.approx(math.erfc(upper / 2), rel=1e-9)
    assert float(sd_false_alarm(2)) == pytest.approx(float(range_false_alarm(2)), rel=1e-9)  # s = R / sqrt 2


def test_both_charts_together_alarm_once_in_137_subgroups_of_five():
    # figure of the trials this design rests on (simulated there, computed here)
    together = 1 - (1 - mean_false_alarm()) * (1 - float(range_false_alarm(5)))
    assert 1 / together == pytest.approx(137, abs=0.5)


@pytest.mark.parametrize("n", [2, 5, 8])
def test_alarms_come_as_often_as_computed(n):
    # 400,000 unmoved subgroups; allowed: four standard errors of a count
    found = statistics_of_equal(np.random.default_rng(n).standard_normal((400_000, n)))
    base = Baseline(centre_um=0.0, sigma_um=1.0, df=1e9, n=10**9, subgroups=10**8)
    marks = beyond(found.mean, found.range, n, base)
    deviation = (found.sd > chart_factors(n).B6) | (found.sd < chart_factors(n).B5)
    for seen, chance in (
        (marks.mean != 0, mean_false_alarm()),
        (marks.range != 0, float(range_false_alarm(n))),
        (deviation, float(sd_false_alarm(n))),
    ):
        assert seen.sum() == pytest.approx(400_000 * chance, abs=4 * math.sqrt(400_000 * chance))


def test_cost_adds_up_over_charts_of_different_sizes():
    cost = false_alarms_per_week([100.0, 300.0, 50.0], [5, 3, 1])
    assert cost.xbar == pytest.approx(450 * mean_false_alarm())
    expected = 100 * float(range_false_alarm(5)) + 300 * float(range_false_alarm(3))
    assert cost.range == pytest.approx(expected)
    assert cost.total == pytest.approx(cost.xbar + cost.range)
