"""Means over the bores of a block and distances from them: which rows they take, and what they come to."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.judged import Bores
from cellmon.monitor.judge.together import alone, groups, has_distances, of_spindles, row_means, together
from cellmon.records import no_rows
from tests.monitor.judge.making import demo_sheet, minute

SHEET = demo_sheet()
PART = SHEET.part()
SPINDLE = {"1": "S1", "2": "S1", "3": "S2", "4": "S2"}


def bores(rows):
    """Return bores in making order from (part, bore, size) or (part, bore, size, spindle)."""
    made = no_rows(Bores, um=np.zeros((0, 1, 1)), planes=("top",), directions=("x",))
    count = len(rows)
    columns = {}
    for name, array in made.arrays():
        kind = array.dtype
        columns[name] = (
            np.full(count, None, dtype=object)
            if kind.kind == "O"
            else np.zeros((count, *array.shape[1:]), kind)
        )
    columns["part"][:] = [r[0] for r in rows]
    columns["bore"][:] = [r[1] for r in rows]
    columns["spindle"][:] = [r[3] if len(r) > 3 else SPINDLE[r[1]] for r in rows]
    columns["average"][:] = [r[2] for r in rows]
    columns["measured_at"][:] = [minute(i) for i in range(count)]
    columns["flags"][:] = [1 << i for i in range(count)]
    columns["thermal"][:] = [float(i) for i in range(count)]
    columns["part_number"][:] = PART.number
    return replace(made, **columns)


def pooled(given_, segment=None):
    """Return each pooled stream's figures and parts, by spindle and kind."""
    count = len(given_)
    segment = np.zeros(count, dtype=np.int64) if segment is None else np.array(segment)
    over = np.zeros(count, dtype=bool)
    return {
        (r.part_of, None if r.part_of == "distance" else r.bores.spindle[0]): r
        for r in together(given_, segment, over, PART, SHEET)
    }


BLOCKS = [("A", "1", 1.0), ("A", "2", 2.0), ("A", "3", 3.0), ("A", "4", 6.0)]


# By hand: the mean of 1, 2, 3 and 6 is 3, of spindle S1 1.5, of S2 4.5; distances -2, -1, 0, 3.
def test_means_and_distances_of_one_block():
    found = pooled(bores(BLOCKS))
    assert set(found) == {("itself", None), ("itself", "S1"), ("itself", "S2"), ("distance", None)}
    values = {key: r.figures(bores(BLOCKS).average).tolist() for key, r in found.items()}
    assert values["itself", None] == [3.0]
    assert (values["itself", "S1"], values["itself", "S2"]) == ([1.5], [4.5])
    assert values["distance", None] == [-2.0, -1.0, 0.0, 3.0]
    assert found["distance", None].bores.bore.tolist() == ["1", "2", "3", "4"]
    assert not found["distance", None].bores.thermal.any(), "what all share moves no distance"


def test_a_block_that_lacks_a_bore_counts_only_where_all_of_the_group_are_there():
    found = pooled(bores([*BLOCKS, ("B", "1", 9.0), ("B", "2", 5.0), ("B", "3", 5.0)]))
    assert len(found["itself", None].members) == 1 and len(found["distance", None].members) == 4
    assert len(found["itself", "S1"].members) == 2 and len(found["itself", "S2"].members) == 1


def test_a_bore_honed_by_another_spindle_than_its_own_is_left_out():
    misrouted = [("A", "1", 1.0, "S2"), *BLOCKS[1:]]
    assert set(pooled(bores(misrouted))) == {("itself", "S2")}


def test_a_mean_is_carried_by_its_last_bore_and_doubted_where_any_is():
    given_ = bores(
        [BLOCKS[0], ("B", "1", 0.0), *BLOCKS[1:], ("B", "2", 0.0), ("B", "3", 0.0), ("B", "4", 0.0)]
    )
    whole = pooled(given_)["itself", None]
    assert whole.bores.part.tolist() == ["A", "B"]
    assert whole.bores.measured_at.tolist() == [minute(4).item(), minute(7).item()]
    assert whole.bores.flags.tolist() == [1 + 4 + 8 + 16, 2 + 32 + 64 + 128]
    assert whole.bores.bore.tolist() == [None, None]
    np.testing.assert_allclose(whole.bores.thermal, [(0 + 2 + 3 + 4) / 4, (1 + 5 + 6 + 7) / 4])


def test_a_bore_without_the_figure_leaves_its_block_without():
    given_ = bores([("A", "1", np.nan), *BLOCKS[1:]])
    found = pooled(given_)
    assert np.isnan(found["itself", None].figures(given_.average)).all()
    assert found["itself", "S2"].figures(given_.average).tolist() == [4.5]
    assert np.isnan(found["distance", None].figures(given_.average)).all()


def test_no_mean_reaches_across_what_no_subgroup_may_span():
    given_ = bores([*BLOCKS, *[("B", b, v) for _, b, v in BLOCKS], *[("C", b, v) for _, b, v in BLOCKS]])
    found = pooled(given_, segment=[0, 0, 7, 7, 0, 0, 8, 8, 1, 1, 8, 8])
    assert len(set(found["itself", None].segment.tolist())) == 3
    assert found["itself", "S1"].segment.tolist() == [0, 0, 1]
    assert found["itself", "S2"].segment.tolist() == [0, 1, 1]


@given(st.lists(st.lists(st.floats(-20, 20), min_size=4, max_size=4), min_size=1, max_size=8), st.randoms())
@settings(max_examples=40)
def test_distances_of_a_block_add_to_nought_and_means_to_the_mean(blocks, shuffle):
    rows = [(f"B{i:03d}", b, v) for i, block in enumerate(blocks) for b, v in zip("1234", block, strict=True)]
    shuffle.shuffle(rows)
    given_ = bores(rows)
    found = pooled(given_)
    apart = found["distance", None]
    values = apart.figures(given_.average)
    for i, block in enumerate(blocks):
        mine = apart.bores.part == f"B{i:03d}"
        assert values[mine].sum() == pytest.approx(0.0, abs=1e-9)
        for key in (None, "S1", "S2"):
            rows_ = found["itself", key]
            at = rows_.bores.part == f"B{i:03d}"
            expected = {None: block, "S1": block[:2], "S2": block[2:]}[key]
            assert rows_.figures(given_.average)[at][0] == pytest.approx(np.mean(expected), abs=1e-9)


def test_what_is_watched_together_follows_the_sheet():
    assert [(g.spindle, g.bores) for g in groups(PART, SHEET)] == [
        (None, ("1", "2", "3", "4")),
        ("S1", ("1", "2")),
        ("S2", ("3", "4")),
    ]
    assert has_distances(PART)
    two = PART.model_copy(update={"bores": ("1", "3")})
    assert [g.spindle for g in groups(two, SHEET)] == [None], "a spindle of one bore is that bore"
    assert not has_distances(two)
    assert groups(PART.model_copy(update={"bores": ("1",)}), SHEET) == ()


def test_a_spindle_of_one_bore_has_its_process_figures_too():
    two = PART.model_copy(update={"bores": ("1", "3")})
    given_ = bores([("A", "1", 1.0), ("A", "3", 2.0)])
    found = list(of_spindles(given_, np.zeros(2, dtype=np.int64), np.zeros(2, dtype=bool), two, SHEET))
    assert [(r.bores.spindle[0], r.figures(given_.average).tolist()) for r in found] == [
        ("S1", [1.0]),
        ("S2", [2.0]),
    ]


def test_nothing_comes_of_nothing_and_bores_alone_stay_themselves():
    none = bores([])
    assert pooled(none) == {}
    given_ = bores(BLOCKS)
    rows = alone(given_, np.arange(4), np.zeros(4, dtype=bool))
    np.testing.assert_array_equal(rows.figures(given_.average), given_.average)


@pytest.mark.parametrize("figures", range(1, 13))
def test_the_mean_of_each_row_is_what_numpy_gives_to_the_last_bit(figures):
    values = np.random.default_rng(figures).normal(0, 1e-3 * 10.0**figures, (500, figures))
    values[::50, -1] = np.nan
    assert np.array_equal(row_means(values), values.mean(axis=1), equal_nan=True)
