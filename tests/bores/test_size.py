"""Rank-order sizes against the plain formulas."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.bores.size import SizeKind, size


@given(arrays(np.float64, (4, 2, 3), elements=st.floats(-50, 50)))
def test_sizes_agree_with_the_plain_formulas(um):
    flat = um.reshape(4, 6)
    plain = {
        "average": flat.mean(axis=1),
        "least": flat.min(axis=1),
        "greatest": flat.max(axis=1),
        "mid-range": (flat.min(axis=1) + flat.max(axis=1)) / 2,
        "median": np.median(flat, axis=1),
        "range": np.ptp(flat, axis=1),
        "sd": flat.std(axis=1, ddof=1),
    }
    assert set(plain) == {str(kind) for kind in SizeKind}
    for kind, expected in plain.items():
        assert size(um, kind) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("kind", list(SizeKind))
def test_a_bore_that_lacks_a_reading_has_no_size(kind):
    um = np.arange(12.0).reshape(2, 3, 2)
    um[0, 1, 0] = np.nan
    assert np.isnan(size(um, kind)).tolist() == [True, False]


def test_a_single_reading_has_no_deviation():
    assert np.isnan(size(np.ones((2, 1, 1)), "sd")).all()
    with pytest.raises(ValueError, match="largest"):
        size(np.ones((2, 1, 1)), "largest")
