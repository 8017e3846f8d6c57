"""A calendar of changes to come: seven days a row from today, a lane a spindle, shifts not worked shaded.

A triangle is a change of stones, the thin bar by it the range it falls in nine times of ten; an upright line
joins changes that share a stop. Above the lanes stand the dates, and over them what the stock asks for.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from cellmon import local
from cellmon.monitor.stone_picture import StonePicture
from cellmon.monitor.stone_plan import PlannedChange, StonePlan
from cellmon.words import say
from dashboards import theme
from dashboards.figures.calendar_slim import CHANGE, slim
from dashboards.figures.stock_asked import asked, beside, stock_marks, stock_words
from dashboards.figures.weeks import (
    DAY,
    HEAD_PX,
    STOCK_PX,
    Week,
    grounds,
    heads,
    lane_of,
    several_stages,
    short_day,
    weekday,
    weeks_of,
)

TOP_PX, BOTTOM_PX = 50, 12
LETTER_PX = 7.6
NARROW = timedelta(hours=18)
"""A change known better than this is named with its clock."""
DRAWN = timedelta(days=5.5)
"""A range up to this is drawn as a bar too; wider ones would lie over each other."""


def change_calendar_figure(picture: StonePicture) -> theme.Figure:
    """Draw the changes of the plan over the shifts to come."""
    plan = picture.stones.plan
    if plan is None or not picture.shifts:
        why = picture.stones.why_not.get("plan", "")
        return theme.notice(say("There is no plan of changes: {why}.", why=why), height=120)
    weeks = weeks_of(picture, plan, noted={one.at.date() for one in asked(picture, plan)})
    data, words = grounds(picture, weeks), heads(weeks, picture)
    for week in weeks:
        data += _changes(week, plan)
        words += _said(week, plan)
    data += stock_marks(picture, plan, weeks)
    words += stock_words(picture, plan, weeks)
    height = TOP_PX + BOTTOM_PX - weeks[-1].bottom
    drawn = theme.figure(
        data,
        height=round(height),
        shapes=_now(picture, weeks[0]),
        annotations=words,
        margin={
            "l": round(18 + LETTER_PX * max(len(name) for name in weeks[0].lanes)),
            "r": 8,
            "t": TOP_PX,
            "b": BOTTOM_PX,
        },
        xaxis=theme.axis(
            range=[0, 7],
            side="top",
            tickvals=[i + 0.5 for i in range(7)],
            ticktext=[weekday(weeks[0].first + i * DAY) for i in range(7)],
            ticks="",
            fixedrange=True,
        ),
        yaxis=theme.hidden_axis(range=[weeks[-1].bottom, 0], fixedrange=True),
        dragmode=False,
    )
    return slim(drawn, first_stock=weeks[0].top + HEAD_PX + STOCK_PX / 2)


def _changes(week: Week, plan: StonePlan) -> list[theme.Trace]:
    """Draw the changes as triangles, a stop's range once, by its first lane; neighbours at three heights."""
    several = several_stages(plan)
    bars: tuple[list[Any], list[Any]] = ([], [])
    ends: tuple[list[Any], list[Any]] = ([], [])
    for change in (c for c in plan.changes if c.with_spindle is None and _range(c) <= DRAWN):
        level = week.lane(lane_of(change, several)) + 6 * (change.number % 3 - 1)
        start, end = week.x(change.earliest), week.x(change.latest or plan.until)
        if end > 0 and start < 7:
            bars[0].extend([max(start, 0.0), min(end, 7.0), None])
            bars[1].extend([level, level, None])
        inside = [x for x in (start, end if change.latest else -1.0) if 0 <= x < 7]
        ends[0].extend(inside)
        ends[1].extend([level] * len(inside))
    mine = [c for c in plan.changes if week.holds(c.at)]
    mark = {
        "symbol": "triangle-up",
        "size": 13,
        "color": theme.INK,
        "line": {"color": theme.PAPER, "width": 1},
    }
    cap = {"symbol": "line-ns-open", "size": 6, "color": theme.LINE, "line": {"width": 1.4}}
    return [
        theme.points(*bars, mode="lines", line={"color": theme.LINE, "width": 1.4}, name="range"),
        theme.points(*ends, mode="markers", marker=cap, name="ends of a range"),
        *_stops(week, plan),
        theme.points(
            [week.x(c.at) for c in mine],
            [week.lane(lane_of(c, several)) for c in mine],
            mode="markers",
            marker=mark,
            text=[change_words(c) for c in mine],
            hoverinfo="text",
            name="change",
        ),
    ]


def change_words(change: PlannedChange) -> str:
    """Return what is known of one change, its range and what shares its stop."""
    named = change.stone_set or say("the set fitted then, {kind}", kind=change.kind)
    last = say("later than looked at") if change.latest is None else local.moment(change.latest)
    said = say(
        "{spindle}: {set} comes off about {at}<br>9 times of 10 between {low} and {high}",
        spindle=change.spindle,
        set=named,
        at=local.moment(change.at),
        low=local.moment(change.earliest),
        high=last,
    )
    if change.with_spindle is not None:
        said += "<br>" + say(
            "in the same stop as {spindle}, {bores} bores early",
            spindle=change.with_spindle,
            bores=local.number(change.early_bores),
        )
    return said


def _range(change: PlannedChange) -> timedelta:
    return timedelta.max if change.latest is None else change.latest - change.earliest


def _said(week: Week, plan: StonePlan) -> list[Any]:
    """Name the sets that come off beside their changes, and once a stop when that is."""
    several = several_stages(plan)
    words = []
    for stop in _stops_of(plan):
        if not week.holds(stop[0].at):
            continue
        lanes = sorted(stop, key=lambda c: -week.lane(lane_of(c, several)))
        left = week.x(stop[0].at) > 5
        dated = lanes[-1] if left else lanes[0]  # so that neighbours do not meet
        for change in lanes:
            text = " ".join(
                part for part in (change.stone_set, _when(stop[0]) if change is dated else None) if part
            )
            if text:
                level = week.lane(lane_of(change, several))
                strong = theme.INK if change.stone_set else theme.SOFT
                words.append(beside(text, week.x(change.at), level, name=CHANGE, left=left, colour=strong))
    return words


def _stops_of(plan: StonePlan) -> list[list[PlannedChange]]:
    """Return the changes stop by stop, the one that is due first."""
    leading = [c for c in plan.changes if c.with_spindle is None]
    return [
        [lead, *(c for c in plan.changes if c.with_spindle == lead.spindle and c.at == lead.at)]
        for lead in leading
    ]


def _when(change: PlannedChange) -> str:
    """Return the clock of a change that is well known, else its range of days."""
    if _range(change) <= NARROW:
        return local.clock(change.at)
    low = short_day(change.earliest)
    if change.latest is None:
        return say("from {low} on", low=low)
    if change.latest.month == change.earliest.month:
        return say("{low} to {high}", low=change.earliest.day, high=short_day(change.latest))
    return say("{low} to {high}", low=low, high=short_day(change.latest))


def _stops(week: Week, plan: StonePlan) -> list[theme.Trace]:
    """Join the changes that share a stop by an upright line through their lanes."""
    several = several_stages(plan)
    x: list[Any] = []
    y: list[Any] = []
    for stop in _stops_of(plan):
        levels = [week.lane(lane_of(c, several)) for c in stop]
        if len(stop) > 1 and week.holds(stop[0].at):
            x += [week.x(stop[0].at)] * 2 + [None]
            y += [min(levels), max(levels), None]
    return [theme.points(x, y, mode="lines", line={"color": theme.INK, "width": 1.8}, name="one stop")]


def _now(picture: StonePicture, week: Week) -> list[Any]:
    at = week.x(picture.as_of)
    line = {"color": theme.INK, "width": 1.2, "dash": "2px,2px"}
    return [{"type": "line", "x0": at, "x1": at, "y0": week.bottom, "y1": week.top + 4, "line": line}]


def rows(picture: StonePicture) -> dict[str, list[Any]]:
    """Return the changes as columns."""
    plan = picture.stones.plan
    names = (
        "spindle",
        "stage",
        "kind",
        "stone_set",
        "at",
        "earliest",
        "latest",
        "bores",
        "with_spindle",
        "early_bores",
    )
    changes: Sequence[PlannedChange] = () if plan is None else plan.changes
    return {
        name: [v.isoformat() if isinstance(v := getattr(c, name), datetime) else v for c in changes]
        for name in names
    }
