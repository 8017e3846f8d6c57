"""Shares of bores with a finding: exact limits against other computations of the same chances."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cellmon.charts.shares import (
    BASELINE_GROUPS,
    LEAST_BORES,
    LEAST_GROUPS,
    held_against,
    most_by_chance,
    tail_chances,
    watch_shares,
)
from cellmon.stats.intervals import clopper_pearson

FOLDER = Path(__file__).parents[1] / "checks"
ROWS = {c["id"]: c for c in json.loads((FOLDER / "proportions.json").read_text())["checks"]}
counts = st.integers(0, 40), st.integers(1, 60), st.integers(0, 40), st.integers(0, 400)


# Fisher's exact test: given both counts together, the later one is hypergeometric whatever the share (Fisher,
# Statistical Methods for Research Workers, section 21.02, from memory); scipy's own distribution.
@given(*counts)
def test_the_tail_is_that_of_fishers_exact_test(count, n, seen, more):
    of = seen + more + 1
    count = min(count, n)
    exact = stats.hypergeom(of + n, seen + count, n).sf(count - 1)
    assert tail_chances(n, seen=seen, of=of)[count] == pytest.approx(exact, rel=1e-8, abs=1e-12)


@given(*counts)
def test_the_tail_is_beta_binomial(count, n, seen, more):
    of = seen + more + 1
    count = min(count, n + 1)
    whole = stats.betabinom(n, seen + 1, of - seen)
    assert tail_chances(n, seen=seen, of=of)[count] == pytest.approx(whole.sf(count - 1), rel=1e-7, abs=1e-9)


# Newcombe, Statistics in Medicine 17 (1998), table I, method 5: printed limits of Clopper and Pearson. The
# share behind the limit has the beta distribution whose quantile they are.
@pytest.mark.parametrize("name", ["clopper-81-263", "clopper-0-20"])
def test_the_share_behind_a_limit_has_the_printed_upper_limits(name):
    row = ROWS[name]
    k, n = row["inputs"]["k"], row["inputs"]["n"]
    assert stats.beta(k + 1, n - k).ppf(0.975) == pytest.approx(row["expected"][1], abs=row["tol"][1])
    # of a very large group the most is its share of that quantile
    most = most_by_chance(2_000_000, seen=k, of=n, chance=0.025)
    assert most / 2_000_000 == pytest.approx(clopper_pearson(k, n).high, abs=1e-5)


# With a past of ten million bores the share is known: then it is the binomial quantile itself.
@pytest.mark.parametrize("share", [1e-3, 0.01, 0.2])
@pytest.mark.parametrize("n", [50, 600])
def test_a_very_long_past_gives_the_binomial_limit(share, n):
    found = most_by_chance(n, seen=int(share * 10_000_000), of=10_000_000, chance=1 / 370)
    assert found == stats.binom.ppf(1 - 1 / 370, n, share)


# Summed over every count that the past may have had: never more often than promised, for no share.
@pytest.mark.parametrize("share", [1e-4, 1e-3, 0.005, 0.02, 0.1, 0.5, 0.95])
@pytest.mark.parametrize(("of", "n"), [(1000, 100), (12_640, 632), (200, 30)])
def test_no_share_makes_more_false_alarms_than_promised(share, of, n):
    chance, alarms = 1 / 370, 0.0
    low, high = stats.binom.ppf([1e-12, 1 - 1e-12], of, share).astype(int)
    for seen in range(low, high + 1):
        most = most_by_chance(n, seen=seen, of=of, chance=chance)
        alarms += stats.binom.pmf(seen, of, share) * stats.binom.sf(most, n, share)
    assert alarms <= chance * (1 + 1e-6)


def test_a_clean_past_has_a_limit_too():
    # 1 of 632 after none of 12,640: 632 / 13,272 by chance; 3 of them once in 10,000
    assert tail_chances(632, seen=0, of=12_640)[1] == pytest.approx(632 / 13_272)
    assert most_by_chance(632, seen=0, of=12_640, chance=1 / 370) == 1
    assert most_by_chance(632, seen=0, of=12_640, chance=1 / 900) == 2


def test_too_short_or_too_bad_a_past_allows_every_count():
    assert most_by_chance(30, seen=0, of=0, chance=1 / 370) == 30
    assert most_by_chance(30, seen=8, of=8, chance=1 / 370) == 30


@given(st.integers(1, 300), st.integers(0, 30), st.integers(0, 5000), st.floats(1e-5, 0.2))
def test_more_seen_or_a_smaller_chance_never_lowers_the_limit(n, seen, more, chance):
    of = seen + more
    here = most_by_chance(n, seen=seen, of=of, chance=chance)
    assert most_by_chance(n, seen=seen + 1, of=of + 1, chance=chance) >= here
    assert most_by_chance(n, seen=seen, of=of, chance=chance / 2) >= here
    assert most_by_chance(n + 1, seen=seen, of=of, chance=chance) >= here


@given(st.lists(st.integers(0, 3), min_size=1, max_size=60), st.integers(1, 59))
@settings(max_examples=30, deadline=None)
def test_what_comes_later_changes_no_limit_before(found, until):
    of = [80] * len(found)
    whole, part = (watch_shares(found[:n], of[:n], chance=1 / 370) for n in (len(found), until))
    np.testing.assert_array_equal(whole.most[: len(part.most)], part.most)


def test_each_group_is_held_against_its_own_chance():
    chances = np.where(np.arange(60) % 3, 1 / 370, 1 / 9000)
    of = [80, 120] * 30
    found = watch_shares([0] * 60, of, chance=chances)
    for chance in set(chances):
        here = chances == chance
        np.testing.assert_array_equal(found.most[here], watch_shares([0] * 60, of, chance=chance).most[here])
    assert len(set(zip(of[30:], chances[30:], found.most[30:], strict=True))) == 4


def test_limits_begin_with_20_groups_or_1000_bores_and_rest_on_25():
    few = watch_shares([0] * 40, [10] * 40, chance=1 / 370)
    assert np.isnan(few.most[:LEAST_GROUPS]).all() and np.isfinite(few.most[LEAST_GROUPS:]).all()
    assert few.of[-1] == 10 * BASELINE_GROUPS
    many = watch_shares([0] * 5, [LEAST_BORES] * 5, chance=1 / 370)
    assert np.isnan(many.most[0]) and np.isfinite(many.most[1:]).all()


def test_a_group_beyond_its_limit_does_not_become_usual():
    found = watch_shares([0, 0, 0, 40, 40, 0], [500] * 6, chance=1 / 370)
    assert found.beyond.tolist() == [False, False, False, True, True, False]
    assert (found.seen == 0).all() and found.of[-1] == 1500


def test_a_group_without_bores_is_passed_over():
    found = watch_shares([0] * 20 + [0, 9], [100] * 20 + [0, 100], chance=1 / 370)
    assert np.isnan(found.most[20]) and found.beyond[21] and found.of[21] == 2000


@given(st.lists(st.integers(0, 9), min_size=40, max_size=60))
@settings(max_examples=20, deadline=None)
def test_held_against_the_past_that_is_fixed_groups_are_judged_as_after_it(found):
    whole = watch_shares(found, [80] * len(found), chance=1 / 370)
    if (begin := whole.fixed_from) is None:
        assert (~whole.beyond).sum() <= BASELINE_GROUPS
        return
    seen, total = int(whole.seen[begin]), int(whole.of[begin])
    later = held_against(found[begin:], [80] * len(found[begin:]), seen=seen, total=total, chance=1 / 370)
    for name in ("most", "beyond", "seen", "of"):
        np.testing.assert_array_equal(getattr(whole, name)[begin:], getattr(later, name))


@pytest.mark.parametrize(("found", "of"), [([-1], [10]), ([11], [10]), ([1, 2], [10]), ([[1]], [[10]])])
def test_counts_that_are_none_are_refused(found, of):
    with pytest.raises(ValueError, match="counts"):
        watch_shares(found, of, chance=1 / 370)
    with pytest.raises(ValueError, match="chance"):
        most_by_chance(10, seen=0, of=10, chance=1.0)
    with pytest.raises(ValueError, match="counts"):
        tail_chances(10, seen=5, of=4)
