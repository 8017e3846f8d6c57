"""Stones in the hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.sizing.truing import StoneTolerance, hand_stones

ASKED = StoneTolerance(flat_um=5.0, parallel_um=5.0, matched_um=8.0)


def test_crown_taper_and_height_are_told_apart():
    found = hand_stones([[3000, 3006, 3000], [3000, 3000, 2990], [3010, 3010, 3010]], ASKED)
    assert found.flat_um.tolist() == [6.0, 5.0, 0.0]
    assert found.parallel_um.tolist() == [0.0, 10.0, 0.0]
    assert (found.flat, found.parallel, found.matched) == (False, False, False)
    assert not found.fit
    assert found.take_off_um[1].tolist() == [5.0, 5.0, 0.0]


def test_what_is_not_named_is_not_asked():
    found = hand_stones([[3000, 2900], [3000, 2800]], StoneTolerance())
    assert (found.flat, found.parallel, found.matched) == (None, None, None)
    assert found.fit
    assert not found.take_off_um.any()
    assert found.to_even_um.max() == 200.0


@given(arrays(float, (2, 3), elements=st.floats(2900, 3000)))
def test_taking_off_what_is_said_makes_them_fit(um):
    found = hand_stones(um, ASKED)
    assert (found.take_off_um >= 0).all()
    assert hand_stones(um - found.take_off_um, ASKED).fit
    even = hand_stones(um - found.to_even_um, ASKED)
    assert np.allclose([even.apart_um, np.nanmax(np.abs(even.flat_um))], 0.0)


def test_a_stone_without_thickness_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        hand_stones([[3000, 0]], ASKED)
    with pytest.raises(TypeError, match="2 or 3 places"):
        hand_stones([[3000]], ASKED)
