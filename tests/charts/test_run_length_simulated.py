"""Run lengths computed and simulated side by side; docs/run-lengths.md prints the table of the long run.

Each simulation draws whole runs until they signal. Allowed: four standard errors of the simulated mean.
"""

import math

import numpy as np
import pytest

from cellmon.charts.patterns import EIGHT_TESTS, FOUR_ZONE_TESTS, STANDARD_TESTS, completed
from cellmon.charts.run_length.cusum import two_sided_cusum_run_length
from cellmon.charts.run_length.distribution import Steady, after_change, steady_state
from cellmon.charts.run_length.ewma import ewma_run_length
from cellmon.charts.run_length.multivariate import mewma_run_length
from cellmon.charts.run_length.rules import rules_run_length
from cellmon.charts.run_length.shewhart import individuals_run_length, mean_run_length, range_chance
from cellmon.charts.run_length.variance import variance_cusum_run_length


def run(step, state, count, rng):
    """Return run lengths of so many runs; `step` takes states and a generator to new states and signals."""
    lengths, alive, t = np.zeros(count), np.arange(count), 0
    while alive.size:
        t += 1
        state, signal = step(state, rng, t)
        lengths[alive[signal]] = t
        alive, state = alive[~signal], [part[~signal] for part in state]
    return lengths


def two_cusums(k, h, shift=0.0, begins=0):
    def step(state, rng, t):
        up, down = state
        x = rng.standard_normal(up.size) + (shift if t > begins else 0.0)
        up, down = np.maximum(0, up + x - k), np.maximum(0, down - x - k)
        return [up, down], (up > h) | (down > h)

    return step


def ewmas(weight, width, shift=0.0, exact=False):
    edge = width * math.sqrt(weight / (2 - weight))

    def step(state, rng, t):
        z = (1 - weight) * state[0] + weight * (rng.standard_normal(state[0].size) + shift)
        limit = edge * math.sqrt(1 - (1 - weight) ** (2 * t)) if exact else edge
        return [z], np.abs(z) > limit

    return step


def variances(k, h, df, ratio):
    def step(state, rng, t):
        s = np.maximum(0, state[0] + ratio * rng.chisquare(df, state[0].size) / df - k)
        return [s], s > h

    return step


def mewmas(p, weight, h, distance):
    def step(state, rng, t):
        x = rng.standard_normal((state[0].shape[0], p))
        x[:, 0] += distance
        z = (1 - weight) * state[0] + weight * x
        return [z], (2 - weight) / weight * (z * z).sum(axis=1) > h

    return step


def singles(width, reach):
    def step(state, rng, t):
        x = rng.standard_normal(state[0].size)
        far = np.abs(x - state[0]) > reach if t > 1 else np.zeros(x.size, dtype=bool)
        return [x], (np.abs(x) > width) | far

    return step


def means_and_ranges(n):
    from cellmon.stats.constants import chart_factors

    f = chart_factors(n)

    def step(state, rng, t):
        x = rng.standard_normal((state[0].size, n))
        spread = np.ptp(x, axis=1)
        return state, (np.abs(x.mean(axis=1)) * math.sqrt(n) > 3) | (spread > f.D2) | (spread < f.D1)

    return step


def zeros(count, columns=None):
    return np.zeros(count if columns is None else (count, columns))


CASES = {
    "means and ranges of 5": (
        lambda: mean_run_length(beside=range_chance(5)),
        lambda count, rng: run(means_and_ranges(5), [zeros(count)], count, rng),
    ),
    "single values and moving ranges": (
        lambda: individuals_run_length(3.0, moving_range=3.686),
        lambda count, rng: run(singles(3.0, 3.686), [zeros(count)], count, rng),
    ),
    "CUSUM 0.5, 4, both sides": (
        lambda: two_sided_cusum_run_length(0.5, 4.0),
        lambda count, rng: run(two_cusums(0.5, 4.0), [zeros(count), zeros(count)], count, rng),
    ),
    "the same, head start 2, shift 1": (
        lambda: two_sided_cusum_run_length(0.5, 4.0, shift=1.0, head_start=2.0),
        lambda count, rng: run(two_cusums(0.5, 4.0, 1.0), [zeros(count) + 2, zeros(count) + 2], count, rng),
    ),
    "EWMA 0.1, 2.701": (
        lambda: ewma_run_length(0.1, 2.701),
        lambda count, rng: run(ewmas(0.1, 2.701), [zeros(count)], count, rng),
    ),
    "the same, exact limits": (
        lambda: ewma_run_length(0.1, 2.701, exact_limits=True),
        lambda count, rng: run(ewmas(0.1, 2.701, exact=True), [zeros(count)], count, rng),
    ),
    "variance CUSUM 1.3, 4.29, 4 df": (
        lambda: variance_cusum_run_length(1.3, 4.29, 4),
        lambda count, rng: run(variances(1.3, 4.29, 4, 1.0), [zeros(count)], count, rng),
    ),
    "variance CUSUM 1.3, 9, 1 df, sd x 1.2": (
        lambda: variance_cusum_run_length(1.3, 9.0, 1, ratio=1.44),
        lambda count, rng: run(variances(1.3, 9.0, 1, 1.44), [zeros(count)], count, rng),
    ),
    "MEWMA of 3, 0.2, 11, distance 0.5": (
        lambda: mewma_run_length(3, 0.2, 11.0, distance=0.5),
        lambda count, rng: run(mewmas(3, 0.2, 11.0, 0.5), [zeros(count, 3)], count, rng),
    ),
    "four zone tests": (
        lambda: rules_run_length(FOUR_ZONE_TESTS),
        lambda count, rng: first_marks(FOUR_ZONE_TESTS, count, rng),
    ),
    "eight tests": (
        lambda: rules_run_length(EIGHT_TESTS),
        lambda count, rng: first_marks(EIGHT_TESTS, count, rng),
    ),
    "eight tests, shift 0.5": (
        lambda: rules_run_length(EIGHT_TESTS, shift=0.5),
        lambda count, rng: first_marks(EIGHT_TESTS, count, rng, 0.5),
    ),
    "three tests of the standard": (
        lambda: rules_run_length(STANDARD_TESTS),
        lambda count, rng: first_marks(STANDARD_TESTS, count, rng),
    ),
}


def first_marks(tests, count, rng, shift=0.0):
    """Return the first completed test of each run, by the series code."""
    lengths = np.zeros(count)
    for i in range(count):
        points, marks = np.empty(0), np.empty(0, dtype=int)
        while not marks.size:
            points = np.concatenate([points, rng.standard_normal(400) + shift])
            marks = np.flatnonzero(completed(points, tests))
        lengths[i] = marks[0] + 1
    return lengths


def agree(computed, lengths):
    """Mean, spread and chance to signal within the median, all within four standard errors."""
    count = lengths.size
    assert lengths.mean() == pytest.approx(computed.mean, abs=4 * lengths.std() / math.sqrt(count))
    assert lengths.std() == pytest.approx(computed.sd, rel=4 * math.sqrt(2.5 / count))
    middle = computed.quantile(0.5)
    share = 1 - float(computed.survival(middle))
    assert np.mean(lengths <= middle) == pytest.approx(share, abs=4 * math.sqrt(0.25 / count))


@pytest.mark.parametrize("name", CASES)
def test_computed_and_simulated_agree(name):
    make, simulate = CASES[name]
    agree(make(), simulate(1_000, np.random.default_rng(101)))


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_computed_and_simulated_agree_in_a_long_run(name):
    make, simulate = CASES[name]
    computed, lengths = make(), simulate(100_000, np.random.default_rng(202))
    error = lengths.std() / math.sqrt(lengths.size)
    print(f"\n| {name} | {computed.mean:.2f} | {lengths.mean():.2f} ± {error:.2f} |", end="")
    agree(computed, lengths)


def late_cusum(count, rng, begins):
    """Return points from a change after `begins` quiet ones; runs that signalled before are left out."""
    lengths = run(two_cusums(0.5, 4.0, 1.0, begins), [zeros(count), zeros(count)], count, rng)
    return lengths[lengths > begins] - begins


@pytest.mark.parametrize("begins", [1, 5, 40])
def test_a_change_that_comes_later_is_seen_as_computed(begins):
    before, after = two_sided_cusum_run_length(0.5, 4.0), two_sided_cusum_run_length(0.5, 4.0, shift=1.0)
    agree(after_change(before, after, at=begins), late_cusum(20_000, np.random.default_rng(7), begins))


def test_steady_state_is_what_a_late_change_shows():
    before, after = two_sided_cusum_run_length(0.5, 4.0), two_sided_cusum_run_length(0.5, 4.0, shift=1.0)
    agree(steady_state(before, after), late_cusum(40_000, np.random.default_rng(8), 60))


def test_cyclical_state_is_what_charts_show_that_begin_anew():
    # 40,000 charts run for 400 points, each beginning anew after a signal; then the change
    rng, count = np.random.default_rng(9), 40_000
    weight, width = 0.2, 2.0
    edge, z = width * math.sqrt(weight / (2 - weight)), np.zeros(count)
    for _ in range(400):
        z = (1 - weight) * z + weight * rng.standard_normal(count)
        z[np.abs(z) > edge] = 0.0
    lengths = run(ewmas(weight, width, 1.0), [z], count, rng)
    before, after = ewma_run_length(weight, width), ewma_run_length(weight, width, shift=1.0)
    agree(steady_state(before, after, kind=Steady.CYCLICAL), lengths)


def test_a_later_change_is_seen_by_trends_as_computed():
    rng, at = np.random.default_rng(10), 30
    x = rng.standard_normal((6_000, 300))
    x[:, at:] += 1.0
    lengths = []
    for row in x:
        marks = np.flatnonzero(completed(row, STANDARD_TESTS))
        if marks.size and marks[0] >= at:
            lengths.append(marks[0] + 1 - at)
    before, after = rules_run_length(STANDARD_TESTS), rules_run_length(STANDARD_TESTS, shift=1.0)
    agree(after_change(before, after, at=at), np.array(lengths, dtype=float))
