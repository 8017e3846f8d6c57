"""Blocks of columns give back what was put into them, to the last bit."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from cellmon.records.alike import FEW
from cellmon.store.chunks import decode, encode, encode_each

WORDS = st.one_of(st.none(), st.text(st.characters(exclude_categories=["Cs"]), max_size=8))


def same(written: np.ndarray, read: np.ndarray) -> bool:
    """Return whether an array came back, nan and NaT among it."""
    if written.dtype == object:
        return written.tolist() == read.tolist()
    if written.dtype.kind == "M":
        return bool(
            (written.astype("datetime64[us]").astype(np.int64) == read.view(np.int64)).all()
            and read.dtype == "datetime64[us]"
        )
    if written.dtype.kind == "f" and (np.signbit(written) != np.signbit(read))[written == 0].any():
        return False  # nought with a minus and nought without are equal, and yet not the same
    return bool(np.array_equal(written, read, equal_nan=written.dtype.kind == "f"))


@settings(deadline=None)  # the first example imports pandas
@given(st.lists(WORDS, max_size=40))
def test_words_come_back_whatever_their_letters(words):
    column = np.empty(len(words), dtype=object)
    column[:] = words
    found = decode(encode({"word": column}))["word"]
    assert found.dtype == object
    assert found.tolist() == words


@pytest.mark.parametrize("word", ["", "\x00", "a\x00b", "a\x00c", "Ø 87,3 mm", "\U0001f527", "nan", "None"])
def test_odd_words_are_not_taken_for_one_another(word):
    column = np.array([word, None, "a", word], dtype=object)
    assert decode(encode({"word": column}))["word"].tolist() == [word, None, "a", word]


@given(arrays(np.float64, array_shapes(min_dims=1, max_dims=3, min_side=0, max_side=5)))
def test_figures_come_back_extreme_ones_too(values):
    found = decode(encode({"um": values}))["um"]
    assert found.shape == values.shape and found.dtype == np.float64
    assert same(values, found)


@given(arrays(np.int64, st.integers(0, 30), elements=st.integers(-(2**40), 2**40)))
def test_figures_of_four_decimals_come_back_exactly(whole):
    values = np.round(whole / 1e4, 4)
    values[::3] = np.nan
    assert same(values, decode(encode({"um": values}))["um"])


@pytest.mark.parametrize(
    "beside", [[], [1.5], [np.nan], [0.1 + 0.2], [np.inf, -np.inf], [-214748.3646, 214748.3646]]
)
def test_a_nought_keeps_its_minus_whatever_stands_beside_it(beside):
    values = np.array([0.0, -0.0, *beside])
    assert same(values, decode(encode({"um": values}))["um"])


@pytest.mark.parametrize("edge", [2**31 - 2, 2**31 - 1, 2**31, 2**31 + 1])
@pytest.mark.parametrize("sign", [1, -1])
def test_figures_at_the_edge_of_four_bytes_are_not_taken_for_a_gap_or_a_nought(edge, sign):
    values = np.array([sign * edge / 1e4, np.nan, -0.0])
    assert same(values, decode(encode({"um": values}))["um"])


def test_what_was_read_may_be_changed():
    columns = {
        "part": np.array(["A", None], dtype=object),
        "at": np.array(["2026-03-02", "NaT"], dtype="datetime64[us]"),
        "um": np.array([1.5, np.nan]),
        "odd": np.array([0.1 + 0.2, 1.0]),
        "n": np.array([1, 300]),
    }
    for array in decode(encode(columns)).values():
        array[0] = array[1]


@given(arrays(np.int64, st.integers(0, 30)))
def test_whole_numbers_come_back_from_the_narrowest_to_the_widest(values):
    assert same(values, decode(encode({"n": values}))["n"])


@given(arrays(np.bool_, st.integers(0, 30)))
def test_yes_and_no_come_back_as_ones_and_noughts(values):
    assert decode(encode({"late": values}))["late"].astype(bool).tolist() == values.tolist()


@given(st.lists(st.one_of(st.none(), st.integers(-(2**62), 2**62)), max_size=30))
def test_moments_come_back_and_so_does_the_lack_of_one(moments):
    column = np.array(
        [np.datetime64("NaT") if m is None else np.datetime64(m, "us") for m in moments], dtype="M8[us]"
    )
    assert same(column, decode(encode({"at": column}))["at"])


def test_moments_of_another_unit_are_kept_in_microseconds():
    column = np.array(["2026-03-02T06:00", "NaT"], dtype="datetime64[m]")
    found = decode(encode({"at": column}))["at"]
    assert found.dtype == "datetime64[us]"
    assert str(found[0]) == "2026-03-02T06:00:00.000000" and np.isnat(found[1])


def test_several_columns_stand_side_by_side_each_in_its_shape():
    columns = {
        "part": np.array(["A", "B", "A"], dtype=object),
        "um": np.arange(12.0).reshape(3, 2, 2),
        "empty": np.full(3, np.nan),
        "none": np.array([None, None, None], dtype=object),
        "late": np.array([True, False, True]),
    }
    found = decode(encode(columns))
    assert list(found) == list(columns)
    assert all(same(columns[name].astype(found[name].dtype), found[name]) for name in columns)


def test_what_is_missing_throughout_takes_no_room():
    full = encode({"um": np.random.default_rng(1).normal(size=1000)})
    empty = encode({"um": np.full(1000, np.nan), "note": np.full(1000, None, dtype=object)})
    assert len(empty) < 120 < len(full)


def test_readings_of_four_decimals_take_half_the_room_of_plain_figures():
    values = np.round(np.random.default_rng(1).normal(0, 3, 10_000), 4)
    assert len(encode({"um": values})) < 0.55 * values.nbytes


@settings(deadline=None)
@given(st.data())
def test_blocks_written_at_once_are_those_written_one_by_one(data):
    size = data.draw(st.integers(1, 30))
    words = np.empty(size, dtype=object)
    words[:] = data.draw(st.lists(WORDS, min_size=size, max_size=size))
    tenths = st.one_of(st.just(np.nan), st.integers(-50, 50).map(lambda n: n / 10), st.floats(width=64))
    columns = {
        "word": words,
        "um": data.draw(arrays(np.float64, (size, 2), elements=tenths)),
        "n": data.draw(arrays(np.int64, size, elements=st.integers(-(2**40), 2**40))),
        "at": data.draw(arrays(np.int64, size, elements=st.integers(0, 2**50))).view("datetime64[us]"),
        "late": data.draw(arrays(np.bool_, size)),
    }
    inner = data.draw(st.lists(st.integers(0, size), max_size=8))  # a block may be empty
    edges = [0, *sorted(inner), size]
    singly = [encode({n: c[a:b] for n, c in columns.items()}) for a, b in itertools.pairwise(edges)]
    assert list(encode_each(columns, edges)) == singly
    order = np.array(data.draw(st.permutations(range(size))), dtype=np.int64)
    mixed = {name: column[np.argsort(order)] for name, column in columns.items()}
    assert list(encode_each(mixed, edges, order)) == singly
    assert all(
        same(column[a:b], decode(block)[name])
        for block, (a, b) in zip(singly, itertools.pairwise(edges), strict=True)
        for name, column in columns.items()
    )


def test_many_words_are_numbered_as_few_are():
    words = np.array([None, *(f"w{i % (3 * FEW)}" for i in range(9 * FEW)), None], dtype=object)
    whole = encode({"word": words})
    assert decode(whole)["word"].tolist() == words.tolist()
    first = next(encode_each({"word": words}, (0, FEW // 2, len(words))))
    assert first == encode({"word": words[: FEW // 2]})
