"""Fitted distributions against a search of the likelihood, moments, and what they were drawn from."""

import numpy as np
import pytest
from scipy import stats

from cellmon.charts.fitted import fit_from_zero, fit_skewed
from cellmon.errors import NoSpread, NotEnoughData

LAWS = {
    "gamma": stats.gamma(4.0, scale=0.3),
    "Weibull": stats.weibull_min(2.0, scale=1.5),
    "lognormal": stats.lognorm(0.5, scale=0.8),
}


@pytest.mark.parametrize("name", LAWS)
def test_the_family_a_large_sample_came_from_is_chosen(name):
    x = LAWS[name].rvs(4000, random_state=np.random.default_rng(21))
    found = fit_from_zero(x)
    assert found.name == name
    for share in (0.001, 0.5, 0.999):
        assert found.distribution.ppf(share) == pytest.approx(LAWS[name].ppf(share), rel=0.12)


# the likelihood of a gamma on a grid of its two parameters, nothing else
def test_no_point_of_a_grid_is_likelier():
    x = LAWS["gamma"].rvs(300, random_state=np.random.default_rng(22))
    best = fit_from_zero(x).distribution.logpdf(x).sum()
    shape, scale = np.linspace(2, 8, 61)[:, None, None], np.linspace(0.1, 0.8, 71)[:, None]
    grid = stats.gamma.logpdf(x, shape, scale=scale).sum(axis=-1)
    assert best >= grid.max() - 1e-6


@pytest.mark.parametrize("skewness", [-0.8, 0.0, 1.4])
def test_the_skewed_law_has_the_moments_it_was_given(skewness):
    found = fit_skewed(12.0, 1.7, skewness).distribution
    mean, variance, third = found.stats("mvs")
    assert [mean, variance, third] == pytest.approx([12.0, 1.7**2, skewness])


def test_what_cannot_be_fitted_is_refused():
    x = LAWS["gamma"].rvs(60, random_state=np.random.default_rng(23))
    with pytest.raises(NotEnoughData, match="need at least 50, got 49"):
        fit_from_zero(x[:49])
    x[5] = 0.0
    with pytest.raises(NotEnoughData, match="above nought: need at least 60, got 59"):
        fit_from_zero(x)
    with pytest.raises(NoSpread):
        fit_from_zero(np.full(60, 2.0))
    with pytest.raises(NoSpread):
        fit_skewed(1.0, 0.0, 0.3)
