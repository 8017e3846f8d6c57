"""The shifts in which bores were made: years hold thousands, and each is said when it is asked for."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from datetime import date
from operator import attrgetter
from typing import overload

import numpy as np

from cellmon.monitor.rules import Rules
from cellmon.records import Times
from cellmon.shifts import ShiftOf


class ShiftsKnown(Sequence[ShiftOf]):
    """Shifts by when they start, UTC, ascending; equal to another one of the same shifts."""

    def __init__(self, starts: Times, rules: Rules) -> None:
        self.starts, self._rules = starts, rules

    def __len__(self) -> int:
        return len(self.starts)

    @overload
    def __getitem__(self, i: int) -> ShiftOf: ...
    @overload
    def __getitem__(self, i: slice) -> ShiftsKnown: ...
    def __getitem__(self, i: int | slice) -> ShiftOf | ShiftsKnown:
        if isinstance(i, slice):
            return ShiftsKnown(self.starts[i], self._rules)
        return self._said(self.starts[i])

    def __iter__(self) -> Iterator[ShiftOf]:
        return map(self._said, self.starts)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ShiftsKnown) and (
            self._rules == other._rules and np.array_equal(self.starts, other.starts)
        )

    __hash__ = None  # type: ignore[assignment]

    def _said(self, start: np.datetime64) -> ShiftOf:
        return self._rules.at(start).calendar.at(start)


def place_of(shifts: Sequence[ShiftOf], name: str) -> int | None:
    """Return the place of the shift DATE/NAME among some in order of time; None where it is not there."""
    try:
        day = date.fromisoformat(name.partition("/")[0])
    except ValueError:
        return None
    first = bisect_left(shifts, day, key=attrgetter("date"))
    after = bisect_right(shifts, day, key=attrgetter("date"))
    return next((i for i in range(first, after) if str(shifts[i]) == name), None)
