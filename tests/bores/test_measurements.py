"""Which rows make one measurement, against a plain loop over rows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.bores import measurements
from cellmon.bores.measurements import measurement_numbers

START = np.datetime64("2026-10-19T06:00:00", "us")


def texts(values):
    return np.array([*values, None], dtype=object)[:-1]


def numbers(seconds, cells, *, names=None, parts=None):
    """Rows of one gauge and bore; each reads the cells named (of 3 planes by 2 directions)."""
    k = len(seconds)
    read = np.zeros((k, 6), dtype=bool)
    for row, held in enumerate(cells):
        read[row, held] = True
    return measurement_numbers(
        texts(["G1"] * k),
        texts(parts or ["A"] * k),
        texts(["1"] * k),
        START + np.array(seconds, dtype="timedelta64[s]"),
        texts(names or [None] * k),
        read.reshape(k, 3, 2),
    )


def partition(labels):
    groups = {}
    for row, label in enumerate(labels):
        groups.setdefault(int(label), []).append(row)
    return sorted(map(tuple, groups.values()))


def test_six_readings_make_one_measurement_and_a_repeat_the_next():
    found = numbers(range(0, 84, 7), [[i % 6] for i in range(12)])
    assert partition(found) == [tuple(range(6)), tuple(range(6, 12))]


def test_every_place_read_twice_in_turn_makes_two_whole_measurements():
    found = numbers(range(12), [[i // 2] for i in range(12)])
    assert partition(found) == [tuple(range(0, 12, 2)), tuple(range(1, 12, 2))]


def test_three_minutes_count_from_the_first():
    assert partition(numbers([0, 120, 180, 181], [[0], [1], [2], [3]])) == [(0, 1, 2), (3,)]


def test_a_shared_name_outweighs_time_and_repeats():
    found = numbers([0, 5000, 1, 2], [[0], [0], [1], [2]], names=["a", "a", None, "b"])
    assert partition(found) == [(0, 1), (2,), (3,)]


def test_the_same_name_on_another_part_is_another_measurement():
    assert partition(numbers([0, 1], [[0], [1]], names=["a", "a"], parts=["A", "B"])) == [(0,), (1,)]


def test_no_rows_make_no_measurement():
    assert numbers([], []).size == 0


@st.composite
def rows(draw):
    k = draw(st.integers(1, 40))
    seconds = draw(st.lists(st.integers(0, 1500), min_size=k, max_size=k, unique=True))
    cells = draw(st.lists(st.sets(st.integers(0, 5), min_size=1, max_size=3), min_size=k, max_size=k))
    parts = draw(st.lists(st.sampled_from(["A", "B", None]), min_size=k, max_size=k))
    names = draw(st.lists(st.sampled_from([None, None, None, "m1"]), min_size=k, max_size=k))
    return seconds, [sorted(c) for c in cells], parts, names


def by_a_plain_loop(seconds, cells, parts, names):
    joined, opened = [None] * len(seconds), {}
    for row in sorted(range(len(seconds)), key=seconds.__getitem__):
        if names[row]:
            joined[row] = (parts[row], names[row])
            continue
        there = opened.setdefault(parts[row], [])
        fits = [g for g in there if seconds[row] - g[0] <= 180 and not g[1] & set(cells[row])]
        if not fits:
            fits = [(seconds[row], set())]
            there.append(fits[0])
        fits[0][1].update(cells[row])
        joined[row] = (parts[row], there.index(fits[0]))
    keys = {key: i for i, key in enumerate(dict.fromkeys(joined))}
    return [keys[key] for key in joined]


@given(rows(), st.randoms(use_true_random=False), st.sampled_from([2, 64]))
def test_rows_group_as_the_plain_loop_says_in_any_order(given_rows, random, long):
    seconds, cells, parts, names = given_rows
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(measurements, "_LONG", long)  # both ways of working a crowded series
        plain = partition(by_a_plain_loop(seconds, cells, parts, names))
        found = numbers(seconds, cells, names=names, parts=parts)
        order = list(range(len(seconds)))
        random.shuffle(order)
        shuffled = numbers(
            *([column[i] for i in order] for column in (seconds, cells)),
            names=[names[i] for i in order],
            parts=[parts[i] for i in order],
        )
    back = np.empty(len(order), dtype=int)
    back[order] = shuffled
    assert partition(found) == plain
    assert partition(back) == plain
    assert sorted(set(found.tolist())) == list(range(found.max() + 1))


def test_two_hundred_thousand_rows_and_a_reference_part_read_all_day_are_quick():
    import time

    k = 33_333
    read = np.tile(np.eye(6, dtype=bool), (k, 1)).reshape(-1, 3, 2)
    seconds = np.repeat(np.arange(k) * 20, 6) + np.tile(np.arange(6), k)
    one = texts(["x"]).repeat(6 * k)
    parts = texts([f"P{i}" for i in range(k)]).repeat(6)
    none = texts([None]).repeat(6 * k)
    at = START + seconds.astype("timedelta64[s]")
    for part in (parts, one):
        begin = time.process_time()
        found = measurement_numbers(one, part, one, at, none, read)
        assert time.process_time() - begin < 5
        assert found.max() + 1 == k
