"""The features of one bore together: how far each subgroup lies out, alone and smoothed, named where beyond.

Drawn is the root of T-squared and of the MEWMA's, a distance in standard errors, so that the zone inside
stays readable beside a point far out; the saved table holds both as they are.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from cellmon import local
from cellmon.monitor.joint import Joint
from cellmon.monitor.joint_beyond import JointBeyond
from cellmon.records import Numbers
from cellmon.shifts import to_utc
from cellmon.words import say
from dashboards import theme
from dashboards.figures.clock import Clock, clock_from, shift_bands, shift_names
from dashboards.figures.mean_range import zone_inside
from dashboards.figures.narrow import narrowed, timed
from dashboards.figures.opened import opens_bore
from dashboards.figures.thinned import kept
from dashboards.figures.words import Label, place

HEIGHT, TOP, BOTTOM = 418, 42, 42
SINGLE, SMOOTHED = (0.54, 1.0), (0.0, 0.44)
WIDTH_PX = 760
AXES = {"T-squared": "y", "MEWMA": "y2"}


def joint_figure(answer: Joint, *, height: int = HEIGHT) -> theme.Figure:
    """Draw both charts under one time axis; ring what lies beyond, and name the features it comes from."""
    points = answer.points
    if not len(points.at):
        return theme.notice(say("No subgroup with every feature was completed in this time."), height=height)
    clock = clock_from(points.at, answer.since, answer.until, answer.zone)
    data: list[theme.Trace] = []
    words: list[Any] = []
    for chart, values, limit in (
        ("T-squared", points.t_squared, answer.t_squared_limit),
        ("MEWMA", points.mewma, answer.mewma_limit),
    ):
        away = np.sqrt(values)
        data += _chart(answer, clock, chart, away, float(np.sqrt(limit)))
        words += _beside(answer, clock, chart, away, height)
    drawn = theme.figure(
        data,
        height=height,
        margin={"l": 64, "r": 20, "t": TOP, "b": BOTTOM},
        xaxis=clock.axis(anchor="y2"),
        yaxis=theme.axis(say("each subgroup"), domain=list(SINGLE), nticks=5, rangemode="tozero"),
        yaxis2=theme.axis(say("smoothed"), domain=list(SMOOTHED), nticks=5, rangemode="tozero"),
        shapes=shift_bands(clock, answer.shifts),
        annotations=words + shift_names(clock, answer.shifts),
    )
    return narrowed(drawn, timed(drawn))


def _chart(answer: Joint, clock: Clock, chart: str, away: Numbers, limit: float) -> list[theme.Trace]:
    points = answer.points
    rows = kept(points.at, away, always=away > limit)
    away, last_part, at = away[rows], points.last_part[rows], points.at[rows]
    x, many = clock.xs(at), len(away)
    hover = [
        say(
            "{distance} standard errors ({chart} {square}), to block {part}",
            distance=local.number(distance, 1),
            chart=chart,
            square=local.number(distance**2, 1),
            part=part,
        )
        + f"<br>{at}"
        for distance, part, at in zip(away, last_part, clock.words(at), strict=True)
    ]
    joined = theme.points(
        x,
        away.tolist(),
        mode="lines+markers",
        line={"color": theme.QUIET, "width": 1},
        marker={"color": theme.INK, "size": 4.5 if many < 300 else 3},
        text=hover,
        hoverinfo="text",
        name=chart,
    )
    joined = opens_bore(joined, last_part, answer.bore)
    drawn = [zone_inside(x, np.zeros(many), np.full(many, limit)), joined]
    far = np.flatnonzero(away > limit)
    if len(far):
        ringed = [x[i] for i in far], away[far].tolist()
        drawn.append(theme.points(*ringed, mode="markers", marker=theme.RING, name=f"{chart} beyond"))
    return [{**trace, "yaxis": AXES[chart]} for trace in drawn]


def _beside(answer: Joint, clock: Clock, chart: str, away: Numbers, height: int) -> list[Any]:
    """Name the highest point of every run that lies beyond."""
    start, room, most = to_utc(clock.since), height * 0.4, float(away.max())
    labels = []
    for one in answer.beyond:
        if one.chart != chart:
            continue
        moment, value = to_utc(one.at), one.value**0.5
        share = (moment - start) / np.timedelta64(1, "h") / clock.hours
        x = clock.x(one.at)
        labels.append(
            Label(
                text=label_of(one, clock),
                x=x,
                y=value,
                px=share * WIDTH_PX,
                py=value / most * room,
                weight=value,
            )
        )
    return place(labels, width=WIDTH_PX, height=room * 1.2, most=8, yref=AXES[chart])


def label_of(one: JointBeyond, clock: Clock) -> str:
    """Return when a run of points began, and the features of its highest."""
    first = clock.words(np.array([to_utc(one.first_at)], dtype="datetime64[us]"))[0]
    return f"{clock.short(first)} {one.words}"


def rows(answer: Joint) -> dict[str, list[Any]]:
    """Return both charts, one row a subgroup, with each feature in standard errors."""
    points = answer.points
    clock = clock_from(points.at, answer.since, answer.until, answer.zone)
    count = len(points.at)
    return {
        "at": clock.stamps(points.at),
        "first_part": points.first_part.tolist(),
        "last_part": points.last_part.tolist(),
        "n": points.n.tolist(),
        "t_squared": points.t_squared.tolist(),
        "t_squared_limit": [answer.t_squared_limit] * count,
        "mewma": points.mewma.tolist(),
        "mewma_limit": [answer.mewma_limit] * count,
        **{
            f"{f.feature}_standard_errors": points.deviation[:, i].tolist()
            for i, f in enumerate(answer.features)
        },
    }
