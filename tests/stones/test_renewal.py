"""Sets used up: against the renewal functions that have a closed form, and against drawn lives."""

import numpy as np
import pytest
from scipy.stats import gamma, invgauss, poisson, uniform

from tests.stones.renewal import renewal_counts, with_breakage


def mean(chances):
    return float(np.arange(len(chances)) @ chances)


def variance(chances):
    return float((np.arange(len(chances)) - mean(chances)) ** 2 @ chances)


# Cox, Renewal Theory (1962), section 2: lives that do not age give a Poisson count. From memory.
@pytest.mark.parametrize("bores", [0.5, 3.0, 12.0])
def test_lives_that_do_not_age_are_counted_as_poisson(bores):
    counts = renewal_counts(lambda x: -np.expm1(-x), lambda x: -np.expm1(-x), bores=bores)
    assert counts == pytest.approx(poisson.pmf(np.arange(len(counts)), bores), abs=1e-6)


# Cox (1962), section 4.2: two exponential stages, M(t) = t/2 - 1/4 + exp(-2t)/4. Lives even on (0, 1):
# M(t) = exp(t) - 1 for t up to 1 (Feller, An Introduction to Probability Theory II (1971), XI). From memory.
def test_renewal_functions_with_a_closed_form_are_met():
    for t in (0.5, 2.0, 8.0):
        two = renewal_counts(lambda x: gamma.cdf(x, 2), lambda x: gamma.cdf(x, 2), bores=t)
        assert mean(two) == pytest.approx(t / 2 - 0.25 + np.exp(-2 * t) / 4, abs=2e-6)
    even = renewal_counts(uniform.cdf, uniform.cdf, bores=1.0)
    assert mean(even) == pytest.approx(np.e - 1, abs=2e-4)


# Lives that are first passages: n of them in a row are again inverse Gaussian, with n times the mean and n
# squared times the shape (Chhikara and Folks, Technometrics 19 (1977), from memory), so that the renewal
# function is a sum of distributions; scipy.stats.invgauss is the independent library.
@pytest.mark.parametrize(("cv", "bores"), [(0.05, 30_000), (0.1, 30_000), (0.3, 50_000), (0.8, 20_000)])
def test_renewals_of_first_passages_are_the_sum_of_inverse_gaussians(cv, bores):
    life = 8700.0
    shape = life / cv**2

    def passed(x, n=1):
        return invgauss.cdf(x, n * life / (n**2 * shape), scale=n**2 * shape)

    counts = renewal_counts(passed, passed, bores=bores)
    expected = sum(passed(bores, n) for n in range(1, 60))
    assert mean(counts) == pytest.approx(expected, abs=3e-3)
    for k in range(1, 7):
        assert counts[k:].sum() == pytest.approx(passed(bores, k), abs=3e-3)


# Cox (1962), section 4.2: far out, M(t) = t/mu + (s2 - mu2)/(2 mu2), and the variance grows by s2/mu2 a
# mean life. From memory.
def test_long_runs_use_up_as_many_as_renewal_theory_says():
    life, sd = 8700.0, 1740.0
    law = gamma(a=(life / sd) ** 2, scale=sd**2 / life)
    some, more = (renewal_counts(law.cdf, law.cdf, bores=n * life) for n in (40, 60))
    assert mean(some) == pytest.approx(40 + (0.2**2 - 1) / 2, abs=0.002)
    assert variance(more) - variance(some) == pytest.approx(20 * 0.2**2, abs=0.02)


def test_counts_are_those_of_drawn_lives_with_chips_and_two_spindles():
    rng = np.random.default_rng(11)
    first, new = gamma(a=9, scale=300), gamma(a=25, scale=340)
    chips = 1 / 40_000
    law = [with_breakage(one.cdf, chips_per_bore=chips) for one in (first, new)]
    one = renewal_counts(law[0], law[1], bores=30_000)
    both = np.convolve(one, one)

    def drawn(n):
        at = np.minimum(first.rvs(n, random_state=rng), rng.exponential(1 / chips, n))
        count = np.zeros(n, dtype=int)
        while (at <= 30_000).any():
            count += at <= 30_000
            at = at + np.minimum(new.rvs(n, random_state=rng), rng.exponential(1 / chips, n))
        return count

    n = 40_000
    counted = np.bincount(drawn(n) + drawn(n), minlength=len(both))[: len(both)] / n
    se = np.sqrt(both * (1 - both) / n)
    assert np.all(np.abs(counted - both) < 4.5 * se + 1e-4)
