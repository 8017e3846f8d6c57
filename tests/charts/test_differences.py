"""Two lots of bores against each other: level by stretches, spread inside groups, lives of stones."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cellmon.charts.alike import means_apart
from cellmon.charts.differences import (
    Groups,
    Stretches,
    Tilt,
    groups_of,
    level_difference,
    life_ratio,
    spread_difference,
    stretches_of,
)
from cellmon.drift.slope import common_slope
from cellmon.errors import NoSpread, NotEnoughData


def flat(means: np.ndarray, since: float = 50.0) -> Stretches:
    return Stretches(mean=means, n=np.full(len(means), 100), since=np.full(len(means), since))


def groups(x: np.ndarray) -> Groups:
    k = len(x)
    return Groups(
        mean=x.mean(axis=1),
        sd=x.std(axis=1, ddof=1),
        n=np.full(k, x.shape[1]),
        since=np.zeros(k),
        stretch=np.arange(k),
    )


def test_levels_are_apart_as_by_welchs_test_of_stretch_means():
    # Independent: scipy.stats.ttest_ind(equal_var=False)
    rng = np.random.default_rng(4)
    a, b = rng.normal(0.0, 0.4, 6), rng.normal(0.3, 0.8, 9)
    independent = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.99)
    found = level_difference(flat(a), flat(b), confidence=0.99)
    assert (found.low, found.high) == pytest.approx((independent.low, independent.high), rel=1e-9)
    assert means_apart(a, b, confidence=0.99) == found


def test_levels_are_carried_to_the_same_bores_since_a_dressing():
    # the same level at 0, worn by 0.02 a bore; the second side was looked at 50 bores later
    rng, since = np.random.default_rng(5), (np.array([90.0, 100, 110]), np.array([140.0, 150, 160]))
    off = rng.normal(0, 0.1, (2, 3))
    a, b = (
        Stretches(mean=-0.02 * at + o, n=np.full(3, 100), since=at) for at, o in zip(since, off, strict=True)
    )
    assert level_difference(a, b, confidence=0.95).value == pytest.approx(-1.0, abs=0.3)
    carried = level_difference(a, b, confidence=0.95, tilt=Tilt(slope_um=-0.02, error_um=0.004))
    # Independent: scipy's Welch of what is left, and the error of the slope over 50 bores beside it, the
    # degrees of freedom of both together by Satterthwaite
    left, apart = stats.ttest_ind(off[1], off[0], equal_var=False), off[1].mean() - off[0].mean()
    of_stretches = (apart / left.statistic) ** 2
    both = of_stretches + (0.004 * 50) ** 2
    t = stats.t.ppf(0.975, left.df * (both / of_stretches) ** 2)
    assert carried.value == pytest.approx(apart)
    assert carried.high - carried.value == pytest.approx(t * np.sqrt(both))


def test_normal_spreads_differ_as_by_fishers_f():
    # Independent: the F interval by scipy.stats.f, if the variances of groups scatter as they should
    rng = np.random.default_rng(11)
    for _ in range(20):
        one, two = groups(rng.normal(0, 1.0, (60, 5))), groups(rng.normal(0, 1.3, (40, 5)))
        found = spread_difference(one, two, confidence=0.95)
        squared = (two.sd**2).mean() / (one.sd**2).mean()
        low, high = squared / stats.f.ppf([0.975, 0.025], 160, 240)
        assert found.value == pytest.approx(squared**0.5)
        assert found.low <= low**0.5 + 1e-12 and found.high >= high**0.5 - 1e-12
        # at most what a chance excess of scatter asks: a third wider
        assert np.log(found.high / found.low) < 1.35 * np.log(high / low) / 2


def test_long_tails_widen_the_interval_of_a_spread():
    rng = np.random.default_rng(12)
    widths = []
    for x in (rng.standard_normal((400, 5)), rng.standard_t(5, (400, 5))):
        found = spread_difference(groups(x[:200]), groups(x[200:]), confidence=0.9)
        widths.append(np.log(found.high / found.low))
    assert widths[1] > 1.2 * widths[0]


def test_lives_are_compared_by_their_logarithms():
    # Independent: scipy.stats.ttest_ind of the logarithms
    a, b = np.array([6100.0, 7400, 6800]), np.array([9000.0, 8100, 9900, 8700])
    independent = stats.ttest_ind(np.log(b), np.log(a), equal_var=False).confidence_interval(0.9)
    found = life_ratio(a, b, confidence=0.9)
    assert (found.low, found.high) == pytest.approx((np.exp(independent.low), np.exp(independent.high)))


@given(st.lists(st.integers(0, 5), min_size=1, max_size=200), st.integers(2, 6))
def test_no_group_reaches_across_a_stretch_and_none_is_lost(numbers, size):
    values = np.arange(len(numbers), dtype=float)
    number = np.array(numbers)
    found = groups_of(values, number, values, size=size)
    count = np.bincount(number)
    assert len(found.sd) == (count // size).sum()
    for stretch in np.unique(found.stretch):
        mine = values[number == stretch]
        whole = mine[: len(mine) // size * size].reshape(-1, size).mean(axis=1)
        assert found.mean[found.stretch == stretch] == pytest.approx(whole)
    cut = stretches_of(values, number, values, least=size)
    assert cut.n.sum() <= len(numbers) and (cut.n >= size).all()
    assert cut.cut or sorted(cut.n) == sorted(count[count >= size])


def test_too_few_stretches_are_cut_into_equal_parts_in_order():
    found = stretches_of(np.arange(40.0), np.zeros(40), np.arange(40.0), least=5)
    assert found.cut and found.n.tolist() == [10, 10, 10, 10]
    assert found.mean.tolist() == found.since.tolist() == [4.5, 14.5, 24.5, 34.5]
    few = stretches_of(np.arange(12.0), np.zeros(12), np.arange(12.0), least=5)
    assert few.n.tolist() == [6, 6]


def test_too_little_is_refused():
    none = stretches_of([], [], [], least=5)
    with pytest.raises(NotEnoughData, match="runs of each part"):
        level_difference(none, flat(np.zeros(3)), confidence=0.95)
    with pytest.raises(NotEnoughData):
        level_difference(none, flat(np.zeros(3)), confidence=0.95, tilt=Tilt(slope_um=1.0, error_um=0.1))
    with pytest.raises(NotEnoughData, match="ended stone sets"):
        life_ratio([6000.0], [7000.0, 8000.0], confidence=0.95)
    with pytest.raises(NoSpread):
        spread_difference(groups(np.zeros((9, 5))), groups(np.ones((9, 5))), confidence=0.95)


SIGMA, STRETCH_SD, WEAR = 1.7, 0.4, -0.012


def made(
    rng: np.random.Generator, count: int, level: float, *, fresh: bool, sd: float = SIGMA, tail: bool = False
):
    """Return bores of so many stretches that wear, each from a dressing on or from some way into it."""
    sizes = rng.integers(60, 140, count)
    number = np.repeat(np.arange(count), sizes)
    start = np.zeros(count) if fresh else rng.integers(0, 150, count)
    since = np.concatenate([np.arange(n) + s for n, s in zip(sizes, start, strict=True)]).astype(float)
    noise = rng.standard_t(6, number.size) / 1.5**0.5 if tail else rng.standard_normal(number.size)
    x = level + rng.normal(0, STRETCH_SD, count)[number] + WEAR * since + sd * noise
    return x, number, since


def held(rng: np.random.Generator, counts: tuple[int, int], *, tail: bool = False) -> tuple[bool, bool, bool]:
    """Return whether the intervals hold 0.5 um and a ratio of 1.2, and whether one by single bores does."""
    one = made(rng, counts[0], 0.0, fresh=True, tail=tail)
    two = made(rng, counts[1], 0.5, fresh=False, sd=1.2 * SIGMA, tail=tail)
    g = [groups_of(*side, size=5) for side in (one, two)]
    slope = common_slope(
        np.r_[g[0].mean, g[1].mean], np.r_[g[0].since, g[1].since], np.r_[g[0].stretch, 100 + g[1].stretch]
    )
    level = level_difference(
        *(stretches_of(*side, least=5) for side in (one, two)),
        confidence=0.95,
        tilt=Tilt(slope_um=slope.um, error_um=slope.error_um),
    )
    ratio = spread_difference(*g, confidence=0.95)
    plain = stats.ttest_ind(two[0], one[0], equal_var=False).confidence_interval(0.95)
    return level.low <= 0.5 <= level.high, ratio.low <= 1.2 <= ratio.high, plain.low <= 0.5 <= plain.high


def shares(seed: int, runs: int, counts: tuple[int, int], *, tail: bool = False) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.mean([held(rng, counts, tail=tail) for _ in range(runs)], axis=0)


# Simulation, seed 21, 600 pairs: standard error of a share of 0.95 is 0.9 %
def test_intervals_hold_what_they_say_where_stretches_scatter_and_wear():
    level, ratio, plain = shares(21, 600, (8, 12))
    assert level == pytest.approx(0.95, abs=0.025)
    assert ratio == pytest.approx(0.95, abs=0.025)
    assert plain < 0.5, "bores counted one by one, fresh against worn"


# The table of docs/method.md, seed 22, 4,000 pairs: standard error 0.35 %
@pytest.mark.slow
@pytest.mark.parametrize("tail", [False, True])
@pytest.mark.parametrize("counts", [(4, 4), (8, 12), (30, 30), (4, 30)])
def test_coverage_of_differences(counts, tail):
    level, ratio, plain = shares(22, 4000, counts, tail=tail)
    print(
        f"\n{counts} {tail=}: level {100 * level:.1f} %, spread {100 * ratio:.1f} %, "
        f"by bores {100 * plain:.1f} %"
    )
    assert level == pytest.approx(0.95, abs=0.02)
    assert ratio == pytest.approx(0.95, abs=0.02)
