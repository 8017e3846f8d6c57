"""T-squared and MEWMA of points, against the definition."""

import numpy as np
import pytest
from scipy.stats import chi2, kstest

from cellmon.charts.multivariate import (
    dependent_features,
    inside_covariance,
    mewma,
    parts_of_t_squared,
    t_squared,
    vector_ewma,
)
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


# NIST/SEMATECH e-Handbook 6.5.4.1, mean vector and covariance matrix (from memory): five points of three
# features; printed to five places
def test_covariance_agrees_with_the_worked_example():
    x = [[4.0, 2.0, 0.60], [4.2, 2.1, 0.59], [3.9, 2.0, 0.58], [4.3, 2.1, 0.62], [4.1, 2.2, 0.63]]
    printed = [[0.025, 0.0075, 0.00175], [0.0075, 0.0070, 0.00135], [0.00175, 0.00135, 0.00043]]
    assert inside_covariance(x, np.zeros(5, dtype=int)) == pytest.approx(np.array(printed), abs=0.5e-5)


def test_covariance_inside_is_the_mean_of_that_of_each_subgroup():
    x = points(60).reshape(12, 5, 3) + np.random.default_rng(3).normal(0, 40, (12, 1, 3))
    of_each = np.mean([np.cov(group.T) for group in x], axis=0)
    found = inside_covariance(x.reshape(60, 3), np.repeat(np.arange(12), 5))
    assert found == pytest.approx(of_each)


def test_subgroups_of_unlike_size_count_by_their_degrees_of_freedom():
    x, of = points(9), np.array([0, 0, 0, 0, 0, 0, 2, 2, 2])  # subgroup 1 has none
    expected = (5 * np.cov(x[:6].T) + 2 * np.cov(x[6:].T)) / 7
    assert inside_covariance(x, of) == pytest.approx(expected)


# Mason, Tracy and Young (1995): the last term is T-squared less that of all other features; here by
# computing both, with the covariance of what is left
def test_parts_are_what_t_squared_loses_without_a_feature():
    x = points(30) - MEAN
    found = parts_of_t_squared(x, COVARIANCE)
    whole = t_squared(x, np.zeros(3), COVARIANCE)
    for i in range(3):
        rest = [j for j in range(3) if j != i]
        without = t_squared(x[:, rest], np.zeros(2), COVARIANCE[np.ix_(rest, rest)])
        assert found.given_others[:, i] ** 2 == pytest.approx(whole - without, rel=1e-9, abs=1e-9)
        assert found.alone[:, i] == pytest.approx(x[:, i] / np.sqrt(COVARIANCE[i, i]))
        # the sign: above or below what a regression on the others predicts
        slope = np.linalg.solve(COVARIANCE[np.ix_(rest, rest)], COVARIANCE[rest, i])
        assert (np.sign(found.given_others[:, i]) == np.sign(x[:, i] - x[:, rest] @ slope)).all()


def test_features_made_of_others_are_named():
    x = points(200)
    three = np.cov(x.T)
    assert dependent_features(three).tolist() == []
    tied = np.cov(np.column_stack([x, x[:, 0] - 2 * x[:, 2]]).T)
    assert dependent_features(tied).tolist() == [0, 2, 3]
    still = np.cov(np.column_stack([x, np.full(200, 7.0)]).T)
    assert dependent_features(still).tolist() == [3]


def test_too_few_bores_have_no_covariance():
    with pytest.raises(NotEnoughData, match="need at least 3, got 2"):
        inside_covariance(points(4), [0, 0, 1, 1])
    x = points(6)
    x[4, 0] = np.inf
    with pytest.raises(GapInReadings, match="position 4"):
        inside_covariance(x, [0] * 6)


def test_weighted_vectors_are_the_ones_behind_the_mewma():
    x = points(40) - MEAN
    z = vector_ewma(x, 0.2) * np.sqrt(1.8 / 0.2)
    assert t_squared(z, np.zeros(3), COVARIANCE) == pytest.approx(mewma(x, 0.2, np.zeros(3), COVARIANCE))
    with pytest.raises(ValueError, match="weight"):
        vector_ewma(x, 0.0)
