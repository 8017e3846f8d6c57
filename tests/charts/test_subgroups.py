"""Cutting subgroups and their statistics."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.charts.subgroups import as_subgroups, cut, statistics
from cellmon.errors import GapInReadings, NotEnoughData
from tests.charts.rows import statistics_of_rows

FOLDER = Path(__file__).parents[1] / "checks"
RINGS = np.loadtxt(FOLDER / "data/piston_rings.csv", skiprows=2, delimiter=",")[:, 1:]
ROWS = {c["id"]: c for c in json.loads((FOLDER / "shewhart_examples.json").read_text())["checks"]}


# Montgomery, Introduction to Statistical Quality Control, piston rings: printed means and ranges
def test_means_and_ranges_of_the_piston_rings_agree_with_print():
    row = ROWS["piston-rings-means-ranges"]
    found = statistics_of_rows(RINGS[:25])
    for name, values in (("mean", found.mean), ("range", found.range)):
        assert values == pytest.approx(row["expected"][name], rel=0, abs=row["tol"][name][0])
        assert values == pytest.approx(row["recomputed"][name], abs=1e-9)
    assert found.sd == pytest.approx(RINGS[:25].std(axis=1, ddof=1))


def test_subgroups_are_cut_within_segments_and_start_afresh():
    segments = [1] * 12 + [2] * 3 + [1] * 5
    assert cut(segments, size=5).tolist() == [0] * 5 + [1] * 5 + [2] * 2 + [3] * 3 + [4] * 5
    every_ten = cut(segments, size=5, step=10).tolist()
    assert every_ten == [0] * 5 + [-1] * 5 + [1] * 2 + [2] * 3 + [3] * 5
    assert cut([], size=5).size == 0
    assert cut([4], size=5, step=7).tolist() == [0]


@pytest.mark.parametrize(("size", "step"), [(0, None), (5, 4)])
def test_sizes_that_make_no_subgroup_are_refused(size, step):
    with pytest.raises(ValueError, match="step"):
        cut([1, 1], size=size, step=step)


@given(st.lists(st.integers(0, 3), max_size=80), st.integers(1, 6), st.integers(0, 4))
def test_cutting_agrees_with_a_plain_loop(segments, size, extra):
    step, labels, number, place = size + extra, [], -1, 0
    for i, segment in enumerate(segments):
        place = 0 if i == 0 or segment != segments[i - 1] else place + 1
        number += place % step == 0
        labels.append(number if place % step < size else -1)
    assert cut(segments, size=size, step=step).tolist() == labels


@given(
    arrays(np.float64, 60, elements=st.one_of(st.floats(-50, 50), st.just(np.nan))),
    st.lists(st.integers(0, 3), min_size=60, max_size=60),
    st.integers(1, 6),
    st.integers(0, 3),
)
def test_statistics_agree_with_a_plain_loop(values, segments, size, extra):
    labels = cut(np.sort(segments), size=size, step=size + extra)
    found = statistics(values, labels)
    assert len(found) == labels.max() + 1
    for i in range(len(found)):
        where = np.flatnonzero(labels == i)
        there = values[where][~np.isnan(values[where])]
        assert (found.n[i], found.first[i], found.last[i]) == (there.size, where[0], where[-1])
        expected = (
            there.mean() if there.size else np.nan,
            np.ptp(there) if there.size > 1 else np.nan,
            there.std(ddof=1) if there.size > 1 else np.nan,
        )
        got = (found.mean[i], found.range[i], found.sd[i])
        assert got == pytest.approx(expected, abs=1e-9, nan_ok=True)


def test_many_equal_subgroups_agree_with_axis_operations():
    x = np.random.default_rng(0).normal(size=(20_000, 5))
    found = statistics_of_rows(x)
    assert found.mean == pytest.approx(x.mean(axis=1))
    assert found.range == pytest.approx(np.ptp(x, axis=1))
    assert found.sd == pytest.approx(x.std(axis=1, ddof=1))
    assert found.first[-1] == 99_995


@given(
    arrays(np.float64, (4, 5), elements=st.floats(-50, 50)), st.floats(-1e5, 1e5), st.permutations(range(5))
)
def test_shift_moves_means_only_and_order_inside_does_not_matter(x, shift, order):
    before, after = statistics_of_rows(x), statistics_of_rows(x[:, order] + shift)
    assert after.mean == pytest.approx(before.mean + shift, abs=1e-9)
    assert after.range == pytest.approx(before.range, abs=1e-9)
    assert after.sd == pytest.approx(before.sd, abs=1e-9)


def test_no_bores_have_no_subgroups():
    assert len(statistics([], [])) == 0
    assert len(statistics([1.0, 2.0], [-1, -1])) == 0


def test_the_gate_refuses_in_one_set_of_words():
    with pytest.raises(TypeError, match="dimension"):
        as_subgroups([1.0, 2.0])
    with pytest.raises(NotEnoughData, match="at least 2, got 1"):
        as_subgroups([[1.0, 2.0]])
    with pytest.raises(GapInReadings, match="position 3"):
        as_subgroups([[1.0, 2.0], [3.0, np.nan]])
