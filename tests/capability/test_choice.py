"""The choice of a family, and the fit as it is shown."""

import numpy as np
import pytest
from scipy import stats

from cellmon.capability.choice import akaike_weights, choose, lifted, weighed
from cellmon.capability.unbounded import NORMAL
from cellmon.capability.zero_bounded import GAMMA, WEIBULL
from cellmon.errors import GapInReadings, NoSpread, NotEnoughData

CHOSEN = [
    ("normal", False, stats.norm(5, 2)),
    ("shifted lognormal", False, stats.lognorm(0.5)),
    ("heavy-tailed", False, stats.t(3)),
    ("half normal", True, stats.halfnorm()),
    ("Rayleigh", True, stats.rayleigh()),
    ("folded normal", True, stats.foldnorm(1.7)),
    ("Weibull", True, stats.weibull_min(1.3)),
    ("lognormal", True, stats.lognorm(0.5)),
    ("gamma", True, stats.gamma(5)),
]


@pytest.mark.parametrize(("name", "bounded", "population"), CHOSEN, ids=[row[0] for row in CHOSEN])
def test_the_family_the_bores_come_from_is_chosen(name, bounded, population):
    rng = np.random.default_rng(14)
    found = [choose(population.rvs(1000, random_state=rng), zero_bounded=bounded) for _ in range(12)]
    assert sum(one.best.family.name == name for one in found) >= 8
    assert sum(one.fitting for one in found) >= 9


def test_levels_are_chosen_where_bores_lie_about_two():
    rng = np.random.default_rng(2)
    x = rng.normal(size=600) + np.where(np.arange(600) < 200, 4.0, 0.0)
    assert choose(x, zero_bounded=False).best.family.name == "two levels"


def test_what_no_family_makes_is_said():
    rng = np.random.default_rng(2)
    x = np.concatenate([rng.uniform(1, 2, 400), rng.uniform(5, 6, 100)])
    assert not choose(x, zero_bounded=True).fitting


def test_weights_are_shares_and_follow_the_criterion():
    assert akaike_weights(np.array([[0.0], [2.0]]))[:, 0] == pytest.approx(
        [1 / (1 + np.exp(-1)), 0.268941], 1e-5
    )
    fits = weighed((GAMMA, WEIBULL, NORMAL), np.random.default_rng(1).gamma(3, size=200))
    assert sum(fit.weight for fit in fits) == pytest.approx(1.0)
    assert min(fits, key=lambda f: f.criterion) is max(fits, key=lambda f: f.weight)


def test_readings_of_nought_are_lifted_not_lost():
    assert lifted(np.array([0.0, 0.2, 0.4])).tolist() == [0.1, 0.2, 0.4]
    x = np.round(np.abs(np.random.default_rng(1).normal(size=300)), 1)
    assert choose(x, zero_bounded=True).best.n == 300


def test_what_carries_no_fit_is_refused():
    with pytest.raises(NotEnoughData):
        choose([1.0, 2.0], zero_bounded=False)
    with pytest.raises(NoSpread):
        choose(np.ones(20), zero_bounded=False)
    with pytest.raises(GapInReadings):
        choose([np.nan] * 20, zero_bounded=False)
    with pytest.raises(ValueError, match="negative"):
        choose(np.arange(-5.0, 15.0), zero_bounded=True)
