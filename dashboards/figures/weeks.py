"""The grid of a calendar: rows of seven days, a lane a spindle, what is not worked shaded, dates above."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from cellmon import local
from cellmon.monitor.stone_picture import ShiftAhead, StonePicture
from cellmon.monitor.stone_plan import PlannedChange, StonePlan
from cellmon.words import say
from dashboards import theme

DAY = timedelta(days=1)
LANE_PX, HEAD_PX, STOCK_PX, GAP_PX = 24, 20, 20, 14
STAGES = ("rough", "finish", "plateau")
MOST_LANES = 40
"""Weeks are drawn until there are so many lanes."""


@dataclass(frozen=True, kw_only=True)
class Week:
    """Seven days: the first, where its lanes begin (pixels from the top, negative), and their names."""

    first: date
    top: float
    lanes: tuple[str, ...]

    @property
    def bottom(self) -> float:
        """Where its last lane ends."""
        return self.top - LANE_PX * len(self.lanes)

    def lane(self, name: str) -> float:
        """Return the middle of a lane."""
        return self.top - LANE_PX * (self.lanes.index(name) + 0.5)

    def x(self, at: datetime) -> float:
        """Return where a moment stands, in days from the first by the clock on the wall."""
        plain = at.replace(tzinfo=None)
        return (plain - datetime.combine(self.first, datetime.min.time())) / DAY

    def holds(self, at: datetime) -> bool:
        """Return whether a moment falls into these days."""
        return 0 <= self.x(at) < 7


def weekday(day: date) -> str:
    """Return the short name of a day of the week."""
    return local.day(day).split()[0].rstrip(",")


def lane_of(change: PlannedChange, several: bool) -> str:
    """Return the lane of a change: its spindle, and its stage where a spindle has several."""
    return f"{change.spindle} {change.stage}" if several else change.spindle


def several_stages(plan: StonePlan) -> bool:
    """Return whether a spindle has stones of more than one stage."""
    stages: dict[str, set[str]] = {}
    for change in plan.changes:
        stages.setdefault(change.spindle, set()).add(change.stage)
    return any(len(found) > 1 for found in stages.values())


def weeks_of(picture: StonePicture, plan: StonePlan, *, noted: Collection[date]) -> list[Week]:
    """Return the rows from today to the end of the plan; those with a date of `noted` have room for words."""
    several = several_stages(plan)
    order = sorted(plan.changes, key=lambda c: (c.spindle, STAGES.index(c.stage) if c.stage in STAGES else 9))
    lanes = tuple(dict.fromkeys(lane_of(c, several) for c in order)) or picture.spindles[:1] or ("",)
    first, last = picture.as_of.date(), picture.shifts[-1].date
    most = max(MOST_LANES // len(lanes), 2)
    weeks, y = [], 0.0
    for k in range(min((last - first).days // 7 + 1, most)):
        begins = first + 7 * k * DAY
        y -= HEAD_PX + (STOCK_PX if any(begins <= at < begins + 7 * DAY for at in noted) else 0)
        weeks.append(Week(first=begins, top=y, lanes=lanes))
        y = weeks[-1].bottom - GAP_PX
    return weeks


def grounds(picture: StonePicture, weeks: Sequence[Week]) -> list[theme.Trace]:
    """Draw the lanes as pale strips, what is not worked shaded, closed days hatched, days apart by hairs."""
    drawn: list[theme.Trace] = []
    idle: tuple[list[Any], list[Any]] = ([], [])
    hairs: tuple[list[Any], list[Any]] = ([], [])
    for week in weeks:
        low, high = week.bottom, week.top
        ends = [max(week.x(picture.as_of), 0.0), min(week.x(picture.shifts[-1].ends), 7.0)]
        drawn.append(theme.band(ends, [low] * 2, [high] * 2, colour=theme.ALLOWED))
        for k in range(1, len(week.lanes)):
            hairs[0].extend([0, 7, None])
            hairs[1].extend([high - k * LANE_PX] * 2 + [None])
        for day in range(8):
            hairs[0].extend([day, day, None])
            hairs[1].extend([low, high, None])
        for start, end, closed in _idle(picture.shifts, week, picture.as_of):
            if closed:
                drawn.append({**theme.hatched(start, end, low, high), "name": "closed"})
            else:
                idle[0].extend([start, end, end, start, start, None])
                idle[1].extend([low, low, high, high, low, None])
    shade = {"mode": "lines", "line": {"width": 0}, "fill": "toself", "fillcolor": theme.METAL}
    drawn.append(
        {"type": "scatter", "x": idle[0], "y": idle[1], "hoverinfo": "skip", "name": "not worked", **shade}
    )
    thin = {"color": theme.PAPER, "width": 1.5}
    drawn.append(theme.points(*hairs, mode="lines", line=thin, name="days"))
    return drawn


def _idle(shifts: Sequence[ShiftAhead], week: Week, now: datetime) -> Iterator[tuple[float, float, bool]]:
    """Yield what is not worked in a week, shifts that follow each other as one."""
    open_: tuple[float, float, bool] | None = None
    first, last = week.first - DAY, week.first + 7 * DAY  # a shift of the night before reaches into them
    for s in shifts:
        if s.worked or not first <= s.date <= last:
            continue
        start, end = max(week.x(s.starts), week.x(now), 0.0), min(week.x(s.ends), 7.0)
        if start >= end:
            continue
        if open_ is not None and open_[1] == start and open_[2] == s.closed:
            open_ = (open_[0], end, s.closed)
            continue
        if open_ is not None:
            yield open_
        open_ = (start, end, s.closed)
    if open_ is not None:
        yield open_


def heads(weeks: Sequence[Week], picture: StonePicture) -> list[Any]:
    """Return the date of every day above its cell, the month where it begins, and the names of the lanes."""
    soft = {"size": 11, "color": theme.SOFT}
    words = []
    closed = {s.date for s in picture.shifts if s.closed}
    for row, week in enumerate(weeks):
        for i in range(7):
            day = week.first + i * DAY
            named = day.day == 1 or (row == 0 and i == 0)
            text = short_day(day) if named else str(day.day)
            if day in closed:
                text += " " + say("closed")
            words.append(theme.word(text, i, week.top, yanchor="bottom", xshift=1, font=soft))
        for name in week.lanes:
            words.append(
                theme.word(
                    name,
                    0,
                    week.lane(name),
                    xanchor="right",
                    xshift=-8,
                    font={"size": 13, "color": theme.INK},
                )
            )
    return words


def short_day(day: date) -> str:
    """Return a day and its month, without the day of the week."""
    return " ".join(local.day(day).split()[1:])
