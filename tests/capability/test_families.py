"""Families against an independent library, and their errors against simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cellmon.capability import unbounded
from cellmon.capability.families import (
    bayes_criterion,
    bias,
    column,
    covariance,
    divergence,
    gradient,
    in_rows,
    information_criterion,
    log_likelihood,
    parameter,
    placed,
    repeated,
    scored,
    transformed,
)
from cellmon.capability.levels import TWO_LEVELS, levels_family
from cellmon.capability.unbounded import HEAVY_TAILED, NORMAL, SHIFTED_LOGNORMAL
from cellmon.capability.zero_bounded import (
    FOLDED_NORMAL,
    GAMMA,
    HALF_NORMAL,
    LOGNORMAL,
    NAKAGAMI,
    RAYLEIGH,
    WEIBULL,
)

RNG = np.random.default_rng(7)
# parameters of ours, and the same population in scipy.stats (independent library)
SAME = [
    (NORMAL, [3.0, np.log(2.0)], stats.norm(3, 2)),
    (LOGNORMAL, [0.3, np.log(0.4)], stats.lognorm(0.4, scale=np.exp(0.3))),
    (HALF_NORMAL, [np.log(1.5)], stats.halfnorm(scale=1.5)),
    (RAYLEIGH, [np.log(1.5)], stats.rayleigh(scale=1.5)),
    (WEIBULL, [np.log(2.0), np.log(1.7)], stats.weibull_min(1.7, scale=2)),
    (GAMMA, [np.log(6.0), np.log(3.0)], stats.gamma(3, scale=2)),
    (NAKAGAMI, [np.log(4.0), np.log(1.5)], stats.nakagami(1.5, scale=2)),
    # level 3 and spread 2: size sqrt(13), fold (9 / 13)^2
    (FOLDED_NORMAL, [np.log(13) / 2, (9 / 13) ** 2], stats.foldnorm(1.5, scale=2)),
    # median 5, scale 1, skew 0.5: shift 5 - 1 / 0.5
    (SHIFTED_LOGNORMAL, [5.0, 0.0, 0.5], stats.lognorm(0.5, loc=3, scale=2)),
    (HEAVY_TAILED, [1.0, np.log(2.0), 0.2], stats.t(5, loc=1, scale=2)),
]
IDS = [family.name for family, _, _ in SAME]


@pytest.mark.parametrize(("family", "theta", "same"), SAME, ids=IDS)
def test_density_share_and_quantile_agree_with_an_independent_library(family, theta, same):
    p = np.array([0.00135, 0.1, 0.5, 0.9, 0.99865])
    x = same.ppf(p)
    at = np.array([theta])
    assert family.quantile(p[None], at)[0] == pytest.approx(x, rel=1e-8)
    assert family.cdf(x[None], at)[0] == pytest.approx(p, rel=1e-8)
    assert family.log_density(x[None], at)[0] == pytest.approx(same.logpdf(x), rel=1e-8)


# what scipy.stats fits with the place held at 0, as parameters of ours
FITTED = [
    (GAMMA, stats.gamma, lambda shape, scale: [np.log(shape * scale), np.log(shape)]),
    (WEIBULL, stats.weibull_min, lambda shape, scale: [np.log(scale), np.log(shape)]),
    (LOGNORMAL, stats.lognorm, lambda shape, scale: [np.log(scale), np.log(shape)]),
    (RAYLEIGH, stats.rayleigh, lambda scale: [np.log(scale)]),
    (HALF_NORMAL, stats.halfnorm, lambda scale: [np.log(scale)]),
]


@pytest.mark.parametrize(("family", "other", "ours"), FITTED, ids=[f.name for f, _, _ in FITTED])
def test_fits_agree_with_an_independent_library(family, other, ours):
    x = np.random.default_rng(3).gamma(2.5, 2.0, 200)
    *shape, _, scale = other.fit(x, floc=0)
    assert family.fit(x[None])[0] == pytest.approx(ours(*shape, scale), abs=2e-4)


@pytest.mark.parametrize(("family", "theta", "same"), SAME, ids=IDS)
def test_no_neighbour_is_likelier_than_the_fit(family, theta, same):
    x = same.rvs(300, random_state=np.random.default_rng(11))[None]
    fitted = family.fit(x)
    best = log_likelihood(family, x, fitted)[0]
    for which in range(fitted.shape[1]):
        for step in (-0.02, 0.02):
            moved = fitted.copy()
            moved[0, which] += step
            assert log_likelihood(family, x, moved)[0] <= best + 0.02  # the tail is fitted on a grid


def test_rows_are_fitted_apart():
    x = np.random.default_rng(5).gamma(2.0, size=(3, 80))
    for family in (GAMMA, WEIBULL, FOLDED_NORMAL, SHIFTED_LOGNORMAL):
        together = family.fit(x)
        for row in range(3):
            assert together[row] == pytest.approx(family.fit(x[row : row + 1])[0], abs=1e-6)


@given(st.floats(0.1, 50))
def test_scaling_the_bores_scales_the_fit(scale):
    x = np.random.default_rng(9).gamma(2.0, size=(1, 60))
    p = np.array([[0.1, 0.99865]])
    for family in (HALF_NORMAL, RAYLEIGH, WEIBULL, GAMMA, LOGNORMAL, FOLDED_NORMAL):
        plain, scaled = (family.quantile(p, family.fit(k * x)) for k in (1.0, scale))
        assert scaled == pytest.approx(scale * plain, rel=1e-5)


# errors of maximum likelihood: normal 1 and 1 / 2 (any text); Weibull Var(log shape) = 6 / pi^2 / n
@pytest.mark.parametrize(
    ("family", "theta", "which", "variance"),
    [
        (NORMAL, [0.0, 0.0], 0, 1.0),
        (NORMAL, [0.0, 0.0], 1, 0.5),
        (RAYLEIGH, [0.0], 0, 0.25),
        (HALF_NORMAL, [0.0], 0, 0.5),
        (WEIBULL, [0.0, 0.0], 1, 6 / np.pi**2),
    ],
)
def test_errors_are_those_of_the_texts(family, theta, which, variance):
    found = covariance(family, np.array([theta]))[0, which, which]
    assert found == pytest.approx(variance, rel=2e-3)


@pytest.mark.parametrize(
    ("family", "theta"),
    [(NORMAL, [0.0, 0.0]), (WEIBULL, [0.1, 0.4]), (GAMMA, [0.0, 1.0]), (SHIFTED_LOGNORMAL, [0.0, 0.0, 0.3])],
    ids=["normal", "Weibull", "gamma", "shifted lognormal"],
)
def test_bias_and_error_agree_with_simulation(family, theta):
    n, rows = 250, 1500
    at = np.repeat(np.array([theta]), rows, axis=0)
    fits = family.fit(family.quantile(np.random.default_rng(21).random((rows, n)), at))
    error = fits.std(axis=0)
    assert n * (fits.mean(axis=0) - at[0]) == pytest.approx(
        bias(family, at[:1], covariance(family, at[:1]))[0], abs=4 * n * float(error.max()) / np.sqrt(rows)
    )
    told = np.sqrt(np.diagonal(covariance(family, at[:1])[0]) / n)
    assert error == pytest.approx(told, rel=0.07)  # first order, and the chance of 1,500 samples


def test_divergence_of_two_normals():
    # log(s2 / s1) + (s1^2 + (m1 - m2)^2) / (2 s2^2) - 1 / 2 (any text)
    one, other = np.array([[0.0, 0.0]]), np.array([[0.5, np.log(1.3)]])
    exact = np.log(1.3) + (1 + 0.25) / (2 * 1.69) - 0.5
    assert divergence(NORMAL, one, other)[0] == pytest.approx(exact, rel=1e-6)


def test_criteria_follow_their_definitions():
    x = np.random.default_rng(2).normal(size=(1, 50))
    theta = NORMAL.fit(x)
    twice = -2 * stats.norm.logpdf(x, theta[0, 0], np.exp(theta[0, 1])).sum()
    assert information_criterion(NORMAL, x, theta)[0] == pytest.approx(twice + 4 + 12 / 47)
    assert bayes_criterion(NORMAL, x, theta)[0] == pytest.approx(twice + 2 * np.log(50))


def test_scores_and_places_undo_each_other():
    theta, scores = np.array([[3.0, np.log(2.0)], [-1.0, 0.0]]), np.array([[-1.0, 0.5], [0.0, 2.0]])
    values = placed(scores, theta)
    assert values.tolist() == [[1.0, 4.0], [-1.0, 1.0]]
    assert scored(values, theta) == pytest.approx(scores)
    assert parameter(1)(theta).tolist() == theta[:, 1].tolist()
    assert in_rows(np.array([[0.1, 0.9]]), theta).tolist() == [[0.1, 0.9], [0.1, 0.9]]


# change of variable: cube roots of gamma values, whose density integrates to 1
def test_a_transformed_family_is_the_first_one_of_transformed_values():
    cubed = transformed(
        GAMMA,
        name="cube root of gamma",
        parameters=("a", "b"),
        to=lambda x: x**3,
        back=np.cbrt,
        log_slope=lambda x: np.log(3 * x * x),
    )
    theta, x = np.array([[0.5, 1.0]]), np.linspace(1e-4, 4, 20_001)[None]
    density = np.exp(cubed.log_density(x, theta))[0]
    assert np.trapezoid(density, x[0]) == pytest.approx(1, abs=1e-6)
    assert cubed.cdf(cubed.quantile(np.array([[0.2, 0.7]]), theta), theta)[0] == pytest.approx([0.2, 0.7])
    assert cubed.fit(x) == pytest.approx(GAMMA.fit(x**3))
    assert cubed.of is GAMMA


def test_derivatives_and_columns():
    theta = np.array([[2.0, 3.0]])
    assert column(theta, 1).tolist() == [[3.0]]
    slopes = gradient(lambda t: t[:, 0] ** 2 * t[:, 1], theta)
    assert slopes[0] == pytest.approx([12.0, 4.0], rel=1e-6)
    theta, own = np.array([[2.0, 3.0], [1.0, 5.0]]), np.array([[10.0, 1.0], [100.0, 2.0]])
    slopes = gradient(lambda t: t[:, :1] * t[:, 1:] * repeated(own, t), theta)
    assert slopes == pytest.approx(np.array([[[30, 3], [20, 2]], [[500, 10], [100, 2]]]), rel=1e-9)


@pytest.mark.parametrize("family", [NORMAL, SHIFTED_LOGNORMAL, GAMMA, FOLDED_NORMAL, TWO_LEVELS])
def test_errors_and_bias_of_rows_are_those_of_each_alone(family):
    x = np.random.default_rng(6).gamma(2.0, size=(3, 80))
    theta = family.fit(x)

    def own_bias(family, theta):
        return bias(family, theta, covariance(family, theta))

    for found in (covariance, own_bias):
        each = np.concatenate([found(family, theta[row : row + 1]) for row in range(3)])
        assert found(family, theta) == pytest.approx(each, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("n", [12, 60, 1500])
def test_tails_left_untried_would_not_have_been_the_likeliest(n, monkeypatch):
    rng = np.random.default_rng(n)
    two = np.where(rng.random(n) < 0.5, 0.0, 6.0) + rng.normal(size=n)
    samples = [rng.normal(size=n), rng.standard_t(3, size=n), rng.gamma(2, size=n), rng.uniform(size=n), two]
    stopped = [HEAVY_TAILED.fit(x[None]) for x in samples]
    monkeypatch.setattr(unbounded, "_FALLEN", np.inf)
    assert np.array_equal(stopped, [HEAVY_TAILED.fit(x[None]) for x in samples])


def test_levels_are_found_again():
    rng = np.random.default_rng(4)
    x = rng.normal(size=(1, 2000)) + np.where(rng.random((1, 2000)) < 0.4, 4.0, 0.0)
    low, high, log_sd, ratio = TWO_LEVELS.fit(x)[0]
    assert (low, high) == pytest.approx((0.0, 4.0), abs=0.15)
    assert (np.exp(log_sd), np.exp(ratio)) == pytest.approx((1.0, 0.4 / 0.6), rel=0.1)


def test_levels_have_the_shares_of_their_parts():
    theta = np.array([[0.0, 3.0, 6.0, 0.0, 0.0, np.log(2.0)]])
    family = levels_family(3)
    x = np.array([[-1.0, 2.0, 7.0]])
    shares = np.array([0.25, 0.25, 0.5])
    exact = sum(w * stats.norm.cdf(x, m) for w, m in zip(shares, (0, 3, 6), strict=True))
    assert family.cdf(x, theta) == pytest.approx(exact)
    assert family.quantile(exact, theta) == pytest.approx(x, abs=1e-8)
    density = np.log(sum(w * stats.norm.pdf(x, m) for w, m in zip(shares, (0, 3, 6), strict=True)))
    assert family.log_density(x, theta) == pytest.approx(density)
