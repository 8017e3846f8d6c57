"""Estimated limits, correlation, rounding and skew: closed forms, simulation, figures of the trials."""

import math

import numpy as np
import pytest
from scipy import stats

from cellmon.charts.run_length.correlated import (
    correlated_chance,
    correlated_width,
    mean_variance_factor,
    within_variance_factor,
)
from cellmon.charts.run_length.estimated import (
    baseline_of,
    estimated_run,
    guarded_width,
    over_baselines,
    run_length_quantile,
    share_shorter,
    widened,
)
from cellmon.charts.run_length.multivariate import mewma_limit, mewma_limit_estimated
from cellmon.charts.run_length.rounded import rounded_charts, sheppard_ratio
from cellmon.charts.run_length.shewhart import mean_run_length, range_chance
from cellmon.charts.run_length.skewed import (
    beyond_chance,
    mean_of,
    probability_limits,
    range_share,
    skewed_charts,
)
from cellmon.errors import NotEnoughData
from cellmon.stats.constants import d2

KNOWN = 370.3983473


# figures of the trials this design rests on (simulated there): share of cells within a fifth of 370
@pytest.mark.parametrize(("subgroups", "share"), [(25, 0.20), (100, 0.42), (500, 0.79)])
def test_share_of_cells_near_the_promise(subgroups, share):
    low, high = share_shorter(baseline_of(subgroups, 5), [0.8 * KNOWN, 1.2 * KNOWN])
    assert high - low == pytest.approx(share, abs=0.012)


# simulated in test_cost_of_limits.py with 10,000 baselines: 5 and 95 % points
@pytest.mark.parametrize(("subgroups", "low", "high"), [(25, 100, 1150), (100, 197, 662)])
def test_run_lengths_of_cells_scatter_as_simulated(subgroups, low, high):
    base = baseline_of(subgroups, 5)
    assert [run_length_quantile(base, p) for p in (0.05, 0.95)] == pytest.approx([low, high], rel=0.02)
    assert float(share_shorter(base, run_length_quantile(base, 0.3))) == pytest.approx(0.3, abs=1e-9)


@pytest.mark.parametrize("from_ranges", [True, False])
@pytest.mark.parametrize("width", [3.0, 3.3])
def test_means_over_baselines_are_those_of_a_simulation(from_ranges, width):
    # 50,000 baselines of 25 subgroups of 5: chance and mean run length, four standard errors
    rng = np.random.default_rng(21)
    x = rng.standard_normal((50_000, 25, 5))
    spread = (
        np.ptp(x, axis=2).mean(axis=1) / d2(5) if from_ranges else np.sqrt(x.var(axis=2, ddof=1).mean(axis=1))
    )
    off = math.sqrt(5) * x.mean(axis=(1, 2))
    chance = stats.norm.sf(width * spread - off) + stats.norm.sf(width * spread + off)
    found = estimated_run(baseline_of(25, 5, from_ranges=from_ranges), width=width)
    for seen, computed in ((chance, found.chance), (1 / chance, found.mean)):
        assert seen.mean() == pytest.approx(computed, abs=4 * seen.std() / math.sqrt(50_000))
    assert found.known == pytest.approx(mean_run_length(width).mean)


@pytest.mark.parametrize("subgroups", [5, 25, 100])
def test_widened_limits_keep_the_chance_and_go_to_three(subgroups):
    base = baseline_of(subgroups, 5)
    assert estimated_run(base, width=widened(base)).chance == pytest.approx(1 / KNOWN, rel=1e-8)
    assert widened(baseline_of(100_000, 5)) == pytest.approx(3, abs=1e-4)
    # pooled deviations: Student's t, the prediction interval of any text
    pooled = baseline_of(subgroups, 5, from_ranges=False)
    exact = stats.t(4 * subgroups).isf(0.5 / KNOWN) * math.sqrt(1 + 1 / subgroups)
    assert widened(pooled) == pytest.approx(exact, rel=1e-8)


def test_guarded_limits_keep_the_promise_in_nine_cells_of_ten():
    base = baseline_of(50, 5)
    width = guarded_width(base, arl=KNOWN)
    assert float(share_shorter(base, KNOWN, width=width)) == pytest.approx(0.1, abs=1e-9)
    assert width > widened(base)


def test_any_chart_can_be_averaged_over_baselines():
    base = baseline_of(50, 5)
    means = over_baselines(lambda shift, sd: mean_run_length(3.0, shift=shift, sd=sd).mean, base, nodes=25)
    assert means.mean == pytest.approx(estimated_run(base).mean, rel=1e-4)


# figures of the trials (simulated there): subgroups of 5, correlation inside
@pytest.mark.parametrize(("r1", "points"), [(0.15, 98), (0.3, 33)])
def test_correlated_bores_cost_what_the_trials_say(r1, points):
    assert 1 / correlated_chance(5, r1) == pytest.approx(points, abs=0.7)
    assert correlated_chance(5, r1, width=correlated_width(5, r1)) == pytest.approx(1 / KNOWN, rel=1e-8)


@pytest.mark.parametrize("r1", [-0.4, 0.0, 0.3, 0.8])
def test_variances_under_correlation_are_those_of_the_matrix(r1):
    # definition: Var(mean) = 1' S 1 / n^2, E s^2 = (trace S - 1' S 1 / n) / (n - 1)
    n = 6
    matrix = r1 ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    assert mean_variance_factor(n, r1) == pytest.approx(matrix.sum() / n)
    assert within_variance_factor(n, r1) == pytest.approx((n - matrix.sum() / n) / (n - 1))


@pytest.mark.parametrize(("q", "place"), [(0.5, 0.25), (1.5, 0.0), (2.0, 0.5)])
def test_rounded_charts_do_what_a_simulation_does(q, place):
    # 400,000 subgroups of 5, four standard errors
    x = q * np.round(np.random.default_rng(31).normal(place * q, 1.0, (400_000, 5)) / q)
    found = rounded_charts(q, 5, place=place)
    ranges = np.ptp(x, axis=1)
    assert ranges.mean() / d2(5) == pytest.approx(found.sigma_ratio, abs=4 * ranges.std() / 632 / d2(5))
    mean = x.mean(axis=1) - q * float(np.round(x / q).mean())
    for seen, chance in (
        (np.abs(mean) > 3 * found.sigma_ratio / math.sqrt(5) + 1e-6, found.mean_chance),
        (ranges == 0, found.zero_ranges),
    ):
        assert seen.sum() == pytest.approx(400_000 * chance, abs=4 * math.sqrt(400_000 * chance) + 1)


def test_a_fine_gauge_changes_nothing_and_a_coarse_one_cries():
    fine = rounded_charts(0.02, 5)
    assert fine.mean_chance == pytest.approx(1 / KNOWN, rel=2e-3)
    assert fine.range_chance == pytest.approx(range_chance(5), rel=0.03)  # half a step of the gauge
    chances = [rounded_charts(q, 5).mean_chance for q in (0.1, 0.5, 1.0, 1.5, 2.0, 3.0)]
    assert (np.diff(chances) > 0).all()


@pytest.mark.parametrize("q", [0.3, 1.0, 2.0])
def test_spread_of_rounded_readings_follows_sheppard(q):
    steps = np.arange(-60, 61)
    variances = []
    for place in (np.arange(32) + 0.5) / 32:
        mass = np.diff(stats.norm.cdf((np.append(steps - 0.5, 60.5) - place) * q))
        mean = mass @ steps
        variances.append(q * q * (mass @ (steps - mean) ** 2))
    # averaged over places the law of total variance takes off what the mean itself moves
    assert math.sqrt(np.mean(variances)) == pytest.approx(sheppard_ratio(q), rel=0.01)


# figures of the trials (simulated there, 1 to 4 %): |normal|, lognormal 0.5, exponential, subgroups of 5
@pytest.mark.parametrize(
    ("law", "mean", "spread"),
    [(stats.halfnorm(), 179, 94), (stats.lognorm(0.5), 86, 27), (stats.expon(), 67, 21)],
    ids=["folded normal", "lognormal", "exponential"],
)
def test_skewed_features_cost_what_the_trials_say(law, mean, spread):
    found = skewed_charts(law, 5)
    assert 1 / found.mean_chance == pytest.approx(mean, rel=0.02)
    assert 1 / found.range_chance == pytest.approx(spread, rel=0.03)


def test_a_normal_feature_is_an_ordinary_chart():
    found = skewed_charts(stats.norm(3.0, 0.4), 5)
    assert found.mean_chance == pytest.approx(1 / KNOWN, rel=1e-5)
    assert found.range_chance == pytest.approx(range_chance(5), rel=1e-6)


# the mean of n exponential values is a gamma variable (any text)
@pytest.mark.parametrize("n", [1, 2, 5])
def test_means_of_exponential_values_are_gamma(n):
    mean, exact = mean_of(stats.expon(), n), stats.gamma(n, scale=1 / n)
    x = np.linspace(0.02, 6, 200)
    assert mean.cdf(x) == pytest.approx(exact.cdf(x), abs=3e-6)
    shares = np.array([1e-5, 1e-3, 0.5, 0.999, 0.99999])
    assert mean.ppf(shares) == pytest.approx(exact.ppf(shares), abs=1.2e-3)


def test_range_of_uniform_values_has_the_closed_form():
    # beta(n - 1, 2), any text on order statistics
    assert range_share(stats.uniform(), 0.6, 4) == pytest.approx(stats.beta(3, 2).cdf(0.6), rel=1e-4)


@pytest.mark.parametrize("arl", [370.4, 9000.0])
@pytest.mark.parametrize("law", [stats.halfnorm(), stats.rayleigh(), stats.lognorm(0.5), stats.expon()])
def test_limits_by_probability_keep_their_promise(law, arl):
    both, above = probability_limits(law, arl=arl), probability_limits(law, arl=arl, upper_only=True)
    assert beyond_chance(law, both.lower, both.upper) == pytest.approx(1 / arl, rel=1e-8)
    assert beyond_chance(law, above.lower, above.upper) == pytest.approx(1 / arl, rel=1e-8)
    assert both.lower > 0 and above.lower is None and above.upper < both.upper
    assert law.cdf(both.centre) == pytest.approx(0.5)


def test_limits_of_means_by_probability_hold_in_a_simulation():
    # 1,000,000 means of five exponential values; a promise of one in 370, four standard errors
    limits = probability_limits(mean_of(stats.expon(), 5))
    x = np.random.default_rng(41).exponential(size=(1_000_000, 5)).mean(axis=1)
    seen = int(((x < limits.lower) | (x > limits.upper)).sum())
    assert seen == pytest.approx(1e6 / 370.4, abs=4 * math.sqrt(1e6 / 370.4))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: baseline_of(1, 5), "at least 2, got 1"),
        (lambda: estimated_run(baseline_of(2, 5)), "degrees of freedom"),
        (lambda: widened(baseline_of(20, 5), chance=0.0), "share"),
        (lambda: guarded_width(baseline_of(20, 5), confidence=1.0), "share"),
        (lambda: run_length_quantile(baseline_of(20, 5), 0.0), "share"),
        (lambda: correlated_chance(5, 1.0), "correlation"),
        (lambda: within_variance_factor(1, 0.1), "two bores"),
        (lambda: mean_variance_factor(0, 0.1), "one bore"),
        (lambda: correlated_width(5, 0.1, chance=1.0), "chance"),
        (lambda: rounded_charts(0.0, 5), "resolution"),
        (lambda: sheppard_ratio(-1.0), "resolution"),
        (lambda: probability_limits(stats.norm(), arl=1.0), "above 1"),
        (lambda: mean_of(stats.norm(), 0), "at least one"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_too_small_a_baseline_is_a_refusal_of_ours():
    with pytest.raises(NotEnoughData):
        estimated_run(baseline_of(3, 3))


# 4,000 baselines each of 25 and 100 subgroups of 5, four features; 200 points far from the start, four
# standard errors. With the limit of known parameters, a point of 25 subgroups is beyond 13 times as often.
@pytest.mark.parametrize(("subgroups", "plainly"), [(25, 8.0), (100, 1.8)])
def test_mewma_limit_for_an_estimated_baseline_keeps_its_share(subgroups, plainly):
    p, weight, n, rng = 4, 0.2, 5, np.random.default_rng(79)
    known = mewma_limit(p, weight, 1000.0)
    own = mewma_limit_estimated(p, weight, 1000.0, subgroups=subgroups, n=n)
    seen = []
    for _ in range(4000):
        centre = rng.normal(size=p) / math.sqrt(subgroups)
        bores = rng.normal(size=(subgroups * (n - 1), p))
        inverse = np.linalg.inv(bores.T @ bores / len(bores))
        z = rng.normal(size=(200, p)) - centre * math.sqrt((2 - weight) / weight)
        t2 = np.einsum("ij,ij->i", z @ inverse, z)
        seen.append([(t2 > known).mean(), (t2 > own).mean()])
    plain, kept = np.mean(seen, axis=0)
    share, error = stats.chi2(p).sf(known), np.std(np.array(seen)[:, 1]) / math.sqrt(4000)
    assert kept == pytest.approx(share, abs=4 * error) and error < 0.1 * share
    assert plain > plainly * share / 1.2
