"""Number text: decimal point or comma, thousands marks, and cells that say nothing was measured.

`1,234` may be a little over one or more than a thousand. It is read only where the rest of the
file, or the nominal size, says which mark the file uses; else it is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum, IntEnum
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from cellmon.records import Flags, Numbers
from cellmon.words import to_say

NOT_MEASURED = ("", "-", "--", "---", "n/a", "#n/a", "na", "nan", "null", "none")


class Mark(Enum):
    """What stands before the decimals in a file."""

    POINT = "."
    COMMA = ","
    UNKNOWN = "?"


COMMA_UNKNOWN = to_say(
    "nothing in the file says whether a comma stands before decimals or between thousands; "
    "such numbers were set aside"
)
"""Noted of a file with `Mark.UNKNOWN`."""


class Shape(IntEnum):
    """How a cell is written."""

    NOTHING = 0
    NO_NUMBER = 1
    PLAIN = 2
    """No mark at all."""
    POINT = 3
    """A decimal point, whatever the file."""
    COMMA = 4
    """A decimal comma, whatever the file."""
    POINT_OR_GROUP = 5
    COMMA_OR_GROUP = 6
    POINT_GROUPED = 7
    """Commas between thousands: the point is decimal."""
    COMMA_GROUPED = 8
    """Points between thousands: the comma is decimal."""


POWER = r"([eE][+-]?\d{1,3})?$"
SHAPES: tuple[tuple[Shape, str], ...] = (
    (Shape.PLAIN, r"^[+-]?\d+" + POWER),
    (Shape.POINT, r"^[+-]?(\d+\.\d*|\.\d+)" + POWER),
    (Shape.COMMA, r"^[+-]?(\d+,\d*|,\d+)" + POWER),
    (Shape.POINT_OR_GROUP, r"^[+-]?[1-9]\d{0,2}\.\d{3}$"),
    (Shape.COMMA_OR_GROUP, r"^[+-]?[1-9]\d{0,2},\d{3}$"),
    (Shape.POINT_GROUPED, r"^[+-]?[1-9]\d{0,2}((,\d{3})+\.\d*|(,\d{3}){2,})$"),
    (Shape.COMMA_GROUPED, r"^[+-]?[1-9]\d{0,2}((\.\d{3})+,\d*|(\.\d{3}){2,})$"),
)
"""Later patterns overrule earlier ones."""
WITH_COMMA = (Shape.COMMA, Shape.COMMA_OR_GROUP, Shape.COMMA_GROUPED)
EITHER_WAY = (Shape.POINT_OR_GROUP, Shape.COMMA_OR_GROUP)


@dataclass(frozen=True, kw_only=True, eq=False)
class NumberColumn:
    """Numbers of a column, nan where there is none; what the other cells are."""

    values: Numbers
    nothing: Flags
    refused: Flags


def number_columns(
    columns: Iterable[Any], *, decided: Callable[[int, NDArray[np.float64]], bool] | None = None
) -> tuple[tuple[NumberColumn, ...], Mark]:
    """Read all number columns of a file by the one decimal mark that the file uses.

    Parameters
    ----------
    columns : iterable of Arrow arrays
        Columns of a table, or their words, of which each is asked once.
    decided : callable, optional
        Given the place of a column and its numbers, tells whether they lie where this column's must.
        Where exactly one of the two marks lets them, that mark is the file's.

    Returns
    -------
    (columns, mark)
    """
    given = list(columns)
    quick = [_plain(column) for column in given]
    spelled = [
        None if fast is not None else _Spelled.of(column) for fast, column in zip(quick, given, strict=True)
    ]
    if any(column is not None and column.commas for column in spelled):
        spelled = [column or _Spelled.of(cells) for column, cells in zip(spelled, given, strict=True)]
    mark = _mark(spelled, decided)
    read = [
        fast if column is None else column.read(mark) for fast, column in zip(quick, spelled, strict=True)
    ]
    return tuple(column for column in read if column is not None), mark


def _plain(column: Any) -> NumberColumn | None:
    """Read a column in which every cell is a finite number with a point or no mark."""
    codes, words = _codes_of(column)
    try:
        values = words.cast(pa.float64()).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:
        return None
    if not np.isfinite(values).all():
        return None
    never = np.zeros(len(column), dtype=bool)
    return NumberColumn(values=values[codes], nothing=never, refused=never)


def _codes_of(column: Any) -> tuple[NDArray[np.integer[Any]] | slice, Any]:
    """Return which of the words of a column each row holds, and these."""
    if pa.types.is_dictionary(column.type):
        return column.indices.to_numpy(), column.dictionary
    return slice(None), column


@dataclass(frozen=True, kw_only=True, eq=False)
class _Spelled:
    """The distinct cells of a column and how each is written."""

    codes: NDArray[np.integer[Any]] | slice
    text: Any
    shape: NDArray[np.int8]

    @classmethod
    def of(cls, column: Any) -> _Spelled:
        codes, words = _codes_of(column)
        text = pc.utf8_trim(pc.replace_substring(words, "\u2212", "-"), " \t\u00a0\u202f'")
        text = pc.replace_substring_regex(text, "(\\d)['\u2019\u00a0\u202f](\\d{3})", "\\1\\2")
        shape = np.full(len(text), Shape.NO_NUMBER, dtype=np.int8)
        for kind, pattern in SHAPES:
            shape[pc.match_substring_regex(text, pattern).to_numpy(zero_copy_only=False)] = kind
        nothing = pc.is_in(pc.utf8_lower(text), pa.array(NOT_MEASURED))
        shape[nothing.to_numpy(zero_copy_only=False)] = Shape.NOTHING
        return cls(codes=codes, text=text, shape=shape)

    def read(self, mark: Mark) -> NumberColumn:
        """Return the column's numbers as a decimal mark makes them."""
        values = np.full(len(self.shape), np.nan)
        point = {Shape.PLAIN, Shape.POINT, Shape.POINT_GROUPED}
        comma = {Shape.COMMA, Shape.COMMA_GROUPED}
        if mark is Mark.COMMA:
            comma |= {Shape.COMMA_OR_GROUP, Shape.POINT_OR_GROUP}
        elif mark is Mark.POINT:
            point |= {Shape.COMMA_OR_GROUP, Shape.POINT_OR_GROUP}
        for shapes, group, decimal in ((point, ",", "."), (comma, ".", ",")):
            rows = np.flatnonzero(np.isin(self.shape, [int(s) for s in shapes]))
            text = pc.replace_substring(self.text.take(pa.array(rows)), group, "")
            values[rows] = pc.replace_substring(text, decimal, ".").cast(pa.float64())
        values[~np.isfinite(values)] = np.nan
        nothing = self.shape == Shape.NOTHING
        refused = np.isnan(values) & ~nothing
        return NumberColumn(
            values=values[self.codes], nothing=nothing[self.codes], refused=refused[self.codes]
        )

    @property
    def commas(self) -> bool:
        """Whether a comma stands in any number."""
        return bool(np.isin(self.shape, WITH_COMMA).any())


def _mark(
    spelled: Sequence[_Spelled | None], decided: Callable[[int, NDArray[np.float64]], bool] | None
) -> Mark:
    shapes = [column.shape for column in spelled if column is not None]
    every = np.concatenate(shapes) if shapes else np.zeros(0, dtype=np.int8)
    if not np.isin(every, WITH_COMMA).any():
        return Mark.POINT
    for place, column in enumerate(spelled):
        if decided is None or column is None or not np.isin(column.shape, EITHER_WAY).any():
            continue
        fits = [decided(place, column.read(mark).values) for mark in (Mark.POINT, Mark.COMMA)]
        if fits[0] != fits[1]:
            return Mark.POINT if fits[0] else Mark.COMMA
    point = int(np.isin(every, (Shape.POINT, Shape.POINT_GROUPED)).sum())
    comma = int(np.isin(every, (Shape.COMMA, Shape.COMMA_GROUPED)).sum())
    if point > 10 * comma:
        return Mark.POINT
    return Mark.COMMA if comma > 10 * point else Mark.UNKNOWN
