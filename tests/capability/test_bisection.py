"""Roots of many rows at once, against roots known in closed form."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.capability.bisection import bisected


@given(arrays(float, (3, 4), elements=st.floats(0, 1e6)))
def test_square_roots_are_found_in_every_row(square):
    low, high = np.zeros(square.shape), np.full(square.shape, 1001.0)
    found = bisected(lambda x: x * x < square, low=low, high=high, rounds=60)
    assert found == pytest.approx(np.sqrt(square), rel=1e-9, abs=1e-9)


# definition: so many halvings leave 2^-rounds of the interval
@pytest.mark.parametrize("rounds", [0, 1, 7, 20])
def test_what_is_left_is_halved_each_round(rounds):
    found = bisected(lambda x: x < 0.3, low=np.zeros(1), high=np.ones(1), rounds=rounds)
    assert abs(found[0] - 0.3) <= 2.0 ** -(rounds + 1)


def test_the_ends_given_are_left_as_they_are():
    low, high = np.zeros(2), np.ones(2)
    bisected(lambda x: x < 0.3, low=low, high=high, rounds=5)
    assert low.tolist() == [0.0, 0.0] and high.tolist() == [1.0, 1.0]
