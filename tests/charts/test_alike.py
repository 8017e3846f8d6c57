"""Whether two parts are alike: levels by runs, spreads inside subgroups."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cellmon.charts.alike import Between, Spread, levels_apart, spread_inside, spread_ratio
from cellmon.errors import NoSpread, NotEnoughData

KNOWN = Spread(sd=1.0, df=1e12)
"""A spread so well known that it adds nothing to an interval."""


def test_levels_apart_are_those_of_welchs_test():
    # Independent: scipy.stats.ttest_ind(equal_var=False) and its interval, sigma 1 known.
    rng = np.random.default_rng(3)
    a, b = rng.normal(0.0, 0.4, 7), rng.normal(0.6, 0.9, 11)
    independent = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
    found = levels_apart(a, b, spread=KNOWN, confidence=0.95)
    assert (found.low, found.high) == pytest.approx((independent.low, independent.high), abs=1e-6)
    assert found.value == pytest.approx(b.mean() - a.mean())


def test_the_ratio_of_spreads_is_that_of_fishers_f():
    # Independent: the interval turned round, a ratio at its lower end has the wanted tail by scipy's F.
    first, second = Spread(sd=1.3, df=37), Spread(sd=2.1, df=52)
    found = spread_ratio(first, second, confidence=0.9)
    assert found.value == pytest.approx(2.1 / 1.3)
    assert stats.f.sf((found.value / found.low) ** 2, 52, 37) == pytest.approx(0.05)
    assert stats.f.cdf((found.value / found.high) ** 2, 52, 37) == pytest.approx(0.05)


def test_a_ratio_is_the_one_of_a_handbook():
    # NIST/SEMATECH e-Handbook, section 1.3.5.9 (ceramic strength, JAHANMI2.DAT): standard deviations 65.54909
    # and 61.85425 of 240 and 240; F = 1.123037, critical values 0.7756 and 1.2894 at 0.05, two-sided
    # (figures from memory).
    found = spread_ratio(Spread(sd=61.85425, df=239), Spread(sd=65.54909, df=239), confidence=0.95)
    assert found.value**2 == pytest.approx(1.123037, abs=5e-6)
    assert (found.value / found.low) ** 2 == pytest.approx(1.2894, abs=5e-5)
    assert (found.value / found.high) ** 2 == pytest.approx(0.7756, abs=5e-5)


def test_spread_is_pooled_inside_subgroups():
    x = np.random.default_rng(1).normal(0, 2, (40, 5)) + np.arange(40)[:, None]
    inside = x - x.mean(axis=1, keepdims=True)
    found = spread_inside(x.std(axis=1, ddof=1), np.full(40, 5))
    assert found.sd == pytest.approx(np.sqrt((inside**2).sum() / 160)), "the drift between them is left out"
    assert found.df == 160


@given(st.floats(0.2, 5), st.integers(2, 40), st.integers(2, 40))
def test_turning_the_parts_round_turns_the_figures_round(scale, one, two):
    first, second = Spread(sd=1.0, df=one), Spread(sd=scale, df=two)
    there, back = (spread_ratio(*pair, confidence=0.95) for pair in ((first, second), (second, first)))
    assert (back.value, back.low, back.high) == pytest.approx(
        (1 / there.value, 1 / there.high, 1 / there.low)
    )
    a, b = np.linspace(0, 1, one), np.linspace(0, scale, two)
    there, back = (levels_apart(*pair, spread=first, confidence=0.95) for pair in ((a, b), (b, a)))
    assert (back.value, back.low, back.high) == pytest.approx((-there.value, -there.high, -there.low))


def test_too_little_is_refused():
    with pytest.raises(NotEnoughData, match="runs of each part"):
        levels_apart([1.0], [2.0, 3.0], spread=KNOWN, confidence=0.95)
    with pytest.raises(NotEnoughData):
        spread_inside([0.0], [1])
    with pytest.raises(NoSpread):
        spread_inside([0.0, 0.0], [5, 5])


def test_clearly_beyond_asks_for_size_and_sureness():
    assert Between(value=0.6, low=0.1, high=1.1).clearly_beyond(0.5, nothing=0.0)
    assert not Between(value=0.6, low=-0.1, high=1.3).clearly_beyond(0.5, nothing=0.0)
    assert not Between(value=0.4, low=0.3, high=0.5).clearly_beyond(0.5, nothing=0.0)


def test_intervals_hold_what_they_say_where_set_ups_scatter():
    # Simulation, seed 8, 2,000 pairs of 6 and 9 runs of 4 subgroups of 5, set-ups scattering by 0.5 sigma;
    # standard error of a share of 0.95 is 0.5 %.
    rng = np.random.default_rng(8)
    levels = ratios = 0
    for _ in range(2000):
        shown = []
        for runs, level, sd in ((6, 0.0, 1.0), (9, 0.7, 1.4)):
            setups = level + rng.normal(0, 0.5, (runs, 1, 1))
            x = setups + sd * rng.normal(size=(runs, 4, 5))
            shown.append(
                (x.mean(axis=(1, 2)), spread_inside(x.std(axis=2, ddof=1).ravel(), np.full(runs * 4, 5)))
            )
        (a, one), (b, two) = shown
        apart = levels_apart(a, b, spread=KNOWN, confidence=0.95)
        wider = spread_ratio(one, two, confidence=0.95)
        levels += apart.low <= 0.7 <= apart.high
        ratios += wider.low <= 1.4 <= wider.high
    assert levels / 2000 == pytest.approx(0.95, abs=0.02)
    assert ratios / 2000 == pytest.approx(0.95, abs=0.015)
