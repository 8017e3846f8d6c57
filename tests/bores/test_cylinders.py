"""Cylinders through several planes against forms known exactly and a linear programme on every point."""

import numpy as np
import pytest
from scipy.optimize import linprog

from cellmon.bores.circles import NoCircle, Reference
from cellmon.bores.cylinders import fitted_cylinder
from cellmon.errors import GapInReadings, NotEnoughData

ANGLE = np.tile(np.arange(0.0, 360.0), 3)
DEPTH = np.repeat([15.0, 70.0, 125.0], 360)
TURN = np.radians(ANGLE)


def fit(um, reference, angle=ANGLE, depth=DEPTH):
    return fitted_cylinder(angle, depth, um, nominal_mm=87.3, reference=reference)


def rough(seed):
    rng = np.random.default_rng(seed)
    lean = (DEPTH - 40) / 50
    um = 4 * np.cos(TURN - 1) + 6 * lean * np.cos(TURN + rng.uniform(0, 6)) + 2 * lean
    for order in (2, 3):
        um += rng.uniform(0, 2) * np.cos(order * TURN - rng.uniform(0, 6))
    return um + rng.normal(0, 0.3, len(um))


# derived: three lobes of 6 um about a cone of 4 um on radius; no lean helps, by the symmetry of thirds
@pytest.mark.parametrize("reference", list(Reference))
def test_a_lobed_cone_has_the_height_of_lobes_and_cone(reference):
    found = fit(3 * np.cos(3 * TURN) + (DEPTH - 70) / 55 * 2, reference)
    assert found.form == pytest.approx(10.0, abs=1e-5)
    radius = {"inscribed": -5.0, "circumscribed": 5.0}.get(reference.value, 0.0)
    assert found.radius == pytest.approx(radius, abs=1e-4)


@pytest.mark.parametrize("reference", list(Reference))
def test_a_leaning_cylinder_is_straight(reference):
    x, y = 12 + 5 * (DEPTH - 70) / 55, -6 + 9 * (DEPTH - 70) / 55
    um = x * np.cos(TURN) + y * np.sin(TURN)
    um = um - (x * np.sin(TURN) - y * np.cos(TURN)) ** 2 / (2 * 43650)  # the circle's own curve
    found = fit(um, reference)
    assert found.form == pytest.approx(0.0, abs=1e-3)
    assert (found.top_x, found.top_y) == pytest.approx((7.0, -15.0), abs=0.02)
    assert (found.bottom_x, found.bottom_y) == pytest.approx((17.0, 3.0), abs=0.02)


# derived: a bent axis keeps every size and takes from the plug what it bends (derived)
def test_a_bent_axis_shows_in_the_cylinder_and_in_no_size():
    bent = np.where(DEPTH == 70.0, 6.0, 0.0) * np.cos(TURN)
    found = fit(bent, "minimum-zone")
    assert found.form == pytest.approx(6.0, abs=0.01)
    assert fit(bent, "inscribed").radius == pytest.approx(-3.0, abs=0.01)


# independent: scipy's linear programme (HiGHS) with all points at once, about the axis found
@pytest.mark.parametrize("reference", ["minimum-zone", "inscribed", "circumscribed"])
@pytest.mark.parametrize("seed", range(4))
def test_extreme_cylinders_agree_with_a_linear_programme(seed, reference):
    um = rough(seed)
    found = fit(um, reference)
    lean = (DEPTH - 15) / 110
    x = (43650 + um) * np.cos(TURN) - found.top_x - lean * (found.bottom_x - found.top_x)
    y = (43650 + um) * np.sin(TURN) - found.top_y - lean * (found.bottom_y - found.top_y)
    d, u = (
        np.hypot(x, y) - 43650,
        np.stack((np.cos(TURN), np.sin(TURN), lean * np.cos(TURN), lean * np.sin(TURN)), 1),
    )
    one, none = np.ones(len(um)), np.zeros(len(um))
    cost = {"minimum-zone": [-1, 1], "inscribed": [-1, 0], "circumscribed": [0, 1]}[reference]
    best = linprog(
        [0, 0, 0, 0, *cost],
        A_ub=np.vstack((np.column_stack((-u, none, -one)), np.column_stack((u, one, none)))),
        b_ub=np.concatenate((-d, d)),
        bounds=[(None, None)] * 6,
    ).fun
    mine = {"minimum-zone": found.form, "inscribed": -found.radius, "circumscribed": found.radius}[reference]
    assert mine == pytest.approx(best, abs=2e-3)


def test_each_reference_is_best_at_what_it_promises():
    cylinders = {r: fit(rough(9), r) for r in Reference}
    assert min(c.form for c in cylinders.values()) == pytest.approx(
        cylinders[Reference.MINIMUM_ZONE].form, abs=1e-4
    )
    assert max(c.inner for c in cylinders.values()) == pytest.approx(
        cylinders[Reference.INSCRIBED].inner, abs=2e-3
    )
    assert min(c.outer for c in cylinders.values()) == pytest.approx(
        cylinders[Reference.CIRCUMSCRIBED].outer, abs=2e-3
    )


def test_what_surrounds_no_cylinder_is_refused():
    with pytest.raises(NotEnoughData, match="planes"):
        fit(np.zeros(360), "least-squares", ANGLE[:360], DEPTH[:360])
    with pytest.raises(NotEnoughData, match="points"):
        fit(np.zeros(4), "least-squares", ANGLE[:4], np.array([1.0, 2.0, 3.0, 4.0]))
    with pytest.raises(GapInReadings):
        fit(np.where(np.arange(1080) == 5, np.nan, 0.0), "least-squares")
    with pytest.raises(TypeError):
        fit(np.zeros(5), "least-squares")
    half = ANGLE < 150
    with pytest.raises(NoCircle):
        fit(np.zeros(half.sum()), "inscribed", ANGLE[half], DEPTH[half])
