"""Time axes in the cell's own zone, and shifts as pale bands behind a figure.

Plotly knows no zones. A figure's x is the moment shifted by the one offset in force at the end of
its window, so a day on which clocks change keeps its true length and its order; only tick labels
and hover words carry the clock on the wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from cellmon import local
from cellmon.records import Texts, Times
from cellmon.shifts import ShiftOf, to_local
from dashboards import theme

STEPS_H = (1, 2, 4, 8, 12, 24)
MARKS = 12
QUARTER = np.timedelta64(15, "m")
HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True, kw_only=True)
class Clock:
    """A window of time seen from one zone."""

    since: datetime
    until: datetime
    zone: ZoneInfo

    @property
    def hours(self) -> float:
        """Length of the window in hours."""
        return (self.until - self.since) / timedelta(hours=1)

    @property
    def changes(self) -> bool:
        """Whether the clock is changed inside the window."""
        return _offset(self.since, self.zone) != _offset(self.until, self.zone)

    def x(self, moment: datetime) -> str:
        """Return where a moment stands on the axis."""
        placed = moment.astimezone(UTC).replace(tzinfo=None) + _offset(self.until, self.zone)
        return placed.isoformat(timespec="seconds")

    def xs(self, times: Times) -> list[str]:
        """Return where moments (UTC) stand on the axis."""
        return list(_stamped(times.astype("datetime64[s]").tobytes(), _offset(self.until, self.zone)))

    def words(self, times: Times) -> Texts:
        """Return the date and the time on the wall of moments in UTC."""
        if not len(times):
            return np.zeros(0, dtype=object)
        plain = times.astype("datetime64[s]")
        local = plain + self._offsets(plain)
        stamps = np.char.replace(np.datetime_as_string(local.astype("datetime64[m]")), "T", " ")
        return stamps.astype(object)

    def stamps(self, times: Times) -> list[str]:
        """Return moments in UTC as files have them: date, time on the wall and its distance from UTC."""
        plain = times.astype("datetime64[s]")
        if not len(plain):
            return []
        offsets = np.broadcast_to(self._offsets(plain), plain.shape)
        found = np.datetime_as_string(plain + offsets).astype(object)
        for offset in np.unique(offsets):
            minutes = int(offset.astype("timedelta64[m]").astype(int))
            hours, rest = divmod(abs(minutes), 60)
            found[offsets == offset] += f"{'-' if minutes < 0 else '+'}{hours:02d}:{rest:02d}"
        return found.tolist()

    @property
    def told_by_x(self) -> str | None:
        """How hover words take `words` from a point's x; None where the clock is changed, and x is not it."""
        return None if self.changes else "%{x|%Y-%m-%d %H:%M}"

    def short(self, words: str) -> str:
        """Return clock words as they stand in a drawing: with the day only where there are several."""
        if self.hours <= 30:
            return words[11:]
        return f"{local.weekday(datetime.fromisoformat(words))} {words[11:]}"

    def day_and_time(self, moment: datetime) -> str:
        """Return the day of the week and the time on the wall."""
        at = moment.astimezone(self.zone)
        return f"{local.weekday(at)} {local.clock(at)}"

    def _offsets(self, plain: Times) -> Any:
        if not len(plain) or not self.changes:
            return np.timedelta64(_offset(self.until, self.zone)).astype("timedelta64[s]")
        days = plain.astype("datetime64[D]")
        first, last = days.min(), days.max()
        return _each_quarter(first.item(), last.item(), self.zone)[(plain - first) // QUARTER]

    def axis(self, *, marks: int = MARKS, **more: Any) -> dict[str, Any]:
        """Return the time axis with about so many marks; its labels are clock times of the cell's zone."""
        span = {"range": [self.x(self.since), self.x(self.until)], "type": "date"}
        if not self.changes:
            stops = [
                {"dtickrange": [None, 60000], "value": "%H:%M:%S"},
                {"dtickrange": [60000, 43200000], "value": "%H:%M\n%a %-d %b"},
                {"dtickrange": [43200000, None], "value": "%a %-d %b"},
            ]
            return theme.axis(tickformatstops=stops, nticks=marks, **span, **more)
        step = next((s for s in STEPS_H if self.hours / s <= marks + 2), STEPS_H[-1])
        ticks = self._ticks(step)
        labels = [_midnight(t, step) if t.hour == 0 else local.clock(t) for t in ticks]
        return theme.axis(tickvals=[self.x(t) for t in ticks], ticktext=labels, **span, **more)

    def _ticks(self, step: int) -> list[datetime]:
        """Return moments at which the wall clock shows a multiple of `step` hours."""
        hour = self.since.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        every = np.datetime64(hour.replace(tzinfo=None), "s") + np.arange(int(self.hours) + 2) * HOUR
        on_wall = (every + self._offsets(every)).astype("datetime64[h]").astype(np.int64)
        found = [t.replace(tzinfo=UTC) for t in every[on_wall % 24 % step == 0].tolist()]
        local = [t.astimezone(self.zone) for t in found if self.since <= t <= self.until]
        return [t for t in local if t.fold == 0]


def _midnight(moment: datetime, step: int) -> str:
    """Return the mark of a day; without its month among hours, where a long one is turned and cut off."""
    return local.day(moment) if step >= 24 else f"{local.weekday(moment)} {moment.day}"


def _offset(moment: datetime, zone: ZoneInfo) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta(0)


@lru_cache(maxsize=64)
def _stamped(seconds: bytes, offset: timedelta) -> tuple[str, ...]:
    """Return moments as an axis has them; lines of one bore share theirs."""
    placed = np.frombuffer(seconds, dtype="datetime64[s]") + np.timedelta64(offset, "s")
    return tuple(np.datetime_as_string(placed).tolist())


@lru_cache(maxsize=32)
def _each_quarter(first: date, last: date, zone: ZoneInfo) -> Any:
    """Return the offset of a zone at each quarter of an hour of some days of UTC: zones change at these."""
    grid = np.arange(np.datetime64(first, "s"), np.datetime64(last, "s") + np.timedelta64(1, "D"), QUARTER)
    offsets = [_offset(t.replace(tzinfo=UTC), zone).total_seconds() for t in grid.tolist()]
    return np.array(offsets).astype("timedelta64[s]")


def clock_of(since: datetime, until: datetime, zone: str | None = None) -> Clock:
    """Return the clock of a window; the zone is that of `since` where none is named."""
    named = ZoneInfo(zone) if zone else since.tzinfo
    return Clock(since=since, until=until, zone=named if isinstance(named, ZoneInfo) else ZoneInfo("UTC"))


def clock_from(times: Times, since: datetime, until: datetime, zone: str | None = None) -> Clock:
    """Return the clock of a window that begins no earlier than the first of these moments."""
    clock = clock_of(since, until, zone)
    if not len(times):
        return clock
    first = to_local(times[0], clock.zone)
    return replace(clock, since=max(since, first))


def shift_bands(clock: Clock, shifts: Sequence[ShiftOf], *, chosen: ShiftOf | None = None) -> list[Any]:
    """Return every second shift as a pale band; the chosen one is framed."""
    shapes = []
    for i, shift in enumerate(shifts):
        is_chosen = chosen is not None and shift.starts == chosen.starts
        if (i % 2 and not is_chosen) or shift.ends <= clock.since:
            continue
        x0, x1 = clock.x(max(shift.starts, clock.since)), clock.x(min(shift.ends, clock.until))
        shape = {"type": "rect", "xref": "x", "yref": "paper", "x0": x0, "x1": x1, "y0": 0, "y1": 1}
        line = {"width": 1.2 if is_chosen else 0, "color": theme.SOFT}
        fill = theme.ALLOWED if is_chosen else theme.SHADE
        shapes.append({**shape, "layer": "below", "fillcolor": fill, "line": line})
    return shapes


def shift_names(clock: Clock, shifts: Sequence[ShiftOf], *, y: float = 1.0) -> list[Any]:
    """Return the names of the shifts along the top, as far as they have room."""
    names = []
    for shift in shifts:
        starts, ends = max(shift.starts, clock.since), min(shift.ends, clock.until)
        if ends <= starts:
            continue
        share = (ends - starts) / (clock.until - clock.since)
        room = share * 150  # letters that fit across the figure at this size
        full = f"{shift.name} {local.weekday(shift.date)} {shift.date.day}"
        text = full if room > len(full) + 1 else shift.name if room > len(shift.name) else ""
        if text:
            middle = clock.x(starts + (ends - starts) / 2)
            font = {"size": 11, "color": theme.SOFT}
            names.append(
                theme.word(text, middle, y, yref="paper", xanchor="center", yanchor="bottom", font=font)
            )
    return names
