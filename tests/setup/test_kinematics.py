"""Speeds, stroke and crosshatch against published rows and the worked examples of the trade."""

import json
from math import atan, degrees, pi
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.errors import WrongUsage
from cellmon.setup.kinematics import (
    Place,
    crosshatch_angle,
    rpm_by_shop_rule,
    rpm_for_angle,
    rpm_for_surface_speed,
    stroke_length,
    stroke_speed,
    strokes_for_angle,
    surface_speed,
)

CHECKS = json.loads((Path(__file__).parents[1] / "checks/bore_geometry.json").read_text())["checks"]
CROSSHATCH = [c for c in CHECKS if c["quantity"] == "crosshatch"]


# kinematics, derived; the formula as read in two public calculators
@pytest.mark.parametrize("row", CROSSHATCH, ids=lambda row: row["id"])
def test_crosshatch_agrees_with_the_rows(row):
    g, want, tol = row["inputs"], row["expected"], row["tol"]
    around = surface_speed(g["D_mm"], rpm=g["rpm"])
    along = g.get("va_m_min") or stroke_speed(g["stroke_mm"], strokes_per_min=g["double_strokes_per_min"])
    assert around == pytest.approx(want["v_tangential"], rel=0, abs=tol["v_tangential"])
    if "v_axial" in want:
        assert along == pytest.approx(want["v_axial"], rel=0, abs=tol["v_axial"])
        assert (along**2 + around**2) ** 0.5 == pytest.approx(
            want["v_resultant"], rel=0, abs=tol["v_resultant"]
        )
    angle = crosshatch_angle(along, around)
    assert angle == pytest.approx(want["angle_deg"], rel=0, abs=tol["angle_deg"])
    assert 180 - angle == pytest.approx(want["supplement_deg"], rel=0, abs=tol["supplement_deg"])


# worked example, derived: bore 87.3 x 140 mm, stones 70 mm, overrun 23 mm; half of the last digit
def test_the_worked_example_of_the_trade():
    assert surface_speed(87.3, rpm=180) == pytest.approx(49.4, abs=0.05)
    stroke = stroke_length(140, stone_mm=70, overrun_top_mm=23, overrun_bottom_mm=23)
    assert stroke == 116
    assert stroke_speed(stroke, strokes_per_min=88) == pytest.approx(20.4, abs=0.05)
    assert crosshatch_angle(20.4, 49.4) == pytest.approx(44.9, abs=0.05)
    assert crosshatch_angle(18.0, 49.4) == pytest.approx(40.1, abs=0.1)
    middle = stroke_speed(stroke, strokes_per_min=88, place="mid-stroke")
    assert crosshatch_angle(middle, surface_speed(87.3, rpm=180)) == pytest.approx(66, abs=0.5)


# the shop rule, common practice, no source: 349 rev/min and 96 m/min at 87.3 mm, 17 degrees by hand at 60
# double strokes of 116 mm, against about 122 rev/min for 45 degrees (worked example, derived)
def test_the_shop_rule_leaves_a_flat_crosshatch_by_hand():
    rpm = rpm_by_shop_rule(87.3)
    assert rpm == pytest.approx(349, abs=0.5)
    assert surface_speed(87.3, rpm=rpm) == pytest.approx(96, abs=0.5)
    by_hand = stroke_speed(116, strokes_per_min=60)
    assert crosshatch_angle(by_hand, surface_speed(87.3, rpm=rpm)) == pytest.approx(17, abs=0.5)
    assert rpm_for_angle(87.3, 45, stroke_mm=116, strokes_per_min=60) == pytest.approx(122, abs=1)
    assert rpm_by_shop_rule(25.4) == pytest.approx(1200)


# a hand or crank moves as a sine: its fastest is pi/2 of its mean
def test_mid_stroke_is_the_fastest_of_a_sine():
    swing = [0.5 * 100 * abs(2 * pi * 1.0) * 1e-3 * 60]  # mm, one double stroke a second, to m/min
    assert stroke_speed(100, strokes_per_min=60, place=Place.MID_STROKE) == pytest.approx(max(swing))


@settings(deadline=None)
@given(
    st.floats(20, 300),
    st.floats(10, 170),
    st.floats(10, 500),
    st.floats(5, 300),
    st.sampled_from(list(Place)),
)
def test_speeds_and_stroke_rates_lead_back_to_the_angle(diameter, angle, stroke, rate, place):
    rpm = rpm_for_angle(diameter, angle, stroke_mm=stroke, strokes_per_min=rate, place=place)
    along = stroke_speed(stroke, strokes_per_min=rate, place=place)
    assert crosshatch_angle(along, surface_speed(diameter, rpm=rpm)) == pytest.approx(angle)
    assert strokes_for_angle(diameter, angle, stroke_mm=stroke, rpm=rpm, place=place) == pytest.approx(rate)
    assert surface_speed(diameter, rpm=rpm_for_surface_speed(diameter, speed_m_min=30)) == pytest.approx(30)
    assert crosshatch_angle(1.0, 1.0) == pytest.approx(90) and degrees(atan(1)) == 45


def test_motions_that_cannot_be_are_refused():
    with pytest.raises(WrongUsage, match="leaves the bore"):
        stroke_length(140, stone_mm=70, overrun_top_mm=70, overrun_bottom_mm=20)
    with pytest.raises(WrongUsage, match="no stroke"):
        stroke_length(60, stone_mm=100, overrun_top_mm=20, overrun_bottom_mm=20)
    with pytest.raises(WrongUsage, match="between 0 and 180"):
        rpm_for_angle(87.3, 180, stroke_mm=116, strokes_per_min=60)
    with pytest.raises(WrongUsage, match="above 0"):
        rpm_by_shop_rule(0)
