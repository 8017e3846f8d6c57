"""What plain three-sigma limits cost where their assumptions fail; docs/limits.md tells these figures."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.charts.shewhart import range_limits
from cellmon.stats.constants import d2
from cellmon.stats.normal import share_above

RUN_LENGTH = 370.4
"""Subgroups to a false alarm of a mean with known limits (test_false_alarms.py)."""


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
