"""Rows of the benchmark: arithmetic on arrays, against moving the bytes or against another library."""

from __future__ import annotations

import numpy as np
import pandas as pd

from cellmon.bores.circles import fitted_circle, points_around
from cellmon.bores.form import two_point_features
from cellmon.charts.cusum import cusum
from cellmon.charts.ewma import ewma
from cellmon.charts.patterns import EIGHT_TESTS, completed
from cellmon.charts.run_length.rules import rules_run_length
from cellmon.charts.subgroups import cut, statistics
from cellmon.judged import FEATURE_COLUMNS
from cellmon.monitor.judge import budget as limits_of
from tests.bench.clock import Row, by_turns
from tests.bench.inputs import points
from tests.monitor.judge.making import demo_sheet, stream

LAYOUT = {"depths_mm": [15.0, 70.0, 125.0], "angles_deg": [0.0, 90.0]}
THREE = ("average", "taper", "roundness")
CACHED = 8192
"""Values filled at a time, as the kernels fill theirs."""


def moving(read: np.ndarray, written: int) -> None:
    """Read an array once and write so many fresh arrays as long as its first axis: what cannot be saved."""
    read.sum()
    made = [np.empty(len(read)) for _ in range(written)]
    for start in range(0, len(read), CACHED):
        for one in made:
            one[start : start + CACHED] = 1.0


def features(bores: int) -> list[Row]:
    """All features of bores with six readings, and three of them."""
    um = points(6 * bores).reshape(bores, 3, 2)
    found = []
    for names, said in ((FEATURE_COLUMNS, "eleven features"), (THREE, "diameter, taper and roundness")):
        took, moved, read = by_turns(
            lambda names=names: two_point_features(um, **LAYOUT, only=names),
            lambda names=names: moving(um, len(names)),
            um.sum,
        )
        work = f"{said} of {bores:,} bores with six readings"
        found.append(Row(work=work, seconds=took, against="the bytes moved", baseline=moved, wanted="4"))
        found.append(Row(work="the same", seconds=took, against="reading them once", baseline=read))
    return found


def subgroups(bores: int) -> list[Row]:
    """Mean, range and deviation of fives."""
    x = points(bores)
    fives = x[: len(x) // 5 * 5].reshape(-1, 5)
    labels = cut(np.zeros(fives.size, dtype=np.int8), size=5)
    frame = pd.DataFrame({"x": fives.ravel(), "subgroup": labels})
    labelled, moved, read = by_turns(
        lambda: statistics(fives.ravel(), labels),
        lambda: (x.sum(), [np.ones(len(fives)) for _ in range(8)]),
        x.sum,
    )
    (grouped,) = by_turns(lambda: frame.groupby("subgroup")["x"].agg(["mean", "min", "max", "std"]), rounds=2)
    work, reading = f"mean, range and deviation of {bores:,} bores in fives", "reading them once"
    return [
        Row(work=work, seconds=labelled, against=reading, baseline=read, wanted="10"),
        Row(
            work="the same", seconds=labelled, against="the bytes moved, of all eight columns", baseline=moved
        ),
        Row(work="the same", seconds=labelled, against="pandas' groupby of them", baseline=grouped),
    ]


def series(count: int) -> list[Row]:
    """EWMA, CUSUM and the eight tests along points."""
    x = points(count)
    fifth = x[: count // 5]
    smooth, both, tests, read, few = by_turns(
        lambda: ewma(x, 0.1),
        lambda: cusum(x, 0.5),
        lambda: completed(fifth),
        x.sum,
        fifth.sum,
    )
    wanted = (lambda s: s) if count == 10_000_000 else (lambda _: "-")
    once = "reading them once"
    return [
        Row(
            work=f"EWMA of {count:,} points",
            seconds=smooth,
            against=once,
            baseline=read,
            wanted=wanted("0.1 s"),
        ),
        Row(
            work=f"both CUSUMs of {count:,} points",
            seconds=both,
            against=once,
            baseline=read,
            wanted=wanted("0.2 s"),
        ),
        Row(
            work=f"eight run tests on {count // 5:,} points",
            seconds=tests,
            against=once,
            baseline=few,
            wanted=wanted("0.05 s"),
        ),
    ]


def circle() -> list[Row]:
    """A minimum zone of 1,000 points 12 µm off centre, checked against the linear programme it is held to."""
    count, times, rng = 1000, 20, np.random.default_rng(1)
    turn = 2 * np.pi * np.arange(count) / count
    um = 12 * np.cos(turn + 0.3) + 2 * np.cos(2 * turn) + 1.5 * np.cos(3 * turn) + rng.normal(0, 0.3, count)
    around = points_around(np.degrees(turn), um, nominal_mm=87.3)
    zone, programme = fitted_circle(around, "minimum-zone").form, _programme(turn, um)
    if abs(zone - programme) > 0.01:
        raise SystemExit(f"a zone of {zone} and by the linear programme {programme}")
    mine, theirs = by_turns(
        lambda: [fitted_circle(around, "minimum-zone") for _ in range(times)], lambda: _programme(turn, um)
    )
    return [
        Row(
            work="minimum-zone circle of 1,000 points",
            seconds=mine / times,
            against="scipy's linear programme of them",
            baseline=theirs,
            wanted="0.1 ms",
        )
    ]


def _programme(turn: np.ndarray, um: np.ndarray) -> float:
    """Return the same zone, for small deviations, by a linear programme."""
    from scipy.optimize import linprog

    cos, sin, one, none = np.cos(turn), np.sin(turn), np.ones(len(um)), np.zeros(len(um))
    rows = np.vstack((np.column_stack((-cos, -sin, none, -one)), np.column_stack((cos, sin, one, none))))
    free = [(None, None)] * 4
    return float(linprog([0, 0, -1, 1], A_ub=rows, b_ub=np.concatenate((-um, um)), bounds=free).fun)


def limits() -> list[Row]:
    """Every limit of the demonstration's cell, and a run length of the eight tests."""
    found = limits_of.budget(demo_sheet())
    scoped = [(f, {"S1": "1", "S2": "3"}.get(f.spindle)) for f in found.families]
    streams = [
        stream(f.spindle, bore if f.scope in ("bore", "distance") else None, f.feature) for f, bore in scoped
    ]

    def solve() -> None:
        for kept in (limits_of.level_limits, limits_of.spread_limits, limits_of.single_limit):
            kept.cache_clear()
        limits_of.detector_limits(found, streams, [5] * len(streams))

    solve()
    x = points(10_000_000)
    took, eight, read = by_turns(solve, lambda: rules_run_length(EIGHT_TESTS, shift=0.1), x.sum, rounds=3)
    against = "reading 10,000,000 numbers once"
    return [
        Row(
            work="every limit of the demo's cell", seconds=took, against=against, baseline=read, wanted="1 s"
        ),
        Row(work="run length of the eight tests", seconds=eight, against=against, baseline=read),
    ]
