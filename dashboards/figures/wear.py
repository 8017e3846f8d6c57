"""What the detectors expect of each subgroup: the wear line with its limits, and the size without offsets."""

from __future__ import annotations

from typing import Any

import numpy as np

from cellmon.monitor.stream import StreamSubgroups, StreamView, WearLine
from cellmon.records import Numbers, Times
from cellmon.words import say
from dashboards import theme
from dashboards.figures import strokes
from dashboards.figures.clock import Clock
from dashboards.figures.strokes import Shape

GAP = np.timedelta64(3, "h")


def middles(groups: StreamSubgroups) -> Times:
    """Return the moment in the middle of each subgroup, where its bar stands."""
    found: Times = groups.first_at + (groups.at - groups.first_at) / 2
    return found


def wear_line(view: StreamView, wear: WearLine, clock: Clock) -> list[Shape]:
    """Return the expected level as a thin line in the pale band of its limits; both break over gaps."""
    at = _placed(view, wear)
    pieces = _pieces(at, wear.level_um)
    inside = ((clock.xs(at[one]), wear.lower_um[one], wear.upper_um[one]) for one in pieces)
    band = strokes.zones(inside, colour=theme.INSIDE)
    points = zip(*joined(at, wear.level_um, clock), strict=True)
    line = strokes.joined(points, colour=theme.SOFT, width=1.1)
    return band + [{**one, "name": "wear line"} for one in line]


def without_offsets(view: StreamView, wear: WearLine, clock: Clock) -> list[theme.Trace]:
    """Return each mean as it would be without the offsets given since the first in the drawing."""
    at = _placed(view, wear)
    x, y = joined(at, wear.without_offsets_um, clock)
    line = {"color": theme.INK, "width": 1.2, "dash": "dot"}
    return [theme.points(x, y, mode="lines", line=line, name="without offsets")]


def without_name(wear: WearLine, unit: str) -> list[Any]:
    """Return the words at the end of that line."""
    known = np.nonzero(np.isfinite(wear.without_offsets_um))[0]
    if not len(known):
        return []
    last = int(known[-1])
    y = float(wear.without_offsets_um[last])
    text = say("without<br>offsets {size}", size=theme.um(y, unit=unit))
    font = {"size": 11, "color": theme.INK}
    return [theme.word(text, 1.005, y, xref="paper", align="left", font=font)]


def _placed(view: StreamView, wear: WearLine) -> Times:
    """Return where the line's points stand: in the middle of their subgroups."""
    groups = view.subgroups
    if not len(groups.at):
        return wear.at
    row = np.clip(np.searchsorted(groups.at, wear.at), 0, len(groups.at) - 1)
    placed: Times = np.where(groups.at[row] == wear.at, middles(groups)[row], wear.at)
    return placed


def _pieces(at: Times, level: Numbers) -> list[slice]:
    """Return the runs of known points with no long gap between."""
    found: list[slice] = []
    for i in np.nonzero(np.isfinite(level))[0].tolist():
        if found and found[-1].stop == i and at[i] - at[i - 1] <= GAP:
            found[-1] = slice(found[-1].start, i + 1)
        else:
            found.append(slice(i, i + 1))
    return found


def joined(at: Times, level: Numbers, clock: Clock) -> tuple[list[Any], list[Any]]:
    """Return the points of a line that breaks over gaps, as a drawing wants them."""
    x: list[Any] = []
    y: list[Any] = []
    for piece in _pieces(at, level):
        x += [*clock.xs(at[piece]), None]
        y += [*level[piece].tolist(), None]
    return x, y
