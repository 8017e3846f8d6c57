"""Deviates over an estimated spread, against scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cellmon.drift.deviates import ANY_SHAPE, as_normal, variance_ratio


def as_variance_ratio(ratio, df, known_df, *, to_df):
    """As judging asks: terms of the degrees of freedom worked out before."""
    term, to_term = np.asarray(2 / (9 * df)), np.asarray(2 / (9 * to_df))
    given_, known = np.asarray(ratio, dtype=float), np.asarray(known_df, dtype=float)
    return variance_ratio(
        given_, term, 1 - term, known, ANY_SHAPE, to_term=to_term, root_of_to=np.sqrt(to_term)
    )


# Differences met: the first column below, rounded up. Twenty subgroups and five of prior are the fewest a
# stream is learned from, so 24 degrees of freedom the fewest for a mean.
@pytest.mark.parametrize(("df", "allowed"), [(10, 0.012), (24, 0.004), (100, 4e-4), (500, 5e-5)])
def test_normal_deviates_have_the_tail_of_student(df, allowed):
    t = np.linspace(-6, 6, 241)
    exact = np.sign(t) * stats.norm.isf(stats.t.sf(np.abs(t), df))
    np.testing.assert_allclose(as_normal(t, df), exact, rtol=0, atol=allowed)


@given(st.floats(-50, 50), st.floats(1, 1e6))
def test_a_normal_deviate_is_odd_and_nearer_than_students(t, df):
    z = float(as_normal(t, df))
    assert z == -float(as_normal(-t, df))
    assert abs(z) <= abs(t) + 1e-12 and z * t >= 0


TAILS = np.array([0.5, 0.1, 0.01, 1e-3, 1e-4, 1e-5])


# Allowed: what the formula misses at worst on these tails. Of subgroups as large as usual under 2 % over a
# baseline of 20 (80 degrees of freedom); of those cut short up to 4 %.
@pytest.mark.parametrize(("df", "known", "allowed"), [(4, 80, 0.014), (4, 400, 0.0035), (4, 4000, 5e-4)])
def test_variance_ratios_lie_as_far_out_over_a_known_variance(df, known, allowed):
    ratio = stats.f.isf(TAILS, df, known)
    exact = stats.chi2.isf(TAILS, 4) / 4
    np.testing.assert_allclose(as_variance_ratio(ratio, df, known, to_df=4.0), exact, rtol=allowed)


@pytest.mark.parametrize(("df", "allowed"), [(1, 0.035), (2, 0.018), (9, 0.028)])
def test_variance_ratios_of_other_sizes_are_made_comparable(df, allowed):
    exact = stats.chi2.isf(TAILS, 4) / 4
    for known in (80, 400, 4000):
        ratio = stats.f.isf(TAILS, df, known)
        np.testing.assert_allclose(as_variance_ratio(ratio, df, known, to_df=4.0), exact, rtol=allowed)


@given(st.floats(0, 40), st.floats(0, 5), st.integers(1, 9), st.integers(40, 4000))
def test_a_larger_variance_stays_larger(ratio, more, df, known):
    low, high = as_variance_ratio([ratio, ratio + more], df, known, to_df=4.0)
    assert 0 <= low <= high
