"""Matching by grades: a worked case, and the best borders against every set there is."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from cellmon.errors import WrongUsage
from cellmon.fits.clearance import Limits
from cellmon.fits.grades import best_borders, equal_borders, grading, misgraded_share

LIMITS = Limits(lower=30.0, upper=46.0)
LEVELS = (np.arange(4000) + 0.5) / 4000
BORES, MATES = norm.ppf(LEVELS, 12.0, 2.0), norm.ppf(LEVELS, -26.0, 3.5)
FEW = st.lists(st.integers(0, 8).map(float), min_size=3, max_size=8)


# worked example, derived: three grades of 8 um, bores 2/95/2 %, pistons 13/75/13 %; 79 % pair, none outside
def test_three_grades_of_eight_pair_up_as_worked():
    found = grading(BORES, MATES, LIMITS, borders_um=[8.0, 16.0])
    assert [round(100 * g.bores / 4000) for g in found.grades] == [2, 95, 2]
    assert [round(100 * g.mates / 4000) for g in found.grades] == [13, 75, 13]
    assert found.pairs / 4000 == pytest.approx(0.79, abs=0.006)
    assert found.outside < 2e-4
    assert found.left_bores == found.left_mates == 4000 - found.pairs
    assert found.grades[1].outside == 0.0
    assert (found.grades[0].bore_from_um, found.grades[0].bore_to_um) == (None, 8.0)
    assert (found.grades[1].mate_from_um, found.grades[1].mate_to_um) == (-30.0, -22.0)


# worked example, derived: a gauge of 0.35 um puts 1.5 % into a wrong grade, one of 0.9 um 4.6 %
@pytest.mark.parametrize(("u", "share"), [(0.35, 1.5), (0.9, 4.6)])
def test_a_gauge_puts_as_many_into_a_wrong_grade_as_worked(u, share):
    assert 100 * misgraded_share(BORES, borders_um=[8.0, 16.0], u_um=u) == pytest.approx(share, abs=0.06)
    rng = np.random.default_rng(5)
    true = rng.normal(12.0, 2.0, 200_000)
    read = true + rng.normal(0.0, u, len(true))
    wrong = np.mean(np.searchsorted([8.0, 16.0], true) != np.searchsorted([8.0, 16.0], read))
    assert misgraded_share(true, borders_um=[8.0, 16.0], u_um=u) == pytest.approx(wrong, abs=0.001)
    assert misgraded_share(BORES, borders_um=[8.0, 16.0], u_um=0.0) == 0.0


@given(FEW, FEW, st.integers(1, 3))
@settings(max_examples=150, deadline=None)
def test_the_best_borders_are_the_best_of_all_sets(bores, mates, grades):
    limits = Limits(lower=1.0, upper=3.0)
    mates = [m - 2 for m in mates]
    inner = [sorted({x for x in range(-9, 9) if min(s) < x < max(s)}) for s in (bores, mates)]
    sets = [
        (own, other)
        for own in combinations(inner[0], grades - 1)
        for other in combinations(inner[1], grades - 1)
    ]
    if not sets:
        with pytest.raises(WrongUsage):
            best_borders(bores, mates, limits, grades=grades)
        return
    every = [grading(bores, mates, limits, borders_um=own, mate_borders_um=other) for own, other in sets]
    found = best_borders(bores, mates, limits, grades=grades)
    assert found.good_pairs == pytest.approx(max(g.good_pairs for g in every))
    assert len(found.grades) == grades


def test_best_grades_leave_next_to_nothing_over_where_equal_ones_leave_a_fifth():
    rng = np.random.default_rng(7)
    bores, mates = rng.normal(12.0, 2.0, 600), rng.normal(-26.0, 3.5, 600)
    equal = grading(bores, mates, LIMITS, borders_um=equal_borders(0.0, 24.0, grades=3))
    best = best_borders(bores, mates, LIMITS, grades=3)
    assert equal.pairs < 500
    assert best.good_pairs > 590 and best.outside < 0.01


@settings(deadline=None)
@given(FEW, FEW)
def test_grades_lose_and_double_nothing(bores, mates):
    found = grading(bores, mates, Limits(lower=0.0, upper=2.0), borders_um=[2.0, 5.0])
    assert sum(g.bores for g in found.grades) == len(bores)
    assert sum(g.mates for g in found.grades) == len(mates)
    assert found.pairs + found.left_bores == len(bores)
    assert found.pairs + found.left_mates == len(mates)
    assert 0 <= found.good_pairs <= found.pairs


def test_the_grid_widens_where_sizes_reach_far():
    found = best_borders(np.linspace(0, 2000, 50), np.linspace(-38, 1962, 50), LIMITS, grades=2)
    assert found.borders_um[0] % 64 == 0


def test_borders_that_make_no_grades_are_refused():
    with pytest.raises(WrongUsage, match="ascend"):
        grading(BORES, MATES, LIMITS, borders_um=[16.0, 8.0])
    with pytest.raises(WrongUsage, match="as many"):
        grading(BORES, MATES, LIMITS, borders_um=[8.0], mate_borders_um=[1.0, 2.0])
    with pytest.raises(WrongUsage, match="at least one"):
        best_borders(BORES, MATES, LIMITS, grades=0)
    with pytest.raises(WrongUsage, match="further apart"):
        best_borders([1.0, 1.5], [2.0, 2.5], LIMITS, grades=3)
