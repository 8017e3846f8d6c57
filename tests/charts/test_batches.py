"""How far two stretches of subgroups lie apart, where neighbours hang together."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter

from cellmon.charts.batches import batches_apart
from cellmon.errors import NotEnoughData

PAIRS = 1000
TRUE_UM = 0.4


def test_runs_of_equal_length_are_compared_as_welchs_test_compares_their_means():
    rng = np.random.default_rng(1)
    first, second = rng.normal(size=64), rng.normal(0.5, 1.5, 48)
    found = batches_apart(first, second, confidence=0.95)
    runs = first.reshape(8, 8).mean(axis=1), second.reshape(8, 6).mean(axis=1)
    wanted = stats.ttest_ind(runs[1], runs[0], equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((wanted.low, wanted.high))
    assert found.value == pytest.approx(second.mean() - first.mean())


def test_sixteen_points_of_each_are_enough_and_fifteen_are_not():
    points = np.sin(np.arange(40.0))
    assert batches_apart(points[:16], points[16:], confidence=0.95).low < 0
    with pytest.raises(NotEnoughData) as refused:
        batches_apart(points[:15], points[15:], confidence=0.95)
    assert (refused.value.need, refused.value.got) == (16, 15)


@pytest.mark.parametrize(
    ("neighbours", "points", "least"),
    [(0.0, 70, 0.93), (0.0, 16, 0.94), (0.5, 70, 0.91), (0.5, 16, 0.885), (0.7, 70, 0.88), (0.0, 33, 0.93)],
)
def test_intervals_hold_the_truth_where_neighbours_hang_together(neighbours, points, least):
    """Seeded, 1,000 pairs each; the standard error of a share of 0.93 is 0.8 %. Figures: docs/method.md."""
    rng = np.random.default_rng([6, points, round(10 * neighbours)])
    drawn = lfilter([1], [1, -neighbours], rng.normal(size=(2, PAIRS, points + 60)))[..., 60:]
    found = [batches_apart(one, TRUE_UM + other, confidence=0.95) for one, other in zip(*drawn, strict=True)]
    held = np.mean([one.low <= TRUE_UM <= one.high for one in found])
    assert least <= held <= 0.98


def test_a_saw_of_wear_and_dressing_makes_an_interval_wider_and_never_less_sure():
    rng = np.random.default_rng(7)
    phase = rng.uniform(size=(2, PAIRS, 1))
    drawn = rng.normal(size=(2, PAIRS, 70)) + 3 * ((2 * np.arange(70) / 70 + phase) % 1)
    found = [batches_apart(one, other, confidence=0.95) for one, other in zip(*drawn, strict=True)]
    assert np.mean([one.low <= 0 <= one.high for one in found]) >= 0.95
