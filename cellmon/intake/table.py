"""Columns of text with the file line of every row: what every format is read into.

Each column is codes into its distinct words: a file of ten million lines says few different things, so it
takes a tenth of the room as codes, and each word is looked at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from cellmon.records import Refused, Whole

MOST_TEXT = 500
"""Characters kept of a row that was set aside."""
CODED = pa.dictionary(pa.int32(), pa.string())


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Columns of text; row i of each stands on file line `line[i]`.

    `columns` are of one length, one for each name in `header`: Arrow arrays of codes into the words
    that stand in them, in the order of their first row; nothing but this package sees them.
    `refused` holds the lines that are no rows; `text_of` returns the text of rows as it stood in the file.
    """

    header: tuple[str, ...]
    columns: tuple[Any, ...]
    line: Whole
    refused: tuple[Refused, ...]
    separator: str
    header_text: str
    text_of: Callable[[NDArray[np.int64]], list[str]]

    def __len__(self) -> int:
        return len(self.line)


def texts_on(
    line: Whole, text_of: Callable[[NDArray[np.int64]], list[str]]
) -> Callable[[Sequence[int]], list[str]]:
    """Return what gives rows as they stood by the lines on which they begin; it holds no column.

    It can be asked once: the bytes of the file, which it needs for that, are let go then.
    """
    held = [text_of]
    return lambda wanted: held.pop()(np.searchsorted(line, np.array(wanted, dtype=np.int64)))


def joined(pieces: Sequence[Any]) -> Any:
    """Return pieces of one column, each with words of its own, as one column."""
    if len(pieces) == 1:
        return pieces[0]
    return pa.concat_arrays(pa.chunked_array(pieces, CODED).unify_dictionaries().chunks)


def selected(column: Any, rows: Whole) -> Any:
    """Return some rows of a column, without the words that only others hold."""
    return column.take(pa.array(rows)).dictionary_decode().dictionary_encode()


def shortened(text: str) -> str:
    """Return the text of a row, cut where it is longer than anyone reads."""
    return text if len(text) <= MOST_TEXT else text[: MOST_TEXT - 1] + "…"


def distinct_names(names: list[str]) -> tuple[str, ...]:
    """Return a header in which every column has a name; one that has none is named by its place."""
    return tuple(name.strip() or f"column {place}" for place, name in enumerate(names, start=1))
