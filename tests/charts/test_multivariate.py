"""T-squared and MEWMA of points, against the definition."""

import numpy as np
import pytest
from scipy.stats import chi2, kstest

from cellmon.charts.multivariate import mewma, t_squared
from cellmon.errors import GapInReadings, NoSpread, NotEnoughData

MEAN = np.array([1.0, -2.0, 0.5])
COVARIANCE = np.array([[4.0, 1.0, 0.3], [1.0, 2.0, -0.4], [0.3, -0.4, 1.0]])


def points(count, seed=8):
    return np.random.default_rng(seed).multivariate_normal(MEAN, COVARIANCE, count)


# Hotelling's definition, one point at a time with an explicit inverse
def test_t_squared_is_the_definition():
    x = points(50)
    inverse = np.linalg.inv(COVARIANCE)
    expected = [(row - MEAN) @ inverse @ (row - MEAN) for row in x]
    assert t_squared(x, MEAN, COVARIANCE) == pytest.approx(expected)


def test_t_squared_of_an_unmoved_process_is_chi_square():
    assert kstest(t_squared(points(20_000), MEAN, COVARIANCE), chi2(3).cdf).pvalue > 0.001


# Lowry and others (1992), definition by recursion
def test_mewma_is_the_definition():
    x = points(60)
    steady = np.linalg.inv(COVARIANCE * 0.1 / 1.9)
    z, expected = np.zeros(3), []
    for row in x:
        z = 0.1 * (row - MEAN) + 0.9 * z
        expected.append(z @ steady @ z)
    assert mewma(x, 0.1, MEAN, COVARIANCE) == pytest.approx(expected)
    assert mewma(x, 1.0, MEAN, COVARIANCE) == pytest.approx(t_squared(x, MEAN, COVARIANCE))


def test_units_and_directions_of_features_change_nothing():
    x, turn = points(40), np.array([[1.0, 2.0, 0.0], [0.0, 1.0, -1.0], [3.0, 0.0, 1.0]])
    turned = mewma(x @ turn.T, 0.2, turn @ MEAN, turn @ COVARIANCE @ turn.T)
    assert turned == pytest.approx(mewma(x, 0.2, MEAN, COVARIANCE))


def test_points_and_covariances_that_are_none_are_refused():
    x = points(5)
    x[3, 1] = np.nan
    with pytest.raises(GapInReadings, match="position 3"):
        t_squared(x, MEAN, COVARIANCE)
    with pytest.raises(NotEnoughData):
        t_squared(np.empty((0, 3)), MEAN, COVARIANCE)
    with pytest.raises(TypeError, match="shapes"):
        t_squared(points(5), MEAN[:2], COVARIANCE)
    with pytest.raises(GapInReadings):
        t_squared(points(5), MEAN, np.full((3, 3), np.nan))
    for singular in (np.zeros((3, 3)), np.ones((3, 3))):
        with pytest.raises(NoSpread):
            t_squared(points(5), MEAN, singular)
    with pytest.raises(ValueError, match="weight"):
        mewma(points(5), 0.0, MEAN, COVARIANCE)
