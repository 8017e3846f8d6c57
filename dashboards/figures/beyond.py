"""What lies beyond plain limits: means and ranges ringed, and the first of each run named."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from cellmon.monitor.stream import StreamView
from cellmon.records import Numbers
from cellmon.shifts import to_utc
from dashboards import theme
from dashboards.figures.clock import Clock
from dashboards.figures.wear import middles
from dashboards.figures.words import Label


def bars_of(view: StreamView) -> tuple[Numbers, Numbers]:
    """Return bottom and top of each subgroup's bar: its own bores where they give its range.

    Where they do not (doubted bores, another selection), the bar is set about the mean.
    """
    groups, bores = view.subgroups, view.bores
    bottom, top = groups.mean_um - groups.range_um / 2, groups.mean_um + groups.range_um / 2
    kept = ~bores.flagged
    at, value = bores.at[kept], bores.value_um[kept]
    first = np.searchsorted(at, groups.first_at, side="left")
    last = np.searchsorted(at, groups.at, side="right")
    for i in np.nonzero(last > first)[0]:
        inside = value[first[i] : last[i]]
        low, high = float(inside.min()), float(inside.max())
        if abs(high - low - groups.range_um[i]) < 1e-6:
            bottom[i], top[i] = low, high
    return bottom, top


def rings(view: StreamView, clock: Clock) -> list[theme.Trace]:
    """Return a ring round every mean, and a square round every range, beyond its limit."""
    groups = view.subgroups
    if not len(groups.at):
        return []
    middle = clock.xs(middles(groups))
    drawn = []
    many = len(groups.at) > 400
    for beyond, level, marker, name in (
        (groups.beyond_mean, groups.mean_um, theme.RING, "mean beyond"),
        (groups.beyond_range, bars_of(view)[1], theme.SQUARE_RING, "range beyond"),
    ):
        at = np.nonzero(beyond)[0]
        if len(at):
            x, y = [middle[i] for i in at], level[at].tolist()
            parts = [f"{name}, blocks {groups.first_part[i]} to {groups.last_part[i]}" for i in at]
            ring = {
                **marker,
                "size": 9 if many else 15,
                "line": {**marker["line"], "width": 1.6 if many else 2.2},
            }
            drawn.append(
                theme.points(
                    x,
                    y,
                    mode="markers",
                    marker=ring,
                    text=parts,
                    hoverinfo="text",
                    name=name,
                    customdata=[str(groups.last_part[i]) for i in at],
                )
            )
    return drawn


def labels(view: StreamView, clock: Clock, width: float, py: Callable[[float], float]) -> list[Label]:
    """Return words at the first point of every run beyond a limit."""
    groups, found = view.subgroups, []
    placed, tops = middles(groups), bars_of(view)[1]
    for beyond, what in ((groups.beyond_mean, "mean"), (groups.beyond_range, "range")):
        for first, last in runs_of(beyond):
            share = (placed[first] - to_utc(clock.since)) / np.timedelta64(1, "h") / clock.hours
            side = "above" if beyond[first] > 0 else "below"
            often = f", {last - first + 1} in a row" if last > first else ""
            y = float(groups.mean_um[first] if what == "mean" else tops[first])
            off = abs(y - float(groups.center_um[first]))
            size = off if what == "mean" else float(groups.range_um[first]) / 3
            at = clock.words(groups.at[first : first + 1])[0]
            found.append(
                Label(
                    text=f"{clock.short(at)} {what} {side}{often}",
                    x=clock.xs(placed[first : first + 1])[0],
                    y=y,
                    px=share * width,
                    py=py(y),
                    weight=(last - first + 1) * size,
                )
            )
    return found


def runs_of(beyond: Any) -> list[tuple[int, int]]:
    """Return first and last of each run beyond the same limit."""
    found: list[tuple[int, int]] = []
    for i in np.nonzero(beyond)[0].tolist():
        if found and found[-1][1] == i - 1 and beyond[found[-1][0]] == beyond[i]:
            found[-1] = (found[-1][0], i)
        else:
            found.append((i, i))
    return found
