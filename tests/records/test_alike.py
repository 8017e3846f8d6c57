"""Texts told apart by where they lie: the same answers as comparing them, whoever made them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.records import absent, alike
from cellmon.records.alike import FEW, Numbered, dense, numbered, places_of, run_starts, said

WORDS = st.lists(st.sampled_from(["a", "b", "ab", "é", "", None]), max_size=40)


def column(values, *, shared: bool):
    """Return a column of texts; unless shared, each row has a text of its own."""
    texts = np.empty(len(values), dtype=object)
    texts[:] = values if shared else [None if v is None else "".join([v[:1], v[1:]]) for v in values]
    return texts


@given(WORDS, st.booleans(), st.booleans(), st.sampled_from([1, FEW]))
def test_texts_are_numbered_as_pandas_numbers_them(values, shared, sort, times):
    texts = column(values * times, shared=shared)
    codes, words = numbered(texts, sort=sort)
    expected, expected_words = pd.factorize(texts, sort=sort)
    assert codes.tolist() == expected.tolist()
    assert words == list(expected_words)


def test_a_column_that_was_numbered_stays_as_it_is_and_its_numbers_go_with_it():
    texts = column(["a", None, "b"] * FEW, shared=True)
    codes, words = numbered(texts)
    assert numbered(texts)[0] is codes and numbered(texts.copy())[0] is not codes
    assert numbered(texts, sort=True)[1] == ["a", "b"] == words
    for kept in (texts, codes):
        with pytest.raises(ValueError, match="read-only"):
            kept[0] = kept[2]
    there = alike._NUMBERED
    assert {(id(texts), False), (id(texts), True)} <= set(there)
    key = id(texts)
    del texts, kept
    assert not {(key, False), (key, True)} & set(there)


@given(WORDS, st.booleans())
def test_a_run_starts_where_the_text_is_another_than_before(values, shared):
    starts = [i for i, v in enumerate(values) if i == 0 or v != values[i - 1]]
    assert run_starts(column(values, shared=shared)).tolist() == starts


@pytest.mark.parametrize("step", [1, 2, -1])
def test_places_are_those_of_the_objects_of_a_piece_too(step):
    texts = column(["a", None, "b", "a" * 30, None], shared=True)[::step]
    assert places_of(texts).tolist() == [id(text) for text in texts]
    assert absent(texts).tolist() == [text is None for text in texts]


def test_a_column_that_says_the_same_throughout_is_one_text():
    texts = said("diameter", 3)
    assert texts.tolist() == ["diameter"] * 3 and len(set(map(id, texts))) == 1
    assert absent(said(None, 2)).all()


@given(st.lists(st.sampled_from([None, "S1", "S2", "hand"]), max_size=3 * FEW), st.sampled_from(["S1", "S3"]))
def test_where_a_column_says_a_text_is_where_its_rows_do(told, word):
    assert Numbered.of(column(told, shared=True)).says(word).tolist() == [text == word for text in told]


@given(st.lists(st.integers(0, 2000), max_size=60))
def test_numbers_are_made_dense_in_their_own_order(given_numbers):
    code = np.array(given_numbers, dtype=np.int64)
    order = sorted(set(given_numbers))
    assert dense(code).tolist() == [order.index(number) for number in given_numbers]
