"""Circle fits against published points, forms whose answer is known exactly, and a linear programme."""

import json
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from cellmon.bores.circles import NoCircle, Reference, fitted_circle, points_around, points_at
from cellmon.errors import GapInReadings, NotEnoughData

CHECKS = json.loads((Path(__file__).parents[1] / "checks/bore_geometry.json").read_text())["checks"]
LOBED = [c for c in CHECKS if c["quantity"] == "lobed_profile"]
GANDER = next(c for c in CHECKS if c["quantity"] == "circle_geometric")
TURN = np.arange(0.0, 360.0, 1.0)


def lobed(g):
    a = 2 * np.pi * np.arange(g["N"]) / g["N"]
    r = g["R"] + g["a"] * np.cos(g["lobes"] * a)
    return points_at(g["ex"] + r * np.cos(a), g["ey"] + r * np.sin(a))


def rough(seed, n=240, off=3.0):
    """Return angles and deviations of a plausible section: off centre, a few lobes, noise."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 360, n)) if seed % 2 else np.arange(n) * 360 / n
    turn = np.radians(angle)
    um = off * np.cos(turn - rng.uniform(0, 6)) + rng.normal(0, 0.4, n)
    for order in (2, 3, 5):
        um += rng.uniform(0, 2) * np.cos(order * turn - rng.uniform(0, 6))
    return angle, um


# Gander, Golub and Strebel, BIT 34 (1994): the six points (second hand) and their geometric fit (memory)
def test_least_squares_agrees_with_the_published_points():
    found = fitted_circle(points_at(GANDER["inputs"]["px"], GANDER["inputs"]["py"]), "least-squares")
    expected, tol = GANDER["expected"], GANDER["tol"]
    assert found.x == pytest.approx(expected["xc"], abs=tol["xc"])
    assert found.y == pytest.approx(expected["yc"], abs=tol["yc"])
    assert found.radius == pytest.approx(expected["r"], abs=tol["r"])


# derived: r = R + a cos(n phi) sampled with its extremes; optimality by the alternation of extremes
@pytest.mark.parametrize("row", LOBED, ids=lambda row: row["id"])
def test_forms_known_exactly_are_found(row):
    points, want, tol = lobed(row["inputs"]), row["expected"], row["tol"]
    squares = fitted_circle(points, "least-squares")
    assert squares.x == pytest.approx(want["ls_xc"], abs=tol["ls_xc"])
    assert squares.y == pytest.approx(want["ls_yc"], abs=tol["ls_yc"])
    assert squares.radius == pytest.approx(want["ls_r"], abs=tol["ls_r"])
    assert squares.form == pytest.approx(want["ls_roundness"], abs=tol["ls_roundness"])
    zone = fitted_circle(points, "minimum-zone")
    assert zone.form == pytest.approx(want["mz_roundness"], abs=tol["mz_roundness"])
    for reference, name in (
        (Reference.CIRCUMSCRIBED, "min_circumscribed_d"),
        (Reference.INSCRIBED, "max_inscribed_d"),
    ):
        assert 2 * fitted_circle(points, reference).radius == pytest.approx(want[name], abs=tol[name])


def programme(angle, um, nominal_mm, reference, centre):
    """Return the best form or radius near a centre by scipy's linear programme on all points at once."""
    turn = np.radians(angle)
    half = nominal_mm * 500
    x, y = (half + um) * np.cos(turn) - centre.x, (half + um) * np.sin(turn) - centre.y
    rho = np.hypot(x, y)
    u, d, one, none = np.stack((x, y), axis=1) / rho[:, None], rho - half, np.ones(len(um)), np.zeros(len(um))
    above, below = np.column_stack((-u, none, -one)), np.column_stack((u, one, none))
    cost = {"minimum-zone": [0, 0, -1, 1], "inscribed": [0, 0, -1, 0], "circumscribed": [0, 0, 0, 1]}
    found = linprog(
        cost[reference],
        A_ub=np.vstack((above, below)),
        b_ub=np.concatenate((-d, d)),
        bounds=[(None, None)] * 4,
    )
    return found.fun


# independent: the linear programme of scipy (HiGHS), about the centre found
@pytest.mark.parametrize("reference", ["minimum-zone", "inscribed", "circumscribed"])
@pytest.mark.parametrize("seed", range(8))
def test_extreme_circles_agree_with_a_linear_programme(seed, reference):
    angle, um = rough(seed)
    found = fitted_circle(points_around(angle, um, nominal_mm=87.3), reference)
    best = programme(angle, um, 87.3, reference, found)
    mine = {
        "minimum-zone": found.form,
        "inscribed": -(found.radius - 43650),
        "circumscribed": found.radius - 43650,
    }
    assert mine[reference] == pytest.approx(best, abs=1e-6)


@given(st.integers(0, 10_000), st.floats(-15, 15), st.floats(-15, 15))
@settings(max_examples=40, deadline=None)
def test_moving_the_part_moves_the_centre_and_leaves_the_form(seed, ex, ey):
    angle, um = rough(seed, n=90)
    turn = np.radians(angle)
    x, y = (43650 + um) * np.cos(turn), (43650 + um) * np.sin(turn)
    for reference in Reference:
        before = fitted_circle(points_at(x, y), reference)
        after = fitted_circle(points_at(x + ex, y + ey), reference)
        assert after.radius == pytest.approx(before.radius, abs=2e-5)
        if reference in (Reference.LEAST_SQUARES, Reference.MINIMUM_ZONE):
            assert after.form == pytest.approx(before.form, abs=2e-5)
            assert (after.x - ex, after.y - ey) == pytest.approx((before.x, before.y), abs=1e-4)


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_each_reference_is_best_at_what_it_promises(seed):
    angle, um = rough(seed, n=120)
    points = points_around(angle, um, nominal_mm=50.0)
    circles = {r: fitted_circle(points, r) for r in Reference}
    assert min(c.form for c in circles.values()) == pytest.approx(circles[Reference.MINIMUM_ZONE].form)
    assert max(c.inner for c in circles.values()) == pytest.approx(circles[Reference.INSCRIBED].inner)
    assert min(c.outer for c in circles.values()) == pytest.approx(circles[Reference.CIRCUMSCRIBED].outer)


def test_the_order_of_the_points_does_not_matter():
    angle, um = rough(4)
    mixed = np.random.default_rng(5).permutation(len(um))
    for reference in Reference:
        ordered = fitted_circle(points_around(angle, um, nominal_mm=87.3), reference)
        shuffled = fitted_circle(points_around(angle[mixed], um[mixed], nominal_mm=87.3), reference)
        assert shuffled.radius == pytest.approx(ordered.radius, abs=1e-6)


def test_what_surrounds_no_circle_is_refused():
    with pytest.raises(NotEnoughData):
        points_at([0, 1, 2], [0, 1, 0])
    with pytest.raises(GapInReadings):
        points_at([0, 1, 2, np.nan], [0, 1, 0, 1])
    with pytest.raises(TypeError):
        points_at([0, 1, 2, 3], [0, 1, 2])
    half = points_around(TURN[:170], np.zeros(170), nominal_mm=50.0)
    for reference in ("inscribed", "circumscribed"):
        with pytest.raises(NoCircle, match="half a turn"):
            fitted_circle(half, reference)
    with pytest.raises(NoCircle):
        fitted_circle(points_at([0, 1, 2, 3], [0, 0, 0, 0]), "least-squares")


def test_half_a_section_still_has_a_zone():
    angle, um = TURN[:170], 2 * np.cos(np.radians(3 * TURN[:170]))
    found = fitted_circle(points_around(angle, um, nominal_mm=87.3), "minimum-zone")
    assert found.form == pytest.approx(programme(angle, um, 87.3, "minimum-zone", found), abs=1e-6)


def test_a_thousand_points_take_less_than_a_millisecond():
    angle, um = rough(2, n=1000, off=12.0)
    points = points_around(angle, um, nominal_mm=87.3)
    best = np.inf
    for _ in range(20):
        start = time.process_time()
        fitted_circle(points, "minimum-zone")
        best = min(best, time.process_time() - start)
    assert best < 1e-3
