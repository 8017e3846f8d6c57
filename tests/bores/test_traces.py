"""Filter, harmonics and lobes of traces, and what a two-point gauge sees, against values known exactly."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.bores.circles import fitted_circle, points_around
from cellmon.bores.traces import (
    GapInTrace,
    filtered_profile,
    gaussian_transmission,
    harmonics,
    lobes_words,
    named_lobes,
    two_point,
)
from cellmon.errors import GapInReadings, NotEnoughData

CHECKS = json.loads((Path(__file__).parents[1] / "checks/bore_geometry.json").read_text())["checks"]
TURN = np.arange(0.0, 360.0, 1.0)


def wave(order, height=3.0, at=TURN, crest=0.0):
    return height * np.cos(order * np.radians(at - crest))


# ISO 16610-21: derived from its weight function; half passes at the cut-off
def test_transmission_agrees_with_the_row():
    row = next(c for c in CHECKS if c["quantity"] == "gaussian_transmission")
    found = gaussian_transmission(row["inputs"]["upr"], cutoff_upr=row["inputs"]["cutoff_upr"])
    assert found == pytest.approx(row["expected"], rel=0, abs=1e-12)


@pytest.mark.parametrize("order", [0, 1, 3, 15, 50, 100])
def test_each_wave_passes_by_its_transmission(order):
    found = filtered_profile(TURN, wave(order), filter_upr=50)
    assert found.even and found.notes == ()
    assert found.um == pytest.approx(wave(order) * gaussian_transmission(order, cutoff_upr=50), abs=1e-9)


# independent: the weight function of ISO 16610-21 summed directly over the points of three turns
def test_the_filter_is_the_weight_function_laid_over_the_trace():
    um = np.random.default_rng(3).normal(0, 1, 720)
    angle = np.arange(720) / 2
    along = np.arange(-720, 720) / 720 * 50  # distance in waves of the cut-off
    alpha = np.sqrt(np.log(2) / np.pi)
    weight = np.exp(-np.pi * (along / alpha) ** 2) / alpha * 50 / 720
    tripled = np.concatenate((um, um, um))
    direct = np.array([tripled[720 + i - 720 : 720 + i + 720] @ weight for i in range(720)])
    assert filtered_profile(angle, um, filter_upr=50).um == pytest.approx(direct, abs=1e-6)


def test_points_in_any_order_and_turned_past_the_full_circle_are_the_same_trace():
    mixed = np.random.default_rng(2).permutation(360)
    found = filtered_profile(TURN[mixed] + 360 * (mixed % 2), wave(3)[mixed], filter_upr=50)
    assert found.angle_deg == pytest.approx(TURN)
    assert found.um == pytest.approx(filtered_profile(TURN, wave(3), filter_upr=50).um)


def test_a_point_given_twice_is_taken_at_its_mean_and_said():
    found = filtered_profile(np.append(TURN, 360.0), np.append(wave(2), 4.0), filter_upr=15)
    assert found.notes == ("1 angle stands twice: the mean radius is used",)
    assert len(found.um) == 360


def test_a_narrow_gap_is_bridged_and_said():
    keep = (TURN < 100) | (TURN > 103)
    found = filtered_profile(TURN[keep], wave(3)[keep], filter_upr=50)
    assert not found.even
    assert "points missing between 99 to 104 degrees" in found.notes[0]
    whole = filtered_profile(TURN, wave(3), filter_upr=50)
    assert found.um == pytest.approx(whole.um[keep], abs=0.1)
    forms = [
        fitted_circle(points_around(p.angle_deg, p.um, nominal_mm=87.3), "least-squares").form
        for p in (found, whole)
    ]
    assert forms[0] == pytest.approx(forms[1], rel=0.02)


def test_a_gap_as_wide_as_a_wave_is_refused():
    keep = (TURN < 100) | (TURN > 110)
    with pytest.raises(GapInTrace, match="99 to 111 degrees"):
        filtered_profile(TURN[keep], wave(3)[keep], filter_upr=50)
    assert filtered_profile(TURN[keep], wave(3)[keep], filter_upr=15).notes
    over_zero = (TURN > 4) & (TURN < 355)
    with pytest.raises(GapInTrace, match="354 to 5 degrees"):
        filtered_profile(TURN[over_zero], wave(3)[over_zero], filter_upr=50)


def test_too_few_points_for_the_filter_are_refused_or_said():
    with pytest.raises(NotEnoughData, match="need at least 101, got 90"):
        filtered_profile(TURN[::4], wave(3)[::4], filter_upr=50)
    found = filtered_profile(TURN[::2], wave(3)[::2], filter_upr=50)
    assert "coarse: 3.6 points per wave" in found.notes[0]
    with pytest.raises(GapInReadings):
        filtered_profile(TURN, np.where(TURN == 7, np.nan, 0.0), filter_upr=50)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(2, 15), st.floats(0.1, 5), st.floats(0, 359)), min_size=1, max_size=4),
    st.booleans(),
)
def test_harmonics_give_back_the_waves_put_in(waves, uneven):
    waves = list({order: (order, height, crest) for order, height, crest in waves}.values())
    angle = TURN + (0.3 * np.sin(np.radians(7 * TURN)) if uneven else 0.0)
    um = (
        sum(wave(order, height, angle, crest) for order, height, crest in waves)
        + 5
        + 2 * np.cos(np.radians(angle))
    )
    found = harmonics(filtered_profile(angle, um, filter_upr=150))
    passed = gaussian_transmission(np.arange(16), cutoff_upr=150)
    for order, height, crest in waves:
        at = found.order == order
        assert found.amplitude_um[at] == pytest.approx(height * passed[order], rel=0.02, abs=0.02)
        apart = (found.peak_deg[at] - crest + 180 / order) % (360 / order) - 180 / order
        assert apart == pytest.approx(0.0, abs=3.0 / order / height + 0.5)
    assert found.share.sum() == pytest.approx(1.0, abs=0.02)


def test_lobes_are_named_by_what_they_make_of_the_form():
    mixed = wave(2, 2.0) + wave(3, 1.5) + wave(7, 0.5) + wave(1, 9.0)
    found = named_lobes(harmonics(filtered_profile(TURN, mixed, filter_upr=50)))
    assert [lobe.words for lobe in found] == ["oval", "three lobes"]
    assert found[0].share == pytest.approx(4 / 6.5, abs=0.01)
    assert found[1].height_um == pytest.approx(3.0, abs=0.02)
    even = sum(wave(order, 1.0) for order in range(2, 9))
    assert named_lobes(harmonics(filtered_profile(TURN, even, filter_upr=50))) == ()
    assert named_lobes(harmonics(filtered_profile(TURN, np.zeros(360), filter_upr=50))) == ()
    assert lobes_words(7) == "seven lobes" and lobes_words(8) == "8 lobes"


# derived: the two-point size of r = R + a cos(n phi) is 2 R + a cos(n phi)(1 + (-1)^n)
@pytest.mark.parametrize(
    "row", [c for c in CHECKS if c["quantity"] == "lobed_profile"], ids=lambda row: row["id"]
)
def test_two_point_sizes_agree_with_the_rows(row):
    g, want = row["inputs"], row["expected"]
    angle = np.arange(g["N"]) * 360 / g["N"]
    profile = filtered_profile(angle, 1000 * wave(g["lobes"], g["a"], angle), filter_upr=30)
    found = two_point(profile, directions_deg=[0.0, 90.0])
    passed = float(gaussian_transmission(g["lobes"], cutoff_upr=30))
    low, high = (1000 * (want[f"two_point_d_{end}"] - 2 * g["R"]) for end in ("min", "max"))
    assert found.least_um == pytest.approx(low * passed, abs=1e-6)
    assert found.greatest_um == pytest.approx(high * passed, abs=1e-6)
    assert 2 * found.roundness_um == pytest.approx(1000 * want["ovality_two_point"] * passed, abs=1e-6)


# worked example: three lobes of 7 um on radius, every diameter equal, the plug 7 um smaller (derived)
def test_three_lobes_of_seven_are_seen_by_a_trace_and_a_plug_only():
    profile = filtered_profile(TURN, wave(3, 3.5), filter_upr=500 / 7)
    seen = two_point(profile, directions_deg=[0.0, 90.0])
    assert (seen.roundness_um, seen.greatest_um - seen.least_um) == pytest.approx((0.0, 0.0), abs=1e-9)
    points = points_around(profile.angle_deg, profile.um, nominal_mm=87.3)
    assert fitted_circle(points, "least-squares").form == pytest.approx(7.0, abs=0.02)
    assert 2 * (fitted_circle(points, "inscribed").radius - 43650) == pytest.approx(-7.0, abs=0.02)
