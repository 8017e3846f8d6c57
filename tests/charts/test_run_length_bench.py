"""Times of run lengths, limits and series; the last figures stand in docs/run-lengths.md."""

import time

import numpy as np
import pytest

from cellmon.charts.cusum import cusum
from cellmon.charts.ewma import ewma
from cellmon.charts.multivariate import mewma, t_squared
from cellmon.charts.patterns import EIGHT_TESTS, FOUR_ZONE_TESTS, STANDARD_TESTS, completed
from cellmon.charts.run_length.cusum import cusum_arl, cusum_limit, two_sided_cusum_arl
from cellmon.charts.run_length.distribution import steady_state
from cellmon.charts.run_length.ewma import ewma_arl, ewma_limit, ewma_run_length
from cellmon.charts.run_length.multivariate import mewma_arl, mewma_limit
from cellmon.charts.run_length.rules import rules_run_length
from cellmon.charts.run_length.variance import variance_cusum_arl, variance_cusum_limit

pytestmark = pytest.mark.bench


def milliseconds(work, repeats=7):
    work()
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return 1e3 * float(np.median(times))


SOLVING = {
    "run length, CUSUM 0.5 for one in 370": lambda: cusum_arl(0.5, 4.1),
    "the same, both sides": lambda: two_sided_cusum_arl(0.5, 4.775),
    "run length, EWMA 0.1": lambda: ewma_arl(0.1, 2.7),
    "the same, exact limits": lambda: ewma_arl(0.1, 2.7, exact_limits=True),
    "steady state, EWMA 0.1": lambda: (
        steady_state(ewma_run_length(0.1, 2.7), ewma_run_length(0.1, 2.7, shift=1.0)).mean
    ),
    "run length, variance CUSUM 1.3, 4 df": lambda: variance_cusum_arl(1.3, 4.3, 4),
    "run length, MEWMA of 4, moved": lambda: mewma_arl(4, 0.2, 13.87, distance=1.0),
    "run length, four zone tests": lambda: rules_run_length(FOUR_ZONE_TESTS, shift=0.1).mean,
    "run length, three tests of the standard": lambda: rules_run_length(STANDARD_TESTS, shift=0.1).mean,
    "run length, eight tests": lambda: rules_run_length(EIGHT_TESTS, shift=0.1).mean,
    "limit, CUSUM 0.5, one in 1e7": lambda: cusum_limit(0.5, 1e7),
    "limit, CUSUM 0.21, one in 1e7": lambda: cusum_limit(0.21, 1e7),
    "limit, EWMA 0.1, one in 1e7": lambda: ewma_limit(0.1, 1e7),
    "limit, variance CUSUM 1.3, 4 df, one in 370": lambda: variance_cusum_limit(1.3, 4, 370.4),
    "limit, variance CUSUM 1.3, 4 df, one in 1e7": lambda: variance_cusum_limit(1.3, 4, 1e7),
    "limit, variance CUSUM 1.19, 1 df, one in 1e7": lambda: variance_cusum_limit(1.19, 1, 1e7),
    "limit, MEWMA of 4, one in 370": lambda: mewma_limit(4, 0.1, 370.4),
}


def test_times_of_solving():
    for name, work in SOLVING.items():
        print(f"\n| {name} | {milliseconds(work):.2f} ms |", end="")


def test_times_of_series_against_reading_memory():
    x = np.random.default_rng(1).standard_normal(10_000_000)
    rows = x[:4_000_000].reshape(-1, 4)
    whole = milliseconds(x.sum)
    for name, work in {
        "EWMA of 10 M points": lambda: ewma(x, 0.1),
        "both CUSUMs of 10 M": lambda: cusum(x, 0.5),
        "eight tests on 2 M": lambda: completed(x[:2_000_000]),
        "T-squared of 1 M points of 4": lambda: t_squared(rows, np.zeros(4), np.eye(4)),
        "MEWMA of 1 M points of 4": lambda: mewma(rows, 0.1, np.zeros(4), np.eye(4)),
    }.items():
        taken = milliseconds(work, 5)
        print(f"\n| {name} | {taken:.0f} ms | {taken / whole:.1f} sums of 10 M |", end="")
