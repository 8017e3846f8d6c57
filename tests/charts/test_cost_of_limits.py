"""What plain three-sigma limits cost where their assumptions fail; docs/limits.md tells these figures."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from cellmon.charts.run_length.shewhart import mean_run_length, range_chance, sd_chance
from cellmon.charts.shewhart import beyond, mean_limits, range_limits, sd_limits
from cellmon.stats.constants import chart_factors, d2
from cellmon.stats.normal import share_above
from tests.charts.rows import statistics_of_rows

RUN_LENGTH = 370.4
"""Subgroups to a false alarm of a mean with known limits."""
PATTERNS = json.loads((Path(__file__).parents[1] / "checks/pattern_tests.json").read_text())["checks"]


# Nelson (1984): exact chance of a point beyond three sigma; one in 370 in every text
def test_chance_of_a_mean_is_the_published_one():
    (row,) = [c for c in PATTERNS if c["id"] == "p-beyond"]
    chance = 1 / mean_run_length(row["inputs"]["limit"]).mean
    assert chance == pytest.approx(row["expected"], rel=0, abs=row["tol"])
    assert mean_run_length().mean == pytest.approx(RUN_LENGTH, abs=0.05)


def test_range_of_two_bores_has_the_closed_form():
    # the range of two is |N(0, 2)|, and its lower limit is 0
    upper = chart_factors(2).D2
    assert range_chance(2) == pytest.approx(math.erfc(upper / 2), rel=1e-9)
    assert sd_chance(2) == pytest.approx(range_chance(2), rel=1e-9)  # s = R / sqrt 2


def test_both_charts_together_alarm_once_in_137_subgroups_of_five():
    # figure of the trials this design rests on (simulated there, computed here)
    assert mean_run_length(beside=range_chance(5)).mean == pytest.approx(137, abs=0.5)


@pytest.mark.parametrize("n", [2, 5, 8])
def test_alarms_come_as_often_as_computed(n):
    # 400,000 unmoved subgroups; allowed: four standard errors of a count
    found = statistics_of_rows(np.random.default_rng(n).standard_normal((400_000, n)))
    for values, limits, chance in (
        (found.mean, mean_limits(0.0, 1.0, n), 1 / mean_run_length().mean),
        (found.range, range_limits(1.0, n), range_chance(n)),
        (found.sd, sd_limits(1.0, n), sd_chance(n)),
    ):
        seen = np.count_nonzero(beyond(values, limits))
        assert seen == pytest.approx(400_000 * chance, abs=4 * math.sqrt(400_000 * chance))


def run_lengths(subgroups, *, repeats, seed):
    """Subgroups to a false alarm of means, for each of many baselines of so many subgroups of 5."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((repeats, subgroups, 5))
    half = 3 * np.ptp(x, axis=2).mean(axis=1) / d2(5)
    off = np.sqrt(5) * x.mean(axis=(1, 2))
    return 1 / (share_above(half - off) + share_above(half + off))


# share within a fifth of the promise, and the 5 and 95 % points; 10,000 baselines: standard error 0.5 %
@pytest.mark.parametrize(
    ("subgroups", "near", "low", "high"), [(25, 0.206, 100, 1150), (100, 0.417, 197, 662)]
)
def test_limits_from_few_subgroups_scatter_widely(subgroups, near, low, high):
    found = run_lengths(subgroups, repeats=10_000, seed=subgroups)
    share = np.mean(np.abs(found - RUN_LENGTH) < RUN_LENGTH / 5)
    assert share == pytest.approx(near, abs=0.02)
    assert np.quantile(found, [0.05, 0.95]) == pytest.approx([low, high], rel=0.06)


def alarms(means):
    """Subgroups to an alarm of means that have unit spread when nothing moves."""
    return means.size / np.count_nonzero(np.abs(means) > 3)


# the level falls evenly from one dressing to the next; the centre of the limits stands at the middle of the
# fall or where fresh stones begin. 20,000 stretches of 60 subgroups; expected: the mean of normal tails
@pytest.mark.parametrize(
    ("fall", "centre", "every"), [(2.0, 0.5, 114.6), (4.0, 0.5, 22.9), (2.0, 0.0, 23.6), (4.0, 0.0, 3.66)]
)
def test_wear_makes_plain_limits_cry(fall, centre, every):
    noise = np.random.default_rng(7).standard_normal((20_000, 60))
    assert alarms(noise + fall * (centre - np.linspace(0, 1, 60))) == pytest.approx(every, rel=0.04)


# lag-1 correlation between bores; the limits know the spread inside subgroups only, as an R chart sees it
@pytest.mark.parametrize(("correlation", "every"), [(0.15, 98), (0.3, 33)])
def test_correlated_bores_make_plain_limits_cry(correlation, every):
    from scipy.signal import lfilter

    shocks = np.random.default_rng(3).standard_normal(2_000_000) * np.sqrt(1 - correlation**2)
    x = lfilter([1.0], [1.0, -correlation], shocks).reshape(-1, 5)
    sigma = np.ptp(x, axis=1).mean() / d2(5)
    assert alarms(x.mean(axis=1) * np.sqrt(5) / sigma) == pytest.approx(every, rel=0.06)


# unsigned taper or ovality, |N(0, 1)|: means and ranges of 5 against limits from the mean range
def test_skewed_features_make_plain_limits_cry():
    x = np.abs(np.random.default_rng(4).standard_normal((400_000, 5)))
    spread = np.ptp(x, axis=1)
    sigma = spread.mean() / d2(5)
    assert alarms((x.mean(axis=1) - x.mean()) * np.sqrt(5) / sigma) == pytest.approx(179, rel=0.07)
    assert spread.size / np.count_nonzero(spread > range_limits(sigma, 5).upper) == pytest.approx(
        94, rel=0.07
    )
