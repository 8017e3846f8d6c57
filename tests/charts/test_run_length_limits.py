"""Limits solved for a wanted run length, and the accuracy of what they rest on."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr
from scipy.stats import chi2

from cellmon.charts.run_length import operators
from cellmon.charts.run_length.cusum import (
    cusum_arl,
    cusum_limit,
    general_cusum_run_length,
    two_sided_cusum_arl,
    two_sided_cusum_limit,
)
from cellmon.charts.run_length.ewma import ewma_arl, ewma_limit, general_ewma_run_length
from cellmon.charts.run_length.multivariate import (
    mewma_arl,
    mewma_limit,
    mewma_run_length,
    t2_limit,
    t2_limit_estimated,
    t2_run_length,
)
from cellmon.charts.run_length.shewhart import (
    individuals_run_length,
    mean_limit,
    mean_run_length,
    range_chance,
    range_limit,
    range_run_length,
    sd_chance,
    sd_limit,
    sd_run_length,
)
from cellmon.charts.run_length.variance import (
    decay,
    reference_for_ratio,
    variance_cusum_arl,
    variance_cusum_limit,
    variance_cusum_run_length,
)
from cellmon.errors import NotEnoughData
from cellmon.stats.constants import chart_factors

WANTED = (200.0, 370.4, 9000.0, 1e7)


@pytest.mark.parametrize("arl", WANTED)
@pytest.mark.parametrize("k", [0.1, 0.21, 0.52, 1.0, 1.34, 2.0])
def test_cusum_limit_gives_what_was_wanted_by_another_method_too(k, arl):
    h = cusum_limit(k, arl)
    assert cusum_arl(k, h) == pytest.approx(arl, rel=1e-7)
    assert general_cusum_run_length(k, h, ndtr).mean == pytest.approx(arl, rel=2e-6)  # collocation by cdf


@pytest.mark.parametrize("arl", WANTED)
def test_both_sides_and_head_starts_are_solved(arl):
    assert two_sided_cusum_arl(0.5, two_sided_cusum_limit(0.5, arl)) == pytest.approx(arl, rel=1e-7)
    h = two_sided_cusum_limit(0.5, arl, head_start_share=0.5)
    assert two_sided_cusum_arl(0.5, h, head_start=h / 2) == pytest.approx(arl, rel=1e-7)
    assert h > two_sided_cusum_limit(0.5, arl)
    up = cusum_limit(0.5, arl, head_start_share=0.5)
    assert cusum_arl(0.5, up, head_start=up / 2) == pytest.approx(arl, rel=1e-7)


# Hawkins (1993), k and h for a mean of 370, both sides: h to two decimals (pairs read second hand)
@pytest.mark.parametrize(("k", "h"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99)])
def test_cusum_limit_agrees_with_the_printed_pairs(k, h):
    assert two_sided_cusum_limit(k, 370.4) == pytest.approx(h, abs=0.006)


@pytest.mark.parametrize("arl", WANTED)
@pytest.mark.parametrize("weight", [0.01, 0.05, 0.1, 0.4, 1.0])
def test_ewma_limit_gives_what_was_wanted_by_another_method_too(weight, arl):
    width = ewma_limit(weight, arl)
    assert ewma_arl(weight, width) == pytest.approx(arl, rel=1e-7)
    assert general_ewma_run_length(weight, width, ndtr).mean == pytest.approx(arl, rel=2e-6)


def test_ewma_of_the_newest_point_alone_is_the_mean_chart():
    assert ewma_limit(1.0, 370.4) == pytest.approx(mean_limit(370.4), rel=1e-9)
    assert ewma_arl(1.0, 3.0, shift=1.0) == pytest.approx(mean_run_length(shift=1.0).mean, rel=1e-10)


def test_exact_limits_signal_sooner_and_are_solved():
    width = ewma_limit(0.1, 370.4, exact_limits=True)
    assert ewma_arl(0.1, width, exact_limits=True) == pytest.approx(370.4, rel=1e-7)
    assert ewma_arl(0.1, width, shift=2.0, exact_limits=True) < ewma_arl(0.1, 2.701, shift=2.0)
    assert ewma_arl(1.0, 3.0, exact_limits=True) == pytest.approx(mean_run_length().mean, rel=1e-9)


@given(st.floats(0.05, 0.8), st.floats(1.0, 4.0), st.floats(-0.3, 2), st.floats(0.8, 1.5))
@settings(max_examples=30, deadline=None)
def test_a_unit_of_measure_changes_nothing(k, h, shift, sd):
    scaled = general_cusum_run_length(k, h, lambda x: ndtr((x - shift) / sd), spread=sd)
    assert cusum_arl(k, h, shift=shift, sd=sd) == pytest.approx(scaled.mean, rel=1e-6)
    assert cusum_arl(k / sd, h / sd, shift=shift / sd) == pytest.approx(scaled.mean, rel=1e-6)


# two degrees of freedom: s^2 / sigma^2 is exponential, and for h up to k the integral equation closes:
# L = exp(h) (exp(k) + 1 - h) - 1 (derived by hand; the case of Vardeman and Ray, Technometrics 27, 1985)
@pytest.mark.parametrize(("k", "h"), [(1.2, 0.4), (1.5, 1.5), (3.0, 2.0)])
def test_variance_of_three_bores_has_the_closed_form(k, h):
    assert variance_cusum_arl(k, h, 2) == pytest.approx(math.exp(h) * (math.exp(k) + 1 - h) - 1, rel=1e-9)
    moved = variance_cusum_arl(k, h, 2, ratio=2.0)
    assert moved == pytest.approx(math.exp(h / 2) * (math.exp(k / 2) + 1 - h / 2) - 1, rel=1e-9)


def by_cells(k, h, df, ratio, cells):
    """Brook and Evans (1972): the sum is held at the middle of one of many cells."""
    width = 2 * h / (2 * cells - 1)
    middle = width * np.arange(cells)
    edges = middle[None, :] + width / 2 - middle[:, None] + k
    below = chi2.cdf(edges * df / ratio, df)
    return float(np.linalg.solve(np.eye(cells) - np.diff(below, axis=1, prepend=0.0), np.ones(cells))[0])


@pytest.mark.parametrize(
    ("df", "k", "h", "ratio"), [(1, 1.5, 8.0, 1.0), (2, 1.3, 5.0, 1.0), (4, 1.2, 6.0, 1.44), (9, 1.6, 2.0, 1)]
)
def test_variance_agrees_with_a_chain_of_cells(df, k, h, ratio):
    coarse, fine = by_cells(k, h, df, ratio, 400), by_cells(k, h, df, ratio, 800)
    assert variance_cusum_arl(k, h, df, ratio) == pytest.approx(fine, rel=max(2e-4, abs(coarse / fine - 1)))


@pytest.mark.parametrize("arl", [370.4, 9000.0, 1e7])
@pytest.mark.parametrize("df", [1, 2, 3, 4, 9, 40])
@pytest.mark.parametrize("spread", [1.2, 1.5, 2.0])
def test_variance_limit_gives_what_was_wanted(df, spread, arl):
    k = reference_for_ratio(spread**2)
    if 1 / chi2.sf(df * k, df) >= arl:  # beyond k alone is rarer than wanted
        with pytest.raises(ValueError, match="no limit"):
            variance_cusum_limit(k, df, arl)
        return
    h = variance_cusum_limit(k, df, arl)
    assert variance_cusum_arl(k, h, df) == pytest.approx(arl, rel=1e-6)


def test_a_first_guess_far_too_wide_is_no_hindrance():
    # the chance beyond k alone is near the wanted one; the guess runs for more than 1e12 points
    h = variance_cusum_limit(2.29, 47, 1.8e7)
    assert variance_cusum_arl(2.29, h, 47) == pytest.approx(1.8e7, rel=1e-7)


def test_more_nodes_do_not_change_a_variance_run_length(monkeypatch):
    from cellmon.charts.run_length import cusum

    cases = [(df, k, variance_cusum_limit(k, df, 1e7)) for df in (1, 2, 4, 9) for k in (1.2, 2.0)]
    before = [variance_cusum_arl(k, h, df) for df, k, h in cases]
    monkeypatch.setattr(cusum, "_PANEL_NODES", 24)
    cusum._panels.cache_clear()
    after = [variance_cusum_arl(k, h, df) for df, k, h in cases]
    cusum._panels.cache_clear()
    assert before == pytest.approx(after, rel=5e-7)


def test_mean_run_of_variances_grows_as_its_decay_says():
    low, high = (math.log(variance_cusum_arl(1.3, h, 4)) for h in (16.0, 18.0))
    assert (high - low) / 2 == pytest.approx(decay(1.3, 4), rel=1e-4)


# figures of the trials this design rests on (simulated there): tuned for each, one in 370, n = 5, steady
@pytest.mark.parametrize(("spread", "delay"), [(1.2, 17.8), (1.5, 5.3), (2.0, 2.3)])
def test_tuned_variance_delays_are_those_of_the_trials(spread, delay):
    from cellmon.charts.run_length.distribution import steady_state

    found = []
    for k in np.arange(1.05, 2.0, 0.05):
        h = variance_cusum_limit(k, 4, 370.4)
        after = variance_cusum_run_length(k, h, 4, ratio=spread**2)
        found.append(steady_state(variance_cusum_run_length(k, h, 4), after).mean)
    assert min(found) == pytest.approx(delay, abs=0.05 + 0.01 * delay)  # their print and standard error


# the same trials: upper range limit alone, one in 370
@pytest.mark.parametrize(("spread", "points"), [(1.2, 47), (1.5, 9.0), (2.0, 2.7)])
def test_range_delays_are_those_of_the_trials(spread, points):
    run = range_run_length(5, ratio=spread, limits=(0.0, range_limit(5, 370.4)))
    assert run.mean == pytest.approx(points, abs=0.05 + 0.01 * points)


@pytest.mark.parametrize("n", [2, 5, 9])
def test_spread_limits_by_probability_keep_it(n):
    assert range_chance(n, limits=(0.0, range_limit(n, 1000))) == pytest.approx(1e-3, rel=1e-8)
    assert sd_chance(n, limits=(0.0, sd_limit(n, 1000))) == pytest.approx(1e-3, rel=1e-8)
    assert sd_run_length(n, ratio=2.0).mean < sd_run_length(n).mean
    factors = chart_factors(n)
    assert sd_chance(n, limits=(factors.B5, factors.B6)) == pytest.approx(sd_chance(n), rel=1e-12)


def test_ranges_of_two_are_deviations_of_two():
    assert range_limit(2, 370.4) == pytest.approx(math.sqrt(2) * sd_limit(2, 370.4), rel=1e-8)


# chi-square points of print: 2 features at 0.005, 10.597; 4 at 0.005, 14.860 (any table, from memory)
@pytest.mark.parametrize(("p", "limit"), [(2, 10.597), (4, 14.860), (10, 25.188)])
def test_t_squared_limit_is_the_printed_point(p, limit):
    assert t2_limit(p, 200) == pytest.approx(limit, abs=6e-4)
    assert t2_run_length(p, t2_limit(p, 200)).mean == pytest.approx(200)


# Ryan, Statistical Methods for Quality Improvement, T-squared example (from memory), and a simulation
def test_estimated_t_squared_limit_is_the_printed_one():
    rows = json.loads((Path(__file__).parents[1] / "checks/shewhart_examples.json").read_text())["checks"]
    row = next(row for row in rows if row["id"] == "ryan-t2-ucl")
    i = row["inputs"]
    found = t2_limit_estimated(i["p"], 1 / i["alpha"], subgroups=i["m"], n=i["n"], later=i["phase"] == 2)
    assert found == pytest.approx(row["expected"], rel=0, abs=row["tol"])
    assert t2_limit_estimated(3, 200, subgroups=10**7, n=5) == pytest.approx(t2_limit(3, 200), rel=1e-5)
    with pytest.raises(NotEnoughData):
        t2_limit_estimated(9, 200, subgroups=2, n=3)


def test_estimated_t_squared_limit_keeps_its_chance_for_later_points():
    # 40,000 baselines of 20 subgroups of 4 with one later mean each; one in 50, four standard errors
    rng, count = np.random.default_rng(12), 40_000
    x = rng.standard_normal((count, 20, 4, 2))
    inside = x - x.mean(axis=2, keepdims=True)
    covariance = np.einsum("bgni,bgnj->bij", inside, inside) / 60
    off = rng.standard_normal((count, 2)) / 2 - x.mean(axis=(1, 2))
    t2 = 4 * np.einsum("bi,bij,bj->b", off, np.linalg.inv(covariance), off)
    seen = int((t2 > t2_limit_estimated(2, 50, subgroups=20, n=4)).sum())
    assert seen == pytest.approx(count / 50, abs=4 * math.sqrt(count / 50))


def test_one_feature_is_the_univariate_chart():
    assert t2_run_length(1, 9.0, distance=1.0).mean == pytest.approx(mean_run_length(shift=1.0).mean)
    assert mewma_arl(1, 0.1, 2.814**2, distance=0.5) == pytest.approx(ewma_arl(0.1, 2.814, shift=0.5))
    assert mewma_arl(3, 1.0, 12.0, distance=1.5) == pytest.approx(
        t2_run_length(3, 12.0, distance=1.5).mean, rel=1e-8
    )


@pytest.mark.parametrize("p", [2, 3, 6])
def test_mewma_is_solved_and_both_its_chains_agree(p):
    h = mewma_limit(p, 0.2, 500.0)
    assert mewma_arl(p, 0.2, h) == pytest.approx(500, rel=1e-7)
    assert mewma_run_length(p, 0.2, h, steady=True).mean == pytest.approx(500, rel=1e-5)


@pytest.mark.parametrize("width", [2.5, 3.0])
def test_a_moving_range_that_cannot_signal_changes_nothing(width):
    alone = mean_run_length(width, shift=0.4).mean
    assert individuals_run_length(width, moving_range=2 * width, shift=0.4).mean == pytest.approx(alone)
    closer = [individuals_run_length(width, moving_range=m).mean for m in (5.0, 4.0, 3.0, 2.0, 1.0)]
    assert (np.diff(closer) < 0).all()


# by parts, int y dG must be the mean of the part of a law that lies on the panels
def test_steps_from_a_cdf_integrate_polynomials():
    panels = operators.Panels(borders=np.array([0.0, 0.7, 2.0]), nodes=8)
    states = np.array([0.0, 0.4])
    step = operators.step_from_cdf(lambda s, y: 1 - np.exp(-(y + s)), panels, states, begins=None)
    for state, row in zip(states, step, strict=True):
        exact = math.exp(-state) * (1 - 3 * math.exp(-2))
        assert float(row @ panels.at) == pytest.approx(exact, rel=1e-8)
    assert float(panels.row_at(1.1) @ panels.at**3) == pytest.approx(1.1**3)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cusum_limit(1.34, 10.0), "no limit"),
        (lambda: cusum_limit(0.5, 1.0), "above 1"),
        (lambda: cusum_limit(0.5, 1e10), "up to 1e9"),
        (lambda: cusum_arl(0.5, 0.0), "limit above 0"),
        (lambda: cusum_arl(-0.1, 4.0), "from 0"),
        (lambda: cusum_arl(0.5, 4.0, head_start=4.0), "head start"),
        (lambda: cusum_arl(0.5, 4.0, sd=0.0), "standard deviation"),
        (lambda: cusum_arl(0.5, 40.0), "1e12"),
        (lambda: ewma_arl(0.0, 3.0), "weight"),
        (lambda: ewma_arl(0.1, 3.0, sd=-1.0), "standard deviation"),
        (lambda: ewma_limit(0.1, math.inf), "up to 1e9"),
        (lambda: variance_cusum_limit(1.0, 4, 370), "above 1"),
        (lambda: variance_cusum_arl(1.2, 3.0, 0.5), "degrees of freedom"),
        (lambda: reference_for_ratio(1.0), "ratio"),
        (lambda: mewma_arl(0, 0.1, 8.0), "feature"),
        (lambda: mewma_arl(2, 0.1, -8.0), "limit"),
        (lambda: t2_limit(2, 0.5), "above 1"),
        (lambda: t2_run_length(2, 0.0), "limit"),
        (lambda: mean_run_length(0.0), "width"),
        (lambda: mean_limit(1.0), "above 1"),
        (lambda: individuals_run_length(3.0, moving_range=0.0), "moving range"),
        (lambda: individuals_run_length(3.0, moving_range=0.01), "too far below"),
        (lambda: general_ewma_run_length(0.1, 3.0, ndtr, least=-0.1), "never fall"),
        (lambda: general_cusum_run_length(-1.0, 3.0, ndtr, least=0.0), "never falls"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
