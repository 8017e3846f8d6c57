"""Uneven wear: what it is, what it prints, and stones that changed place."""

import numpy as np
import pytest

from cellmon.stones.evenness import evenness, prints, swapped

SET = 2000.0 + np.array([[0.0, -2.0, -9.0], [6.0, 4.0, -1.0], [-4.0, -6.0, -15.0], [20.0, 18.0, 13.0]])


# by hand: ends differ by 9, 7, 11, 7; crowns -2 - (-4.5) = 2.5, 1.5, 3.5, 1.5; heights -3.67, 3, -8.33, 17
def test_figures_of_a_set_are_those_worked_by_hand():
    found = evenness(SET)
    assert (found.parallel_um, found.flat_um) == pytest.approx((11.0, 3.5))
    assert found.matched_um == pytest.approx(17 + 25 / 3)
    assert (found.taper_um, found.hollow_um) == pytest.approx((8.5, -2.25))


def test_taper_and_hollow_print_twice_on_the_diameter_with_their_sign():
    found = prints(evenness(SET))
    assert found is not None
    assert (found.taper_um, found.barrel_um) == pytest.approx((17.0, 4.5))


def test_what_lies_inside_the_readings_scatter_is_not_said():
    rng = np.random.default_rng(1)
    said = [evenness(2000 + 2.0 * rng.standard_normal((4, 3)), reading_um=2.0) for _ in range(1000)]
    for name in ("flat", "parallel", "matched", "taper", "hollow"):
        assert np.mean([one.said(name) for one in said]) <= 0.08, name  # 5 % and its standard error


def test_a_place_that_is_missing_leaves_the_figure_unknown():
    only_middle = evenness(np.array([[2000.0], [2003.0]]))
    assert only_middle.parallel_um is None and only_middle.taper_um is None
    assert prints(only_middle) is None
    assert only_middle.matched_um == 3.0


def test_stones_that_changed_place_are_seen_and_those_that_did_not_are_left_alone():
    rng = np.random.default_rng(2)
    after = SET - 300.0 + 1.0 * rng.standard_normal(SET.shape)
    assert swapped(SET, after, reading_um=1.0) is None
    found = swapped(SET, after[[0, 3, 2, 1]], reading_um=1.0)
    assert found is not None
    assert found.order == (0, 3, 2, 1)


def test_a_stone_the_other_way_up_is_seen():
    before = 2000.0 + np.array([[0.0, 0.0, -30.0], [0.0, 0.0, 2.0], [1.0, 0.0, 1.0]])
    after = before - 250.0
    after[0] = after[0, ::-1]
    found = swapped(before, after, reading_um=1.0)
    assert found is not None and found.turned == (0,)
    assert found.order == (0, 1, 2)


def test_false_questions_are_rare():
    rng = np.random.default_rng(3)
    asked = 0
    for _ in range(1000):
        before = 2000 + 3.0 * rng.standard_normal((4, 1)) + np.array([0.0, 0.0, -10.0])
        read = lambda um: um + 2.0 * rng.standard_normal(um.shape)  # noqa: E731
        asked += swapped(read(before), read(before - 280.0), reading_um=2.0) is not None
    assert asked <= 10


def test_without_a_repeatability_nothing_is_asked():
    assert swapped(SET, SET[::-1], reading_um=0.0) is None
    assert swapped(SET, np.full_like(SET, np.nan), reading_um=1.0) is None
