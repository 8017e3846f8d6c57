"""When a spread grew: the likelihood written out, the range that holds the moment, and how large it is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from cellmon.drift.spread import RATIOS, spread_change
from cellmon.errors import GapInReadings, NotEnoughData

DF = 4


def ratios(rng, before, after, ratio, count):
    v = rng.chisquare(DF, (count, before + after)) / DF
    v[:, before:] *= ratio**2
    return v


@given(arrays(float, st.integers(1, 30), elements=st.floats(0.01, 30)), st.integers(1, 9))
def test_the_moment_has_the_largest_likelihood_of_gamma_variables(v, df):
    # scipy.stats.gamma: a variance ratio of df degrees has shape df / 2 and scale 2 r^2 / df
    found = spread_change(v, df)
    usual = stats.gamma.logpdf(v, df / 2, scale=2 / df)
    wide = np.array([stats.gamma.logpdf(v, df / 2, scale=2 * r**2 / df) for r in RATIOS])
    logs = np.array([usual[:i].sum() + wide[:, i:].sum(axis=1) for i in range(len(v))])
    likelihood = np.exp(logs - logs.max()).sum(axis=1)
    assert likelihood[found.index] == pytest.approx(max(likelihood), rel=1e-9)
    chance = np.cumsum(likelihood) / np.sum(likelihood)
    assert found.earliest <= found.index <= found.latest < len(v)
    assert found.earliest == 0 or chance[found.earliest - 1] <= 0.05 + 1e-9
    assert chance[found.latest] >= 0.95 - 1e-9
    assert found.ratio == pytest.approx(np.sqrt(v[found.index :].mean()))


@given(arrays(float, 12, elements=st.floats(0.01, 30)), st.floats(0.5, 0.99))
def test_a_wider_coverage_gives_no_shorter_range(v, coverage):
    narrow, wide = spread_change(v, DF, coverage=coverage), spread_change(v, DF, coverage=0.995)
    assert wide.earliest <= narrow.earliest and narrow.latest <= wide.latest


# Simulated, 1,000 series each, seed 31. The range is built for 95 % each side under a flat prior over moment
# and ratio; standard error of a share 0.7 %.
@pytest.mark.parametrize(("ratio", "after"), [(1.5, 15), (2.0, 8), (3.0, 4)])
def test_the_range_holds_the_true_moment(ratio, after):
    found = [spread_change(v, DF) for v in ratios(np.random.default_rng(31), 40, after, ratio, 1000)]
    early = np.mean([f.earliest <= 40 for f in found])
    late = np.mean([f.latest >= 40 for f in found])
    assert early > 0.93 and late > 0.93
    assert np.median([abs(f.index - 40) for f in found]) <= 2
    assert np.median([f.ratio for f in found]) == pytest.approx(ratio, rel=0.12)


def test_a_series_with_a_gap_or_without_a_point_is_refused():
    with pytest.raises(GapInReadings):
        spread_change([1.0, np.nan, 2.0], DF)
    with pytest.raises(NotEnoughData):
        spread_change([], DF)
