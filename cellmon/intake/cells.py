"""The columns of a table read by what they are declared to hold, and the rows that fail.

Everything is looked at once per distinct word, so that a long file costs little more than a short one.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from cellmon.intake.columns import Layout
from cellmon.intake.marks import Marks
from cellmon.intake.numbers import Mark, NumberColumn, number_columns
from cellmon.intake.runs import Runs
from cellmon.intake.table import Table
from cellmon.intake.times import Order, TimeColumn, time_column
from cellmon.intake.words import Words, no_words, words_of
from cellmon.records import HAND, Column, ColumnType, Reason
from cellmon.sheet import Sheet

NUMBERS = (ColumnType.NUMBER, ColumnType.LENGTH)


class Cells:
    """The declared columns of one table, each read when it is asked for; rows that fail are marked.

    With `row_by_row` only those columns are read so, and the others once for each of `runs`, the
    rows that follow one another and hold the same in all others.
    """

    def __init__(
        self, table: Table, layout: Layout, sheet: Sheet, *, row_by_row: Collection[str] | None = None
    ) -> None:
        self.table, self.layout, self.sheet = table, layout, sheet
        self.zone = ZoneInfo(sheet.cell.timezone)
        self.mark = Mark.POINT
        self._columns = {name: table.columns[place] for name, place in layout.place.items()}
        self.runs: Runs | None = None
        if row_by_row is not None:
            long = [name for name in self._columns if name not in row_by_row]
            self.runs = Runs.of([self._columns[name] for name in long], len(table))
            heads = pa.array(self.runs.heads)
            self._columns |= {name: self._columns[name].take(heads) for name in long}
        self.marks = Marks(len(table), self.runs)

    def words(self, name: str) -> Words:
        """Return a declared column as words."""
        column = self._columns.get(name)
        if column is not None:
            return words_of(column)
        return no_words(len(self.table) if self.runs is None else len(self.runs.heads))

    def needed(self, column: Words, reason: Reason = Reason.MISSING_FIELD) -> Words:
        """Set aside the rows in which nothing stands."""
        self.marks.add(column.empty, reason)
        return column

    def known(self, column: Words, known: Sequence[str], reason: Reason) -> Words:
        """Return a column by the sheet's own words; set aside the rows that hold another."""
        found = column.find(known)
        if found.empty.any():
            self.marks.add(found.empty & ~column.empty, reason)
        return found

    def spindle(self, column: Words) -> Words:
        """Return the spindles of rows; any name will do where the sheet lists none."""
        if not self.sheet.spindles:
            return column
        return self.known(column, (*self.sheet.spindle_ids, HAND), Reason.UNKNOWN_SPINDLE)

    def times(self, column: Words, *, needed: bool, order: Order | None = None) -> TimeColumn:
        """Return the moments of rows."""
        found = time_column(column, zone=self.zone, order=order, date_alone=not needed)
        if needed:
            self.marks.add(found.empty, Reason.MISSING_FIELD)
        self.marks.add(found.no_such_hour, Reason.NO_SUCH_HOUR)
        self.marks.add(found.refused, Reason.NOT_A_TIME)
        return found

    def numbers(
        self,
        columns: Sequence[Column],
        also: Sequence[int] = (),
        *,
        decided: Callable[[int, NDArray[np.float64]], bool] | None = None,
    ) -> tuple[dict[str, tuple[NumberColumn, Words]], tuple[NumberColumn, ...]]:
        """Return the number columns that the file has, and the columns at other places.

        The first are read once per distinct word and come with those words; all follow one
        decimal mark. `decided` is asked of the columns at the other places only, by their rank.
        """
        named = [c.name for c in columns if c.type in NUMBERS and c.name in self.layout.place]
        named = [name for name in named if self.layout.place[name] not in also]
        read_words = {name: words_of(self._columns[name], nothing=frozenset({""})) for name in named}
        given = [self.table.columns[place] for place in also]
        given += [words.told for words in read_words.values()]

        def ask(place: int, values: NDArray[np.float64]) -> bool:
            return decided is not None and place < len(also) and decided(place, values)

        found, self.mark = number_columns(given, decided=ask)
        spread = dict(zip(read_words, found[len(also) :], strict=True))
        return (
            {name: (_of_rows(spread[name], words), words) for name, words in read_words.items()},
            found[: len(also)],
        )


def _of_rows(column: NumberColumn, words: Words) -> NumberColumn:
    return NumberColumn(
        values=words.spread(column.values, nothing=np.nan),
        nothing=words.spread(column.nothing, nothing=True),
        refused=words.spread(column.refused, nothing=False),
    )
