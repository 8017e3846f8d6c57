"""Texts of a column told apart, by where they lie in memory before by what they say.

Rows mostly share their texts: a file's columns are made of few words, and rows are chosen from rows.
Comparing where two texts lie takes a twentieth of comparing the texts, and most columns say the same
for long, so that few texts are left to look at.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Texts = NDArray[np.object_]
Whole = NDArray[np.int64]
FEW = 200
"""Texts below which a mapping numbers them sooner than pandas does."""

_NUMBERED: dict[tuple[int, bool], tuple[weakref.ref[Texts], Whole, list[str]]] = {}
"""How columns that are there were numbered, by where each lies and whether in the texts' own order."""


def places_of(texts: Texts) -> Whole:
    """Return where the text of each row lies in memory: rows of one place are alike, others may be.

    An array of objects holds their addresses (numpy's manual, C API, "NPY_OBJECT"); they are copied.
    """
    held = np.ascontiguousarray(texts)
    return np.array(_Addresses(held), dtype=np.int64) if len(held) else np.zeros(0, dtype=np.int64)


class _Addresses:
    """An array of objects, shown to numpy as the addresses it holds."""

    def __init__(self, held: Texts) -> None:
        self.held = held
        self.__array_interface__ = {
            "version": 3,
            "shape": held.shape,
            "typestr": np.dtype(np.intp).str,
            "data": held.__array_interface__["data"],
        }


def said(word: str | None, size: int) -> Texts:
    """Return a column that says the same throughout, one text for all rows; `np.full` makes one for each."""
    found: Texts = np.empty(size, dtype=object)
    found.fill(word)
    return found


def run_starts(values: NDArray[Any]) -> Whole:
    """Return where a column says something else than the row before."""
    if values.dtype != object:
        return _starts(values)
    heads = _starts(places_of(values))
    begins = np.ones(len(heads), dtype=bool)
    texts = values[heads]
    begins[1:] = texts[1:] != texts[:-1]
    return heads[begins]


def _starts(values: NDArray[Any]) -> Whole:
    begins = np.ones(len(values), dtype=bool)
    np.not_equal(values[1:], values[:-1], out=begins[1:])
    return np.flatnonzero(begins)


def dense(code: Whole) -> Whole:
    """Number the different ones of some numbers, none negative, in their own order."""
    import pandas as pd

    most = int(code.max(initial=0))
    if most > 4 * len(code):
        return np.asarray(pd.factorize(code, sort=True)[0], dtype=np.int64)
    there = np.zeros(most + 1, dtype=bool)
    there[code] = True
    found: Whole = (np.cumsum(there) - 1)[code]
    return found


def numbered(texts: Texts, *, sort: bool = False) -> tuple[Whole, list[str]]:
    """Number the different texts of a column as they come, or in their own order; None is -1.

    A long column is asked for by one question after another, so what it was numbered as is kept while it is
    there. It can not be written to from then on, nor can its numbers.

    Returns
    -------
    (codes, words)
        The number of each row's text, and the texts, which are not to be changed.
    """
    if len(texts) < FEW:
        return _numbered_few(texts, sort=sort)
    key = id(texts), sort
    known = _NUMBERED.get(key)
    if known is None or known[0]() is not texts:
        codes, words = _numbered_many(texts, sort=sort)
        texts.flags.writeable = codes.flags.writeable = False
        known = (weakref.ref(texts, lambda _: _NUMBERED.pop(key, None)), codes, words)
        _NUMBERED[key] = known
    return known[1], known[2]


def _numbered_many(texts: Texts, *, sort: bool) -> tuple[Whole, list[str]]:
    import pandas as pd

    places = places_of(texts)
    heads = _starts(places)
    code, found = pd.factorize(places[heads])
    first = np.empty(len(found), dtype=np.int64)
    first[code[::-1]] = heads[::-1]
    number, words = _numbered_few(texts[first], sort=sort)
    found = number[code]
    return found if len(heads) == len(texts) else np.repeat(found, np.diff(heads, append=len(texts))), words


@dataclass(frozen=True, kw_only=True, eq=False)
class Numbered:
    """A column of few different texts by their numbers, of which it is asked where it says a text.

    To hold each row's text against it takes many times as long.
    """

    codes: Whole
    words: list[str]

    @classmethod
    def of(cls, texts: Texts) -> Numbered:
        """Number the texts of a column."""
        codes, words = numbered(texts)
        return cls(codes=codes, words=words)

    def says(self, word: str) -> NDArray[np.bool_]:
        """Return where it says a text."""
        place = self.words.index(word) if word in self.words else len(self.words)
        found: NDArray[np.bool_] = self.codes == place
        return found


def _numbered_few(texts: Texts, *, sort: bool) -> tuple[Whole, list[str]]:
    told = texts.tolist()
    different = dict.fromkeys(told)
    if not sort and len(different) == len(told) and None not in different:
        return np.arange(len(told)), told
    words = [text for text in different if text is not None]
    if sort:
        words.sort()
    place = {None: -1, **{word: i for i, word in enumerate(words)}}
    return np.array([place[text] for text in told], dtype=np.int64), words
