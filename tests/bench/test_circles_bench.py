"""A minimum-zone circle of 1,000 points, against scipy's linear programme of them in the same run."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.optimize import linprog

from cellmon.bores.circles import fitted_circle, points_around

POINTS, ROUNDS, TIMES = 1000, 12, 20


def programme(turn, um):
    """Solve the same zone, for small deviations, as a linear programme."""
    cos, sin, one, none = np.cos(turn), np.sin(turn), np.ones(POINTS), np.zeros(POINTS)
    rows = np.vstack((np.column_stack((-cos, -sin, none, -one)), np.column_stack((cos, sin, one, none))))
    bounds = [(None, None)] * 4
    return linprog([0, 0, -1, 1], A_ub=rows, b_ub=np.concatenate((-um, um)), bounds=bounds).fun


@pytest.mark.bench
def test_minimum_zone_of_a_thousand_points():
    rng, turn = np.random.default_rng(1), 2 * np.pi * np.arange(POINTS) / POINTS
    mine = theirs = np.inf
    for _ in range(ROUNDS):
        um = (
            12 * np.cos(turn + 0.3)
            + 2 * np.cos(2 * turn)
            + 1.5 * np.cos(3 * turn)
            + rng.normal(0, 0.3, POINTS)
        )
        points = points_around(np.degrees(turn), um, nominal_mm=87.3)
        start = time.perf_counter()
        for _ in range(TIMES):
            found = fitted_circle(points, "minimum-zone")
        mine = min(mine, (time.perf_counter() - start) / TIMES)
        start = time.perf_counter()
        best = programme(turn, um)
        theirs = min(theirs, time.perf_counter() - start)
        assert found.form == pytest.approx(best, abs=0.01)
    times = theirs / mine
    print(f"\nminimum zone of {POINTS} points: {1e3 * mine:.3f} ms; linear programme {times:.0f} times that")
    assert mine < 1e-3
