"""What forbids speaking for the bores to come, found where it is and not where it is not."""

import numpy as np
import pytest

from cellmon.capability.window import count_repeats, distinct_steps, effective_bores, find_cliff, find_trend
from cellmon.errors import NoSpread


def ar1(n, r, rng):
    x = np.zeros(n)
    for i, e in enumerate(rng.normal(size=n)):
        x[i] = (r * x[i - 1] if i else 0.0) + e
    return x


def test_correlated_bores_are_worth_less():
    x = ar1(5000, 0.5, np.random.default_rng(2))
    found = effective_bores(x)
    assert found.noted
    assert found.correlation == pytest.approx(0.5, abs=0.05)
    assert found.for_mean == pytest.approx(5000 / 3, rel=0.15)  # (1 - r) / (1 + r)
    assert found.for_spread == pytest.approx(5000 * 0.6, rel=0.12)  # (1 - r^2) / (1 + r^2)


def test_the_worth_for_the_mean_is_that_of_its_scatter():
    rng, n = np.random.default_rng(3), 400
    x = np.array([ar1(n, 0.4, rng) for _ in range(400)])
    ratio = np.mean([effective_bores(row).for_mean for row in x])
    assert x.var() / x.mean(axis=1).var() == pytest.approx(ratio, rel=0.2)


def test_independent_bores_keep_their_number():
    x = np.random.default_rng(2).normal(size=1000)
    assert (effective_bores(x).noted, effective_bores(x).for_mean) == (False, 1000)
    assert effective_bores(np.ones(5)).correlation == 0


@pytest.mark.parametrize("r", [0.0, 0.4])
def test_a_trend_is_told_without_cause_as_seldom_as_said(r):
    rng = np.random.default_rng(6)
    told = np.mean([find_trend(ar1(200, r, rng)).p_value < 0.01 for _ in range(400)])
    assert told <= 0.01 + 0.02


def test_a_trend_that_matters_is_found():
    x = np.random.default_rng(6).normal(size=200)
    found = find_trend(x + np.linspace(0, 2, 200))
    assert found.matters
    assert found.way == pytest.approx(2.0, abs=0.6)
    assert not find_trend(x + np.linspace(0, 0.3, 200)).matters
    assert not find_trend(x + 2 * (np.arange(200) % 20) / 20).matters  # wear that is dressed off comes back
    with pytest.raises(NoSpread):
        find_trend(np.arange(20.0))


def test_sorted_bores_are_found_and_others_are_not():
    rng = np.random.default_rng(4)
    found = false = 0
    for _ in range(100):
        x = rng.normal(size=600)
        accepted = x[x < 1.5][:300]
        found += find_cliff(accepted, limit=1.5, side="upper").found
        false += find_cliff(x[:300], limit=x[:300].max() + 0.01, side="upper").found
    assert found >= 97
    assert false <= 1


def test_a_cliff_tells_how_much_is_missing_and_works_on_both_sides():
    x = np.random.default_rng(4).normal(size=20_000)
    upper = find_cliff(x[x < 1.0], limit=1.0, side="upper")
    lower = find_cliff(-x[x < 1.0], limit=-1.0, side="lower")
    assert upper.missing == pytest.approx(0.1587 / 0.8413, rel=0.15)  # 16 % of a normal lie beyond 1
    assert lower.missing == pytest.approx(upper.missing)
    assert not find_cliff(x, limit=1.0, side="upper").found  # bores beyond it: nothing was sorted
    assert not find_cliff(x, limit=9.0, side="upper").found
    with pytest.raises(ValueError, match="upper or lower"):
        find_cliff(x, limit=1.0, side="above")


def test_repeats_and_steps_are_counted():
    assert count_repeats(["a", "b", "a", "c", "b", "a"]) == 3
    assert distinct_steps([1.0, 1.0, 2.0, 2.0, 3.0]) == 3
