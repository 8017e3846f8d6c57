"""Which version of the sheet holds when, and the units of time that are judged as one.

A unit runs from one shift start to the next, so a late row costs one shift, not a history. Where the
sheet lets subgroups reach across shifts, all its time is one unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.records import Times
from cellmon.sheet import Sheet
from cellmon.shifts import ShiftCalendar

BEGINNING = np.datetime64("1900-01-01", "us")
END = np.datetime64("2200-01-01", "us")


@dataclass(frozen=True, kw_only=True)
class SheetInForce:
    """One version of the sheet and the moments between which it judges."""

    version: int
    sheet: Sheet
    since: np.datetime64
    until: np.datetime64

    @cached_property
    def calendar(self) -> ShiftCalendar:
        """The shift calendar of this version."""
        return ShiftCalendar.of_sheet(self.sheet)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The time zone of the cell."""
        return ZoneInfo(self.sheet.cell.timezone)

    @property
    def by_shift(self) -> bool:
        """Whether a unit of judging is a shift."""
        return "shift" in self.sheet.subgroups.within


@dataclass(frozen=True, kw_only=True)
class Unit:
    """A stretch of time that is judged as one, [start, end), under one version of the sheet."""

    start: np.datetime64
    end: np.datetime64
    version: int


@dataclass(frozen=True, kw_only=True)
class Rules:
    """Every version that was ever in force, oldest first; the first reaches back to the beginning."""

    versions: tuple[SheetInForce, ...]

    @classmethod
    def of(cls, sheets: Sequence[tuple[int, np.datetime64, Sheet]]) -> Rules:
        """Build from (version, in force from, sheet), oldest first."""
        since = [BEGINNING, *(moment for _, moment, _ in sheets[1:])]
        until = [*since[1:], END]
        return cls(
            versions=tuple(
                SheetInForce(version=version, sheet=sheet, since=since[i], until=until[i])
                for i, (version, _, sheet) in enumerate(sheets)
            )
        )

    @property
    def now(self) -> SheetInForce:
        """The newest version in force."""
        return self.versions[-1]

    def at(self, moment: np.datetime64) -> SheetInForce:
        """Return the version that judges what was measured at a moment."""
        return next(v for v in reversed(self.versions) if v.since <= moment)

    def unit_starts(self, times: Times) -> Times:
        """Return, for each moment, the start of its unit."""
        starts = np.full(len(times), BEGINNING, dtype="datetime64[us]")
        for version in self.versions:
            here = (times >= version.since) & (times < version.until)
            if here.any():
                begun = version.calendar.starts_of(times[here]) if version.by_shift else version.since
                starts[here] = np.maximum(begun, version.since)
        return starts

    def units(self, moments: Times) -> list[Unit]:
        """Return the units that hold any of the moments, in order of time, each once."""
        return [self._unit(start) for start in np.unique(self.unit_starts(moments))]

    def _unit(self, start: np.datetime64) -> Unit:
        version = self.at(start)
        end = version.until
        if version.by_shift:
            later = version.calendar.edges(start, start + np.timedelta64(2, "D"))
            end = min(end, later[later > start][0])
        return Unit(start=start, end=end, version=version.version)
