"""Columns of text with the file line of every row: what every format is read into."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Refused, Whole

MOST_TEXT = 500
"""Characters kept of a row that was set aside."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Columns of text; row i of each stands on file line `line[i]`.

    `columns` are Arrow string arrays of one length, one for each name in `header`; nothing but
    this package sees them. `refused` holds the lines that are no rows; `text_of` returns the text
    of rows as it stood in the file.
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
    """Return what gives rows as they stood by the lines on which they begin; it holds no column."""
    return lambda wanted: text_of(np.searchsorted(line, np.array(wanted, dtype=np.int64)))


def shortened(text: str) -> str:
    """Return the text of a row, cut where it is longer than anyone reads."""
    return text if len(text) <= MOST_TEXT else text[: MOST_TEXT - 1] + "…"


def distinct_names(names: list[str]) -> tuple[str, ...]:
    """Return a header in which every column has a name; one that has none is named by its place."""
    return tuple(name.strip() or f"column {place}" for place, name in enumerate(names, start=1))
