"""Size and form of one bore as quiet strips over one time axis, with what was done to stones and gauge.

Each strip has its own upright axis: the tolerance pale, a bore a dash, the means of its subgroups a thin
line. What was done runs as a thin line through all strips, named in the lanes at the foot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.stream import StreamSubgroups, StreamView
from cellmon.records.words import feature_words
from cellmon.words import say
from dashboards import theme
from dashboards.figures import flags, ribbon, ticks, wear
from dashboards.figures.clock import Clock, clock_from, shift_bands, shift_names
from dashboards.figures.narrow import narrowed, timed
from dashboards.figures.scaled import scaled
from dashboards.figures.strokes import Marks, Shape, joined
from dashboards.figures.thinned import FEW_COLUMNS, FEW_FROM, kept

HEIGHT, TOP, BOTTOM, LEFT, RIGHT = 698, 44, 44, 104, 84
WIDTH_PX, NARROW_PX = 1120, 780
SLIM_BELOW = 600
"""Width of a box below which strips are narrow."""
FEATURES = ("diameter", "taper", "barrel", "ovality")
LANES, LOWEST, GAP = (0.0, 0.115), 0.15, 0.025
SIZE_SHARE = 1.6
"""How much higher the strip of size is than one of form."""
UNNAMED = ("gauge-check", "feed-offset")
"""What happens too often for words; the lanes tell it on hover."""
THROUGH = {"gauge-check": (theme.HAIR, 1.0), "stones-dressed": (theme.QUIET, 1.0)}
"""Colour and width of the line of an event through all strips; others in ink, offsets have none."""


def strips_figure(views: Sequence[StreamView]) -> theme.Figure:
    """Draw the strips of one bore, the first at the top; all views are of the same time."""
    whole = [one for one in map(_own, views) if len(one.bores.at) or len(one.subgroups.at)]
    drawn = [_thinned(one) for one in whole]
    if not drawn:
        return theme.notice(say("No bore of this stream was measured in this time."), height=HEIGHT)
    first = min(one.bores.at[0] if len(one.bores.at) else one.subgroups.first_at[0] for one in drawn)
    clock = clock_from(np.array([first]), drawn[0].since, drawn[0].until, drawn[0].zone)
    data: list[theme.Trace] = flags.flags(drawn[0], clock)
    shapes, words = shift_bands(clock, drawn[0].shifts) + _through(drawn[0], clock), []
    layout: dict[str, Any] = {"yaxis2": flags.axis(domain=list(LANES))}
    strips = zip(drawn, whole, _axes(len(drawn)), domains(drawn), strict=True)
    for view, every, name, domain in strips:
        low, high = ribbon.span(every)
        strip = _strip(view, clock, low, high)
        data += [{**trace, "type": "scatter", "yaxis": name} for trace in strip.traces]
        shapes += [{**line, "yref": name} for line in strip.shapes]
        layout[f"yaxis{name[1:]}"] = theme.axis(_name(view), domain=list(domain), range=[low, high], nticks=4)
    words += _reduced(len(drawn[0].bores.at), len(whole[0].bores.at))
    words += flags.names(drawn[0], clock, width=NARROW_PX, beside=RIGHT, unnamed=UNNAMED)
    figure = theme.figure(
        data,
        height=HEIGHT,
        margin={"l": LEFT, "r": RIGHT, "t": TOP, "b": BOTTOM},
        shapes=shapes,
        annotations=shift_names(clock, drawn[0].shifts) + words,
        xaxis=clock.axis(anchor="y2"),
        **layout,
    )
    named = zip(drawn, _axes(len(drawn)), strict=True)
    figure = scaled(figure, *(name for view, name in named if view.unit == lengths.UM))
    return narrowed(figure, _slim(figure), below=SLIM_BELOW)


def _slim(drawn: theme.Figure) -> dict[str, Any]:
    """Return what changes in a narrow box: a flag says its words on a tap."""
    return {**timed(drawn, left=58), **flags.slim()}


def domains(views: Sequence[StreamView]) -> list[tuple[float, float]]:
    """Return the shares of the height in which the strips stand, from the top down."""
    weights = [SIZE_SHARE if one.stream.feature == "diameter" else 1.0 for one in views]
    room = (1.0 - LOWEST - GAP * (len(views) - 1)) / sum(weights)
    found, top = [], 1.0
    for weight in weights:
        found.append((max(top - room * weight, 0.0), top))
        top -= room * weight + GAP
    return found


def _axes(count: int) -> list[str]:
    """Return the names of the upright axes; the lanes have the second."""
    return ["y", *(f"y{i + 3}" for i in range(count - 1))]


def _own(view: StreamView) -> StreamView:
    return replace(view, tolerance=ribbon.tolerance_of(view), bores=ribbon.bores_of(view))


def _thinned(view: StreamView) -> StreamView:
    """Return a strip with what is drawn of it; bores beyond a limit or doubted are, all of them."""
    bores, groups = view.bores, view.subgroups
    always = ticks.outside(view) | bores.flagged
    rows = kept(bores.at, bores.value_um, always=always, columns=FEW_COLUMNS, above=FEW_FROM)
    means = kept(groups.at, groups.mean_um, columns=FEW_COLUMNS, above=FEW_FROM)
    columns = {f.name: getattr(groups, f.name)[means] for f in fields(groups)}
    return replace(view, bores=ticks.chosen(bores, rows), subgroups=StreamSubgroups(**columns))


def _name(view: StreamView) -> str:
    unit = lengths.axis_unit(view.unit)
    if view.stream.feature == "diameter":
        return say("size,<br>{unit}", unit=unit)
    return f"{feature_words(view.stream.feature)},<br>{unit}"


def _strip(view: StreamView, clock: Clock, low: float, high: float) -> Marks:
    bores = ticks.bores(view, clock, WIDTH_PX)
    edge = [{**trace, "cliponaxis": False} for trace in ticks.off(view, clock, low, high)]
    shapes = _allowed(view, clock, low, high) + _limits(view, clock) + bores.shapes + _means(view, clock)
    return Marks(traces=[*bores.traces, *edge], shapes=shapes)


def _allowed(view: StreamView, clock: Clock, low: float, high: float) -> list[Shape]:
    """Return the tolerance as a pale band, where there is one."""
    limits = (view.tolerance.lower_um, view.tolerance.upper_um)
    if limits == (None, None):
        return []
    bottom, top = (edge if one is None else one for one, edge in zip(limits, (low, high), strict=True))
    ends = {"x0": clock.x(clock.since), "x1": clock.x(clock.until), "y0": bottom, "y1": top}
    return [{"type": "rect", **ends, "layer": "between", "fillcolor": theme.ALLOWED, "line": {"width": 0}}]


def _means(view: StreamView, clock: Clock) -> list[Shape]:
    """Return the line of the means; it breaks where nothing was made for hours."""
    groups = view.subgroups
    if not len(groups.at):
        return []
    points = zip(*wear.joined(wear.middles(groups), groups.mean_um, clock), strict=True)
    return joined(points, colour=theme.INK, width=1.1)


def _limits(view: StreamView, clock: Clock) -> list[Any]:
    ends = clock.x(clock.since), clock.x(clock.until)
    limits = (view.tolerance.lower_um, view.tolerance.upper_um)
    return [theme.level(*ends, value, width=1.2) for value in limits if value is not None]


def _through(view: StreamView, clock: Clock) -> list[Any]:
    """Return a thin upright line through all strips for each thing that was done."""
    lines = []
    for event in view.events:
        if event.kind == "feed-offset" or not clock.since <= event.at <= clock.until:
            continue
        colour, width = THROUGH.get(event.kind, (theme.SOFT, 1.2))
        x = clock.x(event.at)
        line = {"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0.0, "y1": 1.0}
        lines.append({**line, "layer": "below", "line": {"color": colour, "width": width}})
    return lines


def _reduced(drawn: int, count: int) -> list[Any]:
    """Say of a long history how many of its bores are drawn; none beyond a limit is left out."""
    if drawn == count:
        return []
    text = say(
        "{drawn} of {count} bores drawn, in each strip all beyond a limit among them",
        drawn=local.number(drawn),
        count=local.number(count),
    )
    place = {"xref": "paper", "yref": "paper", "xanchor": "right", "yanchor": "top", "bgcolor": theme.VEIL}
    return [theme.word(text, 0.997, 1.0, font={"size": 11, "color": theme.SOFT}, **place)]


def rows(views: Sequence[StreamView]) -> dict[str, list[Any]]:
    """Return every bore of every strip, one row each, and what was done among them."""
    found: dict[str, list[Any]] = {"what": []}
    for view in views:
        told = ribbon.rows(_own(view))
        found["what"] += [view.stream.feature] * len(told["part"])
        for name, cells in told.items():
            found.setdefault(name, []).extend(cells)
    for event in views[0].events if views else ():
        found["what"].append(str(event.kind))
        at = event.at.astimezone(clock_from(np.array([]), event.at, event.at, views[0].zone).zone)
        row = {
            "stream": event.words,
            "measured_at": at.isoformat(timespec="seconds"),
            "value_um": float("nan"),
        }
        for name in found.keys() - {"what"}:
            found[name].append(row.get(name, ""))
    return found
