"""The subgroups of a ribbon: a bar as high as its range, notched at its mean."""

from __future__ import annotations

import numpy as np

from cellmon import lengths
from cellmon.monitor.stream import StreamView
from cellmon.records import Numbers, Whole
from cellmon.words import say
from dashboards import theme
from dashboards.figures.clock import Clock
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.strokes import NONE, Marks, level, upright
from dashboards.figures.thinned import kept
from dashboards.figures.wear import middles

BAR, DENSE_BAR = theme.BAR, theme.DENSE_BAR
DIGITS = 4
"""Of a mean as it is drawn, behind the point: finer than a pixel; what is told and saved is whole."""
DENSE = 600
"""Subgroups from which the ribbon is drawn finer."""


def subgroups(view: StreamView, clock: Clock, width_px: float) -> Marks:
    """Return every subgroup as a bar with a notch; of a long history those that `shown` keeps."""
    groups = view.subgroups
    count = len(groups.at)
    if not count:
        return NONE
    bottom, top = bars_of(view)
    rows = shown(view, bottom, top)
    at, mean = middles(groups)[rows], groups.mean_um[rows]
    told = hover(view, clock, rows)
    means = theme.points(
        clock.xs(at), np.round(mean, DIGITS).tolist(), mode="none", text=told, hoverinfo="text", name="means"
    )
    width, dense = float(np.clip(0.5 * width_px / count, 1.3, 12.0)), count > DENSE
    colour, notch = DENSE_BAR if dense else BAR, 2.2 if dense else max(4.2, width)
    shapes = upright(at, bottom[rows], top[rows], clock, colour=colour, width=width)
    line = {"colour": theme.INK, "width": 2.2 if dense else 2.0}
    shapes += level(at, mean, clock, length=notch / width_px, **line)
    return Marks(traces=[opens_bore(means, groups.last_part[rows], view.stream.bore)], shapes=shapes)


def shown(view: StreamView, bottom: Numbers, top: Numbers) -> Whole:
    """Return which subgroups are drawn: of a long history its outline, and every one beyond a limit."""
    groups = view.subgroups
    always = (groups.beyond_mean != 0) | (groups.beyond_range != 0)
    return kept(groups.at, groups.mean_um, groups.range_um, bottom, top, always=always)


def hover(view: StreamView, clock: Clock, rows: Whole) -> list[str]:
    """Return what is told of some subgroups: bore, blocks, mean and range, moment, stones."""
    groups = view.subgroups
    whose = "" if view.stream.bore is None else f"{say('bore {bore}', bore=view.stream.bore)}, "
    columns = (groups.first_part, groups.last_part, groups.mean_um, groups.range_um, groups.n)
    columns += (clock.words(groups.at), groups.stone_set)
    return [
        whose
        + say("blocks {first} to {last}", first=a, last=b)
        + "<br>"
        + say(
            "mean {mean}, range {range} {unit} of {n}",
            mean=lengths.of(m, view.unit, 2),
            range=lengths.of(r, view.unit, 2),
            unit=lengths.unit_of(view.unit, spoken=True),
            n=n,
        )
        + f"<br>{at}{stones_line(stones)}"
        for a, b, m, r, n, at, stones in zip(*(c[rows] for c in columns), strict=True)
    ]


def bars_of(view: StreamView) -> tuple[Numbers, Numbers]:
    """Return bottom and top of each subgroup's bar: its own bores where they give its range.

    Where they do not (doubted bores, another selection), the bar is set about the mean.
    """
    groups, bores = view.subgroups, view.bores
    bottom, top = groups.mean_um - groups.range_um / 2, groups.mean_um + groups.range_um / 2
    sound = ~bores.flagged
    at, value = bores.at[sound], bores.value_um[sound]
    first = np.searchsorted(at, groups.first_at, side="left")
    last = np.searchsorted(at, groups.at, side="right")
    for i in np.nonzero(last > first)[0]:
        inside = value[first[i] : last[i]]
        low, high = float(inside.min()), float(inside.max())
        if abs(high - low - groups.range_um[i]) < 1e-6:
            bottom[i], top[i] = low, high
    return bottom, top
