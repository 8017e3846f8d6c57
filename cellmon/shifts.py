"""The shift calendar: which shift a moment belongs to, and when that shift starts and ends.

A shift runs until the next one of the daily pattern starts, worked or not, and carries the date on
which it starts. All moments are `datetime64[us]` in UTC; local clock changes lengthen or shorten a
shift, they never move a row into another.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.records import Times
from cellmon.sheet import ALL_DAYS, Sheet


@dataclass(frozen=True, kw_only=True)
class ShiftOf:
    """One shift of one day."""

    name: str
    date: date
    starts: datetime
    ends: datetime
    worked: bool

    def __str__(self) -> str:
        return f"{self.date.isoformat()}/{self.name}"


@dataclass(frozen=True, kw_only=True)
class ShiftCalendar:
    """The daily pattern of shifts in the cell's zone; without shifts, one 'day' from midnight."""

    zone: ZoneInfo
    pattern: tuple[tuple[clock_time, str, tuple[str, ...]], ...]

    @classmethod
    def of_sheet(cls, sheet: Sheet) -> ShiftCalendar:
        """Return the calendar a sheet describes."""
        zone = ZoneInfo(sheet.cell.timezone)
        listed = sorted((s.starts, s.name, tuple(s.days)) for s in sheet.shifts)
        return cls(zone=zone, pattern=tuple(listed) or ((clock_time(0), "day", ALL_DAYS),))

    def between(self, start: np.datetime64, end: np.datetime64) -> list[ShiftOf]:
        """Return every shift, worked or not, that touches the time from start to end."""
        return self.spans(start, end).shifts

    def spans(self, start: np.datetime64, end: np.datetime64) -> Spans:
        """Return the same shifts with when each begins and ends."""
        first, last = (to_local(moment, self.zone).year for moment in (start, end))
        every = _shifts_of(self, first, last)
        touch = np.flatnonzero((every.ends > start) & (every.starts <= end))
        here = slice(touch[0], touch[-1] + 1) if len(touch) else slice(0)
        return Spans(shifts=every.shifts[here], starts=every.starts[here], ends=every.ends[here])

    def starts_of(self, times: Times) -> Times:
        """Return, for each moment, when the shift that holds it started."""
        if len(times) == 0:
            return times
        edges = self.edges(times.min(), times.max())
        found: Times = edges[np.searchsorted(edges, times, side="right") - 1]
        return found

    def edges(self, start: np.datetime64, end: np.datetime64) -> Times:
        """Return the moments, ascending, at which the shifts that touch start to end begin."""
        first, last = (to_local(moment, self.zone).year for moment in (start, end))
        every = _shifts_of(self, first, last).starts
        begin, after = np.searchsorted(every, start, side="right"), np.searchsorted(every, end, side="right")
        found: Times = every[max(begin - 1, 0) : after]
        return found

    def at(self, moment: np.datetime64) -> ShiftOf:
        """Return the shift that holds a moment."""
        return _shift_at(self, moment)


@dataclass(frozen=True, kw_only=True, eq=False)
class Spans:
    """Shifts one after the other, and when each begins and ends, UTC."""

    shifts: list[ShiftOf]
    starts: Times
    ends: Times


@lru_cache(maxsize=64)
def _shifts_of(calendar: ShiftCalendar, first: int, last: int) -> Spans:
    """Return the shifts that touch some years: years of history are asked for at every batch."""
    begin, end = date(first - 1, 12, 29), date(last + 1, 1, 4)
    days = [begin + timedelta(days=i) for i in range((end - begin).days)]
    starts = [
        (datetime.combine(day, at, tzinfo=calendar.zone), day, name, ALL_DAYS[day.weekday()] in worked)
        for day in days
        for at, name, worked in calendar.pattern
    ]
    found = [
        ShiftOf(name=name, date=day, starts=at, ends=starts[i + 1][0], worked=worked)
        for i, (at, day, name, worked) in enumerate(starts[:-1])
    ]
    edges = np.array([to_utc(at) for at, *_ in starts], dtype="datetime64[us]")
    edges.flags.writeable = False
    return Spans(shifts=found, starts=edges[:-1], ends=edges[1:])


@lru_cache(maxsize=16384)
def _shift_at(calendar: ShiftCalendar, moment: np.datetime64) -> ShiftOf:
    """Return the shift that holds a moment; a page asks of every shift of the past again and again."""
    return calendar.between(moment, moment)[-1]


def to_utc(moment: datetime) -> np.datetime64:
    """Return an aware datetime as `datetime64[us]` in UTC."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")


@lru_cache(maxsize=65536)
def to_local(moment: np.datetime64, zone: ZoneInfo) -> datetime:
    """Return a UTC `datetime64` as an aware datetime in a zone."""
    plain: datetime = moment.astype("datetime64[us]").item()
    return plain.replace(tzinfo=UTC).astimezone(zone)
