"""Form of bores from two-point readings, against shapes whose form is known exactly."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.bores.form import two_point_features
from cellmon.bores.layout import taper_factor

ROWS = [
    c
    for c in json.loads((Path(__file__).parents[1] / "checks/bore_geometry.json").read_text())["checks"]
    if c["quantity"] == "lobed_profile"
]
LAYOUT = {"depths_mm": [15.0, 70.0, 125.0], "angles_deg": [0.0, 90.0]}
READINGS = arrays(np.float64, (5, 3, 2), elements=st.floats(-50, 50))
NAMES = ("taper", "barrel", "twist", "ovality", "ovality_worst", "roundness", "size_range")


# exact for r = R + a cos(lobes t): two-point sizes see 4a of an even number of lobes, nothing of an odd
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_diameters_of_a_lobed_bore_give_its_two_point_sizes(row):
    g, expected = row["inputs"], row["expected"]
    degrees = np.arange(0.0, 180.0, 1.0)
    t = np.radians(degrees)
    diameter = 2 * g["R"] + g["a"] * (np.cos(g["lobes"] * t) + np.cos(g["lobes"] * (t + np.pi)))
    um = ((diameter - 2 * g["R"]) * 1000).reshape(1, 1, -1)
    found = two_point_features(um, depths_mm=[70.0], angles_deg=degrees)
    slack = 1000 * row["tol"]["two_point_d_min"]
    assert found.size_range[0] == pytest.approx(1000 * expected["ovality_two_point"], abs=slack)
    assert found.roundness[0] == pytest.approx(500 * expected["ovality_two_point"], abs=slack)
    assert found.least[0] / 1000 + 2 * g["R"] == pytest.approx(
        expected["two_point_d_min"], abs=row["tol"]["two_point_d_min"]
    )
    assert found.greatest[0] / 1000 + 2 * g["R"] == pytest.approx(
        expected["two_point_d_max"], abs=row["tol"]["two_point_d_max"]
    )
    if g["lobes"] == 2:  # roundness of a pure oval is half its diametral ovality (ISO 12181, radial)
        assert found.ovality[0] == pytest.approx(1000 * expected["ovality_two_point"], abs=slack)
        assert found.roundness[0] == pytest.approx(1000 * expected["ls_roundness"], abs=slack)


@given(READINGS)
def test_sizes_agree_with_the_plain_formulas(um):
    found, flat = two_point_features(um, **LAYOUT), um.reshape(5, 6)
    assert found.average == pytest.approx(flat.mean(axis=1), abs=1e-9)
    assert found.least == pytest.approx(flat.min(axis=1), abs=1e-9)
    assert found.greatest == pytest.approx(flat.max(axis=1), abs=1e-9)
    assert found.mid_range == pytest.approx((flat.min(axis=1) + flat.max(axis=1)) / 2, abs=1e-9)


def test_a_bore_that_lacks_a_reading_has_no_size():
    um = np.arange(12.0).reshape(2, 3, 2)
    um[0, 1, 0] = np.nan
    found = two_point_features(um, **LAYOUT)
    for sizes in (found.average, found.least, found.greatest, found.mid_range, found.size_range):
        assert np.isnan(sizes).tolist() == [True, False]


def test_signs_follow_the_definitions():
    # top wider than bottom, waist in the middle, long axis along the lower angle at the top only
    um = np.array([[[10.0, 6.0], [1.0, 1.0], [2.0, 4.0]]])
    found = two_point_features(um, **LAYOUT)
    assert found.taper[0] == 8 - 3
    assert found.barrel[0] == 1 - (8 + 3) / 2
    assert (found.ovality[0], found.ovality_worst[0], found.twist[0]) == (pytest.approx(2 / 3), 4, 6)
    assert (found.roundness[0], found.size_range[0], found.mid_range[0]) == (2, 9, 5.5)
    assert (found.average[0], found.least[0], found.greatest[0]) == (4, 1, 10)


def test_order_of_planes_and_directions_does_not_matter():
    um = np.random.default_rng(0).normal(size=(50, 4, 3))
    depths, angles = [10.0, 60.0, 80.0, 130.0], [0.0, 60.0, 120.0]
    plain = two_point_features(um, depths_mm=depths, angles_deg=angles)
    turned = two_point_features(
        um[:, ::-1, [2, 0, 1]], depths_mm=depths[::-1], angles_deg=[angles[2], angles[0], angles[1]]
    )
    for name in (*NAMES, "ovality_along", "ovality_across", "ovality_angle_deg", "average"):
        assert getattr(turned, name) == pytest.approx(getattr(plain, name), abs=1e-9), name


@pytest.mark.parametrize("angles", [[0, 60, 120], [0, 45, 90, 135], [10, 40, 100, 130, 170]])
def test_an_oval_is_found_with_its_size_and_direction(angles):
    long_axis, oval = 25.0, 6.0
    turn = np.radians(2 * (np.array(angles) - long_axis))
    um = np.broadcast_to(3.0 + oval / 2 * np.cos(turn), (2, 2, len(angles)))
    found = two_point_features(um, depths_mm=[15, 125], angles_deg=angles)
    assert found.ovality == pytest.approx([oval, oval])
    assert found.ovality_worst == pytest.approx([oval, oval])
    assert found.ovality_angle_deg == pytest.approx([long_axis, long_axis])
    assert found.twist == pytest.approx([0, 0], abs=1e-12)


def test_two_directions_see_nothing_of_an_oval_at_45_degrees():
    angles = np.array([0.0, 90.0])
    um = np.broadcast_to(4 * np.cos(np.radians(2 * (angles - 45))), (1, 3, 2))
    assert two_point_features(um, **LAYOUT).ovality == pytest.approx([0.0], abs=1e-12)


def test_four_directions_agree_with_two_on_what_both_see():
    um = np.random.default_rng(1).normal(size=(20, 3, 4))
    four = two_point_features(um, depths_mm=[15, 70, 125], angles_deg=[0, 45, 90, 135])
    two = two_point_features(um[:, :, ::2], **LAYOUT)
    assert four.ovality_along == pytest.approx(two.ovality)
    assert four.twist == pytest.approx(two.twist)


@given(READINGS, st.floats(-20, 20), st.floats(0.1, 5))
def test_shift_moves_sizes_only_and_scale_scales_all(um, shift, scale):
    before, after = two_point_features(um, **LAYOUT), two_point_features(um * scale + shift, **LAYOUT)
    for name in ("average", "least", "greatest", "mid_range"):
        assert getattr(after, name) == pytest.approx(getattr(before, name) * scale + shift, abs=1e-9)
    for name in NAMES:
        if name != "ovality_worst":
            assert getattr(after, name) == pytest.approx(getattr(before, name) * scale, abs=1e-9)
    assert np.abs(after.ovality_worst) == pytest.approx(np.abs(before.ovality_worst) * scale, abs=1e-9)


@given(READINGS)
def test_two_directions_restate_ovality_as_roundness(um):
    found = two_point_features(um, **LAYOUT)
    assert found.roundness == pytest.approx(np.abs(found.ovality_worst) / 2)
    assert found.ovality_along is found.ovality


@pytest.mark.parametrize("cell", [(0, 0), (1, 1), (2, 0)])
def test_a_missing_reading_takes_only_what_needs_it(cell):
    um = np.random.default_rng(2).normal(size=(3, 3, 2))
    whole = two_point_features(um, **LAYOUT)
    um[1][cell] = np.nan
    found = two_point_features(um, **LAYOUT)
    for name in (*NAMES, "average", "least", "greatest", "mid_range"):
        needs = not (cell[0] == 1 and name in ("taper", "twist"))
        assert np.isnan(getattr(found, name)[1]) == needs, name
        assert getattr(found, name)[[0, 2]] == pytest.approx(getattr(whole, name)[[0, 2]])


def test_what_the_layout_cannot_give_is_nan():
    one = two_point_features(np.ones((2, 1, 1)), depths_mm=[70], angles_deg=[0])
    for name in ("taper", "barrel", "twist", "ovality", "roundness", "ovality_across"):
        assert np.isnan(getattr(one, name)).all(), name
    assert one.size_range.tolist() == [0, 0]
    skew = two_point_features(np.ones((1, 2, 2)), depths_mm=[15, 125], angles_deg=[0, 60])
    assert np.isnan(skew.ovality).all()
    assert np.isnan(skew.barrel).all()
    assert skew.roundness[0] == 0
    empty = two_point_features(np.ones((0, 3, 2)), **LAYOUT)
    assert len(empty.taper) == 0


def test_barrel_takes_the_plane_nearest_half_depth():
    um = np.zeros((1, 4, 1))
    um[0, :, 0] = [0, 5, 7, 0]
    depths = [10.0, 50.0, 80.0, 110.0]
    assert two_point_features(um, depths_mm=depths, angles_deg=[0]).barrel[0] == 5  # midway is 60
    assert (
        two_point_features(um, depths_mm=depths, angles_deg=[0], length_mm=150.0).barrel[0] == 7
    )  # half is 75


def test_taper_is_stated_over_the_length_asked_for():
    um = np.array([[[11.0], [0.0]]])
    depths = [15.0, 125.0]

    def taper(over, length_mm=None):
        return two_point_features(um, depths_mm=depths, angles_deg=[0], length_mm=length_mm, over=over).taper[
            0
        ]

    assert (taper("measured"), taper("per_100mm")) == (11.0, pytest.approx(10.0))
    assert taper("whole", 140.0) == pytest.approx(14.0)
    assert np.isnan(taper("whole"))
    with pytest.raises(ValueError, match="per_100mm"):
        taper_factor(depths, over="somewhere")


def test_blocks_join_without_a_seam():
    um = np.random.default_rng(3).normal(size=(20_000, 3, 2))
    all_, some = two_point_features(um, **LAYOUT), two_point_features(um[8000:9000], **LAYOUT)
    for name in (*NAMES, "average"):
        assert getattr(all_, name)[8000:9000] == pytest.approx(getattr(some, name))


def test_a_wrong_shape_is_a_coding_slip():
    with pytest.raises(TypeError, match="planes"):
        two_point_features(np.ones((2, 3)), **LAYOUT)
    with pytest.raises(TypeError, match="depths"):
        two_point_features(np.ones((2, 2, 2)), **LAYOUT)


def test_only_what_is_asked_is_worked_and_is_what_it_is_among_all():
    um = np.random.default_rng(4).normal(size=(9000, 3, 2))
    all_ = two_point_features(um, **LAYOUT)
    for name in (*NAMES, "average", "least", "mid_range", "ovality_along"):
        found = two_point_features(um, **LAYOUT, only=(name,))
        assert np.array_equal(getattr(found, name), getattr(all_, name)), name
    assert np.isnan(two_point_features(um, **LAYOUT, only=("taper",)).roundness).all()
    with pytest.raises(ValueError, match="no feature of a bore: tapper"):
        two_point_features(um, **LAYOUT, only=("tapper",))
