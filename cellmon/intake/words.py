"""A column as codes into its distinct words, so that each word is looked at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from cellmon.records import Flags, Texts

Codes = NDArray[np.int64]

NOTHING = frozenset({"", "---", "--", "n/a", "#n/a"})
"""Words, in small letters, that stand for an empty cell."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Words:
    """Row i holds `words[codes[i]]`; a code of -1 says that nothing stands there."""

    codes: NDArray[np.integer[Any]]
    told: Any
    """The distinct words as an Arrow array of text; moments and numbers are read from it as it stands."""

    @cached_property
    def words(self) -> tuple[str, ...]:
        """The distinct words."""
        return tuple(self.told.to_pylist())

    def __len__(self) -> int:
        return len(self.codes)

    @property
    def empty(self) -> Flags:
        """Where nothing stands."""
        found: Flags = self.codes < 0
        return found

    def texts(self, rows: NDArray[Any] | slice = slice(None)) -> Texts:
        """Return the words of rows, None where nothing stands."""
        table = np.empty(len(self.words) + 1, dtype=object)
        table[:-1] = self.words
        table[-1] = None
        found: Texts = table[self.codes[rows]]
        return found

    def select(self, rows: NDArray[Any]) -> Words:
        """Return the words of some rows; of all of them one row where all say the same."""
        alike = len(self.codes) > 0 and self.codes.min() == self.codes.max()
        return Words(codes=self.codes[:1] if alike else self.codes[rows], told=self.told)

    def spread(self, of_words: NDArray[Any], *, nothing: Any) -> NDArray[Any]:
        """Return for each row what an array says of its word, and `nothing` for empty cells."""
        table = np.append(of_words, np.array([nothing], dtype=of_words.dtype))
        found: NDArray[Any] = table[self.codes]
        return found

    def find(self, known: Sequence[str]) -> Words:
        """Return the same column with `known` as its words; -1 also for words that are not among them.

        Capitals, spaces round a word and a `.0` that a spreadsheet put behind a number do not count.
        """
        exact = {name: i for i, name in enumerate(known)}
        loose = _unambiguous({i: _loose(name) for name, i in exact.items()})
        place = [exact.get(word, loose.get(_loose(word), -1)) for word in self.words]
        codes = self.spread(np.array(place, dtype=np.int32), nothing=-1)
        return Words(codes=codes, told=pa.array(known, pa.string()))

    def filled(self, word: str) -> Words:
        """Return the column with a word where nothing stands."""
        if not self.empty.any():
            return self
        words = self.words if word in self.words else (*self.words, word)
        codes = np.where(self.empty, words.index(word), self.codes)
        return Words(codes=codes, told=pa.array(words, pa.string()))


def _loose(word: str) -> str:
    folded = word.strip().casefold()
    return folded[:-2] if folded.endswith(".0") and folded[:-2].isdigit() else folded


def _unambiguous(folded: Mapping[int, str]) -> dict[str, int]:
    names = list(folded.values())
    return {name: i for i, name in folded.items() if names.count(name) == 1}


def words_of(column: Any, *, nothing: frozenset[str] = NOTHING) -> Words:
    """Return a column of a table as words, spaces round them taken off."""
    codes = column.indices.to_numpy(zero_copy_only=False)
    trimmed = pc.utf8_trim_whitespace(column.dictionary)
    empty = pc.is_in(pc.utf8_lower(trimmed), pa.array(sorted(nothing), pa.string()))
    if trimmed.equals(column.dictionary) and not pc.any(empty).as_py():
        return Words(codes=codes, told=trimmed)
    places: dict[str, int] = {}
    target = [
        -1 if gone else places.setdefault(word, len(places))
        for word, gone in zip(trimmed.to_pylist(), empty.to_pylist(), strict=True)
    ]
    return Words(codes=np.array(target, dtype=np.int32)[codes], told=pa.array(places, pa.string()))


def no_words(size: int) -> Words:
    """Return a column in which nothing stands."""
    return Words(codes=np.broadcast_to(np.int32(-1), size), told=pa.array([], pa.string()))


def groups_of(columns: Iterable[tuple[NDArray[np.integer[Any]], int]], size: int) -> tuple[Codes, int]:
    """Number the rows by what stands in all columns together, in the order of first appearance.

    Parameters
    ----------
    columns : iterable of (codes, count)
        Codes of each column from -1 to count - 1. Those after which no two rows are alike are not asked for.
    size : int
        Rows.

    Returns
    -------
    (groups, count)
        A number from 0 to count - 1 for each row.
    """
    groups, count = np.zeros(size, dtype=np.int64), min(size, 1)
    for codes, words in columns:
        if words <= 1 and (len(codes) == 0 or (codes[0] == codes[-1] and (codes == codes[0]).all())):
            continue
        joined = groups * (words + 1) + (codes + 1)
        groups, found = pd.factorize(joined)
        count = len(found)
        if count == size:
            break
    return groups, count
