"""What lies beyond plain limits: means and ranges ringed, and the first of each run named."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from cellmon.monitor.stream import StreamView
from cellmon.shifts import to_utc
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import bars
from dashboards.figures.clock import Clock
from dashboards.figures.opened import opens_bore
from dashboards.figures.wear import middles
from dashboards.figures.words import Label


def rings(view: StreamView, clock: Clock) -> list[theme.Trace]:
    """Return a ring round every mean, and a square round every range, beyond its limit."""
    groups = view.subgroups
    if not len(groups.at):
        return []
    middle = clock.xs(middles(groups))
    drawn = []
    many = len(groups.at) > 400
    for beyond, level, marker, name in (
        (groups.beyond_mean, groups.mean_um, theme.RING, to_say("mean beyond")),
        (groups.beyond_range, bars.bars_of(view)[1], theme.SQUARE_RING, to_say("range beyond")),
    ):
        at = np.nonzero(beyond)[0]
        if len(at):
            x, y = [middle[i] for i in at], level[at].tolist()
            told = [f"{say(name)}<br>{words}" for words in bars.hover(view, clock, at)]
            ring = {
                **marker,
                "size": 9 if many else 15,
                "line": {**marker["line"], "width": 1.6 if many else 2.2},
            }
            mark = theme.points(x, y, mode="markers", marker=ring, text=told, name=name)
            drawn.append(opens_bore({**mark, "hoverinfo": "text"}, groups.last_part[at], view.stream.bore))
    return drawn


def labels(view: StreamView, clock: Clock, width: float, py: Callable[[float], float]) -> list[Label]:
    """Return words at the first point of every run beyond a limit."""
    groups, found = view.subgroups, []
    placed, tops = middles(groups), bars.bars_of(view)[1]
    for beyond, what in ((groups.beyond_mean, "mean"), (groups.beyond_range, "range")):
        for first, last in runs_of(beyond):
            share = (placed[first] - to_utc(clock.since)) / np.timedelta64(1, "h") / clock.hours
            y = float(groups.mean_um[first] if what == "mean" else tops[first])
            off = abs(y - float(groups.center_um[first]))
            size = off if what == "mean" else float(groups.range_um[first]) / 3
            at = clock.words(groups.at[first : first + 1])[0]
            found.append(
                Label(
                    text=_run_words(clock.short(at), what, beyond[first] > 0, last - first + 1),
                    x=clock.xs(placed[first : first + 1])[0],
                    y=y,
                    px=share * width,
                    py=py(y),
                    weight=(last - first + 1) * size,
                )
            )
    return found


BEYOND = {
    ("mean", True): to_say("{at} mean above"),
    ("mean", False): to_say("{at} mean below"),
    ("range", True): to_say("{at} range above"),
    ("range", False): to_say("{at} range below"),
}


def _run_words(at: str, what: str, above: bool, often: int) -> str:
    said = say(BEYOND[what, above], at=at)
    return say("{what}, {often} in a row", what=said, often=often) if often > 1 else said


def runs_of(beyond: Any) -> list[tuple[int, int]]:
    """Return first and last of each run beyond the same limit."""
    found: list[tuple[int, int]] = []
    for i in np.nonzero(beyond)[0].tolist():
        if found and found[-1][1] == i - 1 and beyond[found[-1][0]] == beyond[i]:
            found[-1] = (found[-1][0], i)
        else:
            found.append((i, i))
    return found
