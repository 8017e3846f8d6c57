"""Indices of bores that need not be normal: coverage of the intervals, and false claims."""

import time
from dataclasses import dataclass
from math import sqrt

import numpy as np
import pytest

from cellmon.capability.choice import CLEARLY, LEVELS
from cellmon.capability.choice import UNBOUNDED as UNBOUNDED_FAMILIES
from cellmon.capability.choice import ZERO_BOUNDED as ZERO_BOUNDED_FAMILIES
from cellmon.capability.fitted import fitted_indices
from cellmon.capability.goodness import FITS, anderson_darling, normal_p_value
from cellmon.capability.intervals import (
    averaged_ends,
    averaged_quantile,
    quantile_indices,
    sampled_index,
    sampled_share,
    sampled_width,
    share_outside,
    stand,
    steadied,
    unsteadied,
)
from cellmon.capability.unbounded import NORMAL, SHIFTED_LOGNORMAL
from cellmon.capability.zero_bounded import GAMMA, RAYLEIGH
from cellmon.stats.intervals import cpk_interval, one_sided_index_bound, one_sided_index_interval
from tests.capability.populations import OUTSIDE, UNBOUNDED, UNSEEN, ZERO_BOUNDED, Cell

INDEX = 1.33


@dataclass(frozen=True, eq=False)
class Rows:
    """Ends of intervals and bounds of many cells at once, one a row."""

    low: np.ndarray
    high: np.ndarray
    cautious: np.ndarray


def many(x, *, lower, upper, zero_bounded):
    """Do for rows of bores what `fitted_indices` does for one; a test below holds them to each other."""
    families = ZERO_BOUNDED_FAMILIES if zero_bounded else UNBOUNDED_FAMILIES
    stood = [stand(family, x, family.fit(x)) for family in families]
    index = [sampled_index(fit, lower=lower, upper=upper) for fit in stood]
    ends = averaged_ends(index, confidence=0.95, claim_confidence=0.975)
    low, high = unsteadied(ends.low), unsteadied(ends.high)
    if zero_bounded:
        return Rows(low, high, unsteadied(ends.bound))
    cautious = unsteadied(averaged_quantile(index, 0.025))
    own = np.stack([averaged_quantile([one], 0.025) for one in index])
    n = x.shape[1]
    statistic = anderson_darling(NORMAL.cdf(np.sort(x, axis=1), NORMAL.fit(x)))
    likely = np.array([normal_p_value(a * (1 + 0.75 / n + 2.25 / n**2)) >= FITS for a in statistic])
    criterion = np.stack([fit.criterion for fit in stood])
    mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    one_limit = lower is None
    interval_of = one_sided_index_interval if one_limit else cpk_interval
    found = (upper - mean) / (3 * sd)
    found = found if one_limit else np.minimum(found, (mean - lower) / (3 * sd))
    best = criterion.argmin(axis=0)
    cautious = np.minimum(cautious, unsteadied(own[best, np.arange(len(x))]))
    normal = likely & (criterion[0] <= criterion.min(axis=0) + CLEARLY)
    cautious[normal] = unsteadied(averaged_quantile(index, 0.025))[normal]
    for row in np.flatnonzero(normal):
        interval = interval_of(float(found[row]), n=n, df=n - 1)
        low[row], high[row] = interval.low, interval.high
        bound = one_sided_index_bound(float(found[row]), n=n, df=n - 1, confidence=0.975)
        cautious[row] = min(cautious[row], bound)
    return Rows(low, high, cautious)


@pytest.mark.parametrize("zero_bounded", [True, False])
def test_many_cells_at_once_are_each_as_alone(zero_bounded):
    name, kinds = ("gamma, shape 3", ZERO_BOUNDED) if zero_bounded else ("gamma, shape 30", UNBOUNDED)
    cell = Cell.of(kinds[name], index=INDEX, two_limits=not zero_bounded)
    limits = {"lower": cell.lower, "upper": cell.upper, "zero_bounded": zero_bounded}
    x = np.stack([cell.sample(120, np.random.default_rng(seed)) for seed in range(12)])
    rows = many(x, **limits)
    for row in range(12):
        alone = fitted_indices(x[row], **limits)
        if alone.choice.best.family in LEVELS:
            continue
        # alone, the interval is stretched to hold the value beside it
        assert alone.ppk.low == pytest.approx(min(rows.low[row], alone.ppk.value), rel=1e-6)
        assert alone.ppk.high == pytest.approx(max(rows.high[row], alone.ppk.value), rel=1e-6)
        assert alone.cautious_bound == pytest.approx(rows.cautious[row], rel=1e-6)


def measure(population, *, n, cells, zero_bounded, two_limits=False, seed=97):
    cell = Cell.of(population, index=INDEX, two_limits=two_limits)
    rng = np.random.default_rng(seed)
    held = false = 0
    for _ in range(cells // 500):
        x = cell.population.rvs((500, n), random_state=rng)
        found = many(x, lower=cell.lower, upper=cell.upper, zero_bounded=zero_bounded)
        held += int(((found.low <= INDEX) & (found.high >= INDEX)).sum())
        false += int((found.cautious >= INDEX).sum())
    return held / cells, false / cells


@pytest.mark.parametrize("name", ["lognormal, 0.5", "gamma, shape 3", "folded normal, level 2"])
def test_intervals_of_skewed_features_hold_the_truth(name):
    # 500 cells: standard error of a share of 93 % 1.1 %, of 2.5 % 0.7 %
    held, false = measure(ZERO_BOUNDED[name], n=100, cells=500, zero_bounded=True)
    assert held >= 0.93 - 3 * 0.011
    assert false <= 0.025 + 3 * 0.007


CELLS, FEWER = 2000, 1000


@pytest.mark.slow
@pytest.mark.parametrize("n", [50, 100, 300])
@pytest.mark.parametrize("name", ZERO_BOUNDED)
def test_intervals_of_skewed_features_in_a_large_run(name, n):
    held, false = measure(ZERO_BOUNDED[name], n=n, cells=CELLS, zero_bounded=True)
    print(f"\n| {name} | {n} | {held:.1%} | {false:.1%} |")
    if n >= 100:
        assert 0.93 - 3 * sqrt(0.93 * 0.07 / CELLS) <= held <= 0.99
        assert false <= 0.025 + 3 * sqrt(0.025 * 0.975 / CELLS)


@pytest.mark.slow
@pytest.mark.parametrize("n", [50, 100, 300])
@pytest.mark.parametrize("name", UNSEEN)
def test_intervals_of_features_not_seen_when_constants_were_set(name, n):
    held, false = measure(UNSEEN[name], n=n, cells=FEWER, zero_bounded=True)
    print(f"\n| {name} | {n} | {held:.1%} | {false:.1%} |")
    outside = name in OUTSIDE  # what was measured there is told in docs/; this only sees it grow worse
    if n >= 100:
        assert held >= (0.78 if outside else 0.93 - 3 * sqrt(0.93 * 0.07 / FEWER))
        assert false <= (0.1 if outside else 0.025 + 3 * sqrt(0.025 * 0.975 / FEWER))


@pytest.mark.slow
@pytest.mark.parametrize("two_limits", [True, False])
@pytest.mark.parametrize("n", [50, 100, 300])
@pytest.mark.parametrize("name", UNBOUNDED)
def test_claims_on_features_without_a_bound_in_a_large_run(name, n, two_limits):
    held, false = measure(UNBOUNDED[name], n=n, cells=FEWER, zero_bounded=False, two_limits=two_limits)
    print(f"\n| {name} | {'two' if two_limits else 'one'} | {n} | {held:.1%} | {false:.1%} |")
    if name == "normal":
        assert held == pytest.approx(0.95, abs=0.015 + 3 * sqrt(0.05 * 0.95 / FEWER))
    if n >= 100:
        assert false <= 0.13  # heavy tails; a guard, the promise is missed there (docs/)


def normal_formula_alone(x, *, upper):
    """Return which rows would carry the claim by the normal bound where a test does not object."""
    n = x.shape[1]
    found = (upper - x.mean(axis=1)) / (3 * x.std(axis=1, ddof=1))
    bound = np.array([one_sided_index_bound(float(f), n=n, df=n - 1, confidence=0.975) for f in found])
    statistic = anderson_darling(NORMAL.cdf(np.sort(x, axis=1), NORMAL.fit(x)))
    likely = np.array([normal_p_value(a * (1 + 0.75 / n + 2.25 / n**2)) >= FITS for a in statistic])
    return (bound >= INDEX) & likely


PRICED = [("normal", 1.67), ("normal", 2.0), ("lognormal, 0.1", 1.33), ("gamma, shape 30", 1.33)]
PRICED += [("Student's t, 5", 1.33), ("logistic", 1.33)]


@pytest.mark.slow
@pytest.mark.parametrize("n", [100, 300])
@pytest.mark.parametrize(("name", "index"), PRICED)
def test_what_caution_costs_and_what_it_saves(name, index, n):
    cell = Cell.of(UNBOUNDED[name], index=index, two_limits=False)
    x = cell.population.rvs((500, n), random_state=np.random.default_rng(41))
    alone = normal_formula_alone(x, upper=cell.upper).mean()
    cautious = (many(x, lower=None, upper=cell.upper, zero_bounded=False).cautious >= INDEX).mean()
    print(f"\n; {name} {index} {n}: normal formula {alone:.1%}, cautious {cautious:.1%}")
    assert cautious <= 0.1 if index == INDEX else cautious > 0.02


def test_normal_bores_have_the_normal_formulas():
    x = np.random.default_rng(2).normal(10, 2, 200)
    found = fitted_indices(x, lower=0.0, upper=21.0)
    sd = x.std(ddof=1)
    assert found.choice.best.family is NORMAL
    assert found.ppk.value == pytest.approx(min(x.mean(), 21 - x.mean()) / (3 * sd))
    assert found.pp.value == pytest.approx(21 / (6 * sd))
    interval = cpk_interval(found.ppk.value, n=200, df=199)
    assert (found.ppk.low, found.ppk.high) == (interval.low, interval.high)
    assert found.bound == one_sided_index_bound(found.ppk.value, n=200, df=199, confidence=0.975)
    assert found.cautious_bound <= found.bound


# trade.md section 6: |N(0, 1.5)| against 8 um, normal formula 2.51, percentile formula 1.84 (derived)
def test_the_normal_formula_flatters_a_folded_feature():
    x = 1.5 * Cell.of(ZERO_BOUNDED["half normal"], index=1, two_limits=False).sample(
        20_000, np.random.default_rng(1)
    )
    found = fitted_indices(x, lower=None, upper=8.0, zero_bounded=True)
    assert found.ppk.value == pytest.approx(1.84, abs=0.03)
    assert (8 - x.mean()) / (3 * x.std()) == pytest.approx(2.51, abs=0.05)
    assert (found.pp, found.ppl) == (None, None)


def test_correlated_bores_have_wider_intervals():
    x = np.random.default_rng(5).gamma(8, size=300)
    plain, worth_less = (fitted_indices(x, lower=0.0, upper=30.0, worth=w) for w in (1.0, 0.25))
    assert worth_less.ppk.value == plain.ppk.value
    assert worth_less.ppk.high - worth_less.ppk.low > 1.6 * (plain.ppk.high - plain.ppk.low)
    assert worth_less.cautious_bound < plain.cautious_bound


@pytest.mark.parametrize("scale", [0.01, 250.0])
def test_unit_does_not_matter(scale):
    x = np.random.default_rng(5).gamma(3, size=200)
    plain = fitted_indices(x, lower=None, upper=12.0, zero_bounded=True)
    scaled = fitted_indices(scale * x, lower=None, upper=12.0 * scale, zero_bounded=True)
    for name in ("ppk", "ppm"):
        one, other = getattr(plain, name), getattr(scaled, name)
        assert (other.value, other.low, other.high) == pytest.approx((one.value, one.low, one.high), rel=1e-4)


def test_what_makes_no_index_is_refused():
    with pytest.raises(ValueError, match="at least one limit"):
        fitted_indices(np.arange(20.0), lower=None, upper=None)
    with pytest.raises(ValueError, match="upper limit only"):
        fitted_indices(np.arange(20.0), lower=0.0, upper=9.0, zero_bounded=True)
    with pytest.raises(ValueError, match="worth"):
        fitted_indices(np.arange(20.0), lower=0.0, upper=9.0, worth=0.0)


def test_the_steadied_scale_is_undone():
    index = np.array([-0.5, 0.0, 0.4, 1.33, 5.0])
    assert unsteadied(steadied(index)) == pytest.approx(index)
    # its slope is 1 over the error of a normal index, sqrt(1 / 9 + index^2 / 2) (Bissell 1990)
    slope = (steadied(index + 1e-5) - steadied(index - 1e-5)) / 2e-5
    assert slope == pytest.approx(1 / np.sqrt(1 / 9 + index**2 / 2), rel=1e-6)


def test_quantile_indices_and_shares_of_a_known_member():
    theta = np.array([[2.0, np.log(0.5)]])  # normal 2, 0.5
    assert quantile_indices(NORMAL, theta, lower=0.5, upper=4.0)[0] == pytest.approx(
        (1.0, 4 / 3), rel=1e-3
    )  # 0.135 % stands for 3 standard deviations to four digits
    assert np.isinf(quantile_indices(NORMAL, theta, lower=None, upper=4.0)[0, 0])
    assert share_outside(NORMAL, theta, lower=0.5, upper=3.5)[0] == pytest.approx(2 * 0.0013499, rel=1e-4)


def test_one_family_has_its_own_interval_and_several_a_wider_one():
    x = np.random.default_rng(3).rayleigh(size=(1, 150))
    rayleigh, gamma, skewed = (stand(f, x, f.fit(x)) for f in (RAYLEIGH, GAMMA, SHIFTED_LOGNORMAL))
    one = [sampled_index(rayleigh, lower=None, upper=6.0)]
    both = [*one, sampled_index(gamma, lower=None, upper=6.0)]
    alone, together = (averaged_ends(f, confidence=0.95, claim_confidence=0.975) for f in (one, both))
    assert alone.low[0] == pytest.approx(one[0].value[0] - 1.959964 * one[0].below[0], rel=1e-6)
    assert together.low[0] < alone.low[0]
    assert averaged_quantile(one, 0.5)[0] == pytest.approx(one[0].value[0])
    shares = sampled_share(rayleigh, lower=None, upper=3.0)
    exact = float(np.exp(-4.5 / np.exp(2 * RAYLEIGH.fit(x)[0, 0])))
    assert unsteadied(shares.value)[0] == pytest.approx(-_score(exact) / 3, abs=0.01)  # less its bias
    width = sampled_width(skewed, lower=0.0, upper=6.0)
    assert 1.0 < unsteadied(width.value)[0] < 2.5


def _score(share):
    from scipy.stats import norm

    return norm.ppf(share)


def test_a_cell_of_streams_is_quick():
    # limit 5 s for 24 streams of 5,000; measured figures stand in docs/capability-coverage.md
    rng = np.random.default_rng(4)
    makers = [lambda: rng.normal(size=5000), lambda: rng.gamma(8, size=5000), lambda: rng.rayleigh(size=5000)]
    for maker in makers:  # the drawn statistics are kept once they are there
        fitted_indices(maker(), lower=None, upper=30.0, zero_bounded=maker is makers[2])
    started = time.process_time()
    for _ in range(2):
        for maker in makers:
            fitted_indices(maker(), lower=None, upper=30.0, zero_bounded=maker is makers[2])
    assert time.process_time() - started < 4 * 5.0 * 6 / 24  # a slow machine may take four times as long
