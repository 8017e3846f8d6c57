"""Pattern tests on points: every row of tests/checks/pattern_tests.json, and slow counting by hand."""

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.charts.patterns import (
    EIGHT_TESTS,
    FOUR_ZONE_TESTS,
    STANDARD_TESTS,
    Shape,
    Test,
    completed,
)
from cellmon.errors import GapInReadings, NotEnoughData
from tests.charts.window_chance import window_chance

ROWS = json.loads((Path(__file__).parents[1] / "checks/pattern_tests.json").read_text())["checks"]
SHAPES = {"k_of_n_beyond": Shape.SHARE_BEYOND}


def test_of(inputs):
    rest = {name: inputs[name] for name in ("n", "k", "limit") if name in inputs}
    return Test(shape=SHAPES.get(inputs["test"]) or Shape(inputs["test"]), **rest)


test_of.__test__ = False


def rows(quantity):
    found = [row for row in ROWS if row["quantity"] == quantity]
    return pytest.mark.parametrize("row", found, ids=[row["id"] for row in found])


@rows("pattern_indices")
def test_positions_are_the_checked_ones(row):
    found = completed(row["inputs"]["z"], (test_of(row["inputs"]),))
    assert (np.flatnonzero(found) + 1).tolist() == row["expected"]


@rows("pattern_probability")
def test_chance_of_a_window_is_the_exact_one(row):
    assert window_chance(test_of(row["inputs"])) == pytest.approx(row["expected"], rel=0, abs=row["tol"])


def test_no_row_of_the_file_is_left_out():
    assert {row["quantity"] for row in ROWS} == {"pattern_indices", "pattern_probability"}
    assert len(ROWS) == 14


# Nelson (1984): each of the eight signals falsely less than five times in a thousand
@pytest.mark.parametrize("test", EIGHT_TESTS)
def test_each_of_the_eight_is_rarer_than_five_in_a_thousand(test):
    assert 1e-4 < window_chance(test) < 0.005


def matches(window, test):
    """Tell by the words of each test whether a window of n points shows it."""
    up, down = window > test.limit, window < -test.limit
    moves = np.sign(np.diff(window))
    match test.shape:
        case Shape.BEYOND:
            found = bool(up[-1] or down[-1])
        case Shape.RUN:
            found = bool(up.all() or down.all())
        case Shape.TREND:
            found = bool((moves > 0).all() or (moves < 0).all())
        case Shape.ALTERNATING:
            found = bool((moves != 0).all() and (moves[1:] == -moves[:-1]).all())
        case Shape.SHARE_BEYOND:
            found = any(bool(side[-1]) and side.sum() >= test.k for side in (up, down))
        case Shape.WITHIN:
            found = bool((np.abs(window) < test.limit).all())
        case Shape.AVOID_CENTRE:
            found = bool((up | down).all() and up.any() and down.any())
    return found


def by_hand(z, tests):
    result = np.zeros(len(z), dtype=int)
    for at, (bit, test) in itertools.product(range(len(z)), enumerate(tests)):
        window = z[max(0, at + 1 - test.n) : at + 1]
        whole = len(window) == test.n or test.shape is Shape.SHARE_BEYOND
        result[at] |= int(whole and matches(np.asarray(window), test)) << bit
    return result


@given(
    st.lists(
        st.sampled_from([-3.2, -2.5, -1.5, -1.0, -0.5, 0.0, 0.2, 0.4, 1.5, 2.5, 3.2]), min_size=1, max_size=60
    )
)
def test_every_point_is_as_counted_by_hand(z):
    for tests in (EIGHT_TESTS, FOUR_ZONE_TESTS, STANDARD_TESTS):
        assert completed(z, tests).tolist() == by_hand(z, tests).tolist()


@pytest.mark.parametrize("test", EIGHT_TESTS)
def test_random_windows_show_it_as_often_as_computed(test):
    # 400,000 windows of their own; allowed: four standard errors
    z = np.random.default_rng(11).standard_normal((400_000, test.n))
    found = sum(
        int(completed(part.ravel(), (test,))[test.n - 1 :: test.n].sum()) for part in np.split(z, 100)
    )
    chance = window_chance(test)
    assert found == pytest.approx(400_000 * chance, abs=4 * math.sqrt(400_000 * chance))


def test_blocks_leave_no_seam():
    z = np.random.default_rng(2).standard_normal(100_000) * 1.2
    whole = completed(z)
    for start in (1, 12_345, 32_760, 65_530):
        assert (completed(z[start:])[20:] == whole[start + 20 :]).all()


def test_mirrored_points_complete_the_same():
    z = np.random.default_rng(3).standard_normal(20_000)
    assert (completed(z) == completed(-z)).all()


def test_points_that_are_none_are_refused():
    with pytest.raises(GapInReadings, match="position 1"):
        completed([0.0, math.nan])
    with pytest.raises(NotEnoughData):
        completed([])
    with pytest.raises(ValueError, match="at most 16"):
        completed([0.0], EIGHT_TESTS * 3)
    for wrong in (
        {"shape": Shape.BEYOND},
        {"shape": Shape.TREND, "n": 1},
        {"shape": Shape.RUN, "n": 3, "k": 4},
    ):
        with pytest.raises(ValueError, match="cannot be"):
            Test(**wrong)
