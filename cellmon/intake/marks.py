"""Which rows of a table are set aside, and why: the first reason found stands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cellmon.intake.runs import Runs
from cellmon.intake.table import Table
from cellmon.records import Flags, Reason, Refused

REASONS = tuple(Reason)


class Marks:
    """A reason, or none, for each row of a table."""

    def __init__(self, size: int, runs: Runs | None = None) -> None:
        self._reason: NDArray[np.int8] = np.full(size, -1, dtype=np.int8)
        self._runs = runs
        self._any = False

    def add(self, where: Flags, reason: Reason) -> None:
        """Set rows aside that are not set aside yet; of columns read once a run, all rows of a run."""
        if where.any():
            self._any = True
            if self._runs is not None and len(where) != len(self._reason):
                where = where[self._runs.run]
            self._reason[where & (self._reason < 0)] = REASONS.index(reason)

    @property
    def good(self) -> Flags:
        """The rows that are not set aside."""
        found: Flags = self._reason < 0
        return found

    def refused(self, table: Table) -> tuple[Refused, ...]:
        """Return the rows set aside, with those the table could not cut into cells, by line."""
        if not self._any:
            return table.refused
        rows = np.flatnonzero(self._reason >= 0)
        texts = table.text_of(rows)
        mine = [
            Refused(line=line, reason=REASONS[code], text=text)
            for line, code, text in zip(
                table.line[rows].tolist(), self._reason[rows].tolist(), texts, strict=True
            )
        ]
        return tuple(sorted([*table.refused, *mine], key=lambda row: row.line))
