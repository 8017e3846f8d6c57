"""Columns nobody declared, kept with the bore as JSON text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.compute as pc

from cellmon.intake.words import Codes, words_of
from cellmon.records import Texts, Whole


def extra_texts(names: Sequence[str], columns: Sequence[Any], *, first: Whole, bore: Codes) -> Texts:
    """Return for each bore its undeclared columns as one JSON object, None where they are all empty.

    Parameters
    ----------
    names, columns : sequences
        The file's own names, and Arrow arrays of text of n rows.
    first : shape (bores,)
        The row that begins each bore.
    bore : shape (n,)
        The bore of each row, -1 for none. A column that differs inside a bore becomes a list, in
        the order of the rows; `lines` of the readings has the same order.
    """
    texts: Texts = np.full(len(first), None, dtype=object)
    if not names or len(first) == 0:
        return texts
    pieces: list[Any] = []
    filled = np.zeros(len(first), dtype=bool)
    for name, column in zip(names, columns, strict=True):
        value, there = _values(column, first, bore)
        filled |= there
        pieces += [("," if pieces else "{") + orjson.dumps(name).decode() + ":", value]
    joined = pc.binary_join_element_wise(*pieces, "}", "")
    texts[:] = joined.to_pylist()
    texts[~filled] = None
    return texts


def _values(column: Any, first: Whole, bore: Codes) -> tuple[Any, Any]:
    words = words_of(column, nothing=frozenset({""}))
    spelled = pa.array([*(orjson.dumps(word).decode() for word in words.words), "null"], pa.string())
    codes = np.where(words.codes < 0, len(words.words), words.codes)
    value = codes[first]
    rows = np.flatnonzero(bore >= 0)
    differs = codes[rows] != value[bore[rows]]
    there = words.codes[first] >= 0
    if not differs.any():
        return spelled.take(pa.array(value)), there
    lists = np.zeros(len(first), dtype=bool)
    lists[bore[rows[differs]]] = True
    members = rows[lists[bore[rows]]]
    members = members[np.argsort(bore[members], kind="stable")]
    counts = np.bincount(bore[members], minlength=len(first))[lists]
    offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    cells = spelled.take(pa.array(codes[members]))
    joined = pc.binary_join(pa.ListArray.from_arrays(pa.array(offsets), cells), ",")
    joined = pc.binary_join_element_wise("[", joined, "]", "")
    return (
        pc.replace_with_mask(spelled.take(pa.array(value)), pa.array(lists), joined),
        there | lists,
    )
