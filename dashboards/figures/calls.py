"""Signals on a stream's drawing: when the change may have begun, and the subgroup that called."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from cellmon import local
from cellmon.monitor.signals import Signal
from cellmon.monitor.stream import StreamView
from cellmon.records import Stream
from cellmon.shifts import to_utc
from cellmon.words import say
from dashboards import theme
from dashboards.figures import bars
from dashboards.figures.clock import Clock
from dashboards.figures.opened import opens_bore
from dashboards.figures.wear import middles
from dashboards.figures.words import Label

WEIGHT = 1e6  # a signal is named before any single point
BRACKET_PX = 5


@dataclass(frozen=True, kw_only=True)
class Call:
    """A signal and the subgroup drawn that stands nearest to where it was called."""

    signal: Signal
    row: int
    x: str
    y: float
    share: float


def said(signal: Signal, stream: Stream) -> str:
    """Return what a signal says; whose it is only where it is another stream's."""
    return signal.words.removeprefix(f"{stream.full}: ").removeprefix(f"{stream}: ")


def calls_of(view: StreamView, clock: Clock) -> list[Call]:
    """Return the signals called inside the drawing, each with its subgroup."""
    groups = view.subgroups
    if not len(groups.at):
        return []
    placed, found = middles(groups), []
    start = to_utc(clock.since)
    for signal in view.signals:
        at = to_utc(signal.raised_at)
        if signal.state == "withdrawn" or not start <= at <= to_utc(clock.until):
            continue
        row = int(np.clip(np.searchsorted(groups.at, at, side="left"), 0, len(groups.at) - 1))
        share = float((placed[row] - start) / np.timedelta64(1, "h") / clock.hours)
        x = clock.xs(placed[row : row + 1])[0]
        found.append(Call(signal=signal, row=row, x=x, y=float(groups.mean_um[row]), share=share))
    return found


def rings(view: StreamView, clock: Clock, calls: list[Call]) -> list[theme.Trace]:
    """Return a ring round the subgroup of every call; a click on it opens the part that called."""
    if not calls:
        return []
    points = bars.hover(view, clock, np.array([c.row for c in calls]))
    said = [f"{c.signal.words}<br>{say('called at {part}', part=c.signal.part)}" for c in calls]
    ring = theme.points(
        [c.x for c in calls],
        [c.y for c in calls],
        mode="markers",
        marker=theme.RING,
        text=[f"{called}<br>{point}" for called, point in zip(said, points, strict=True)],
        name="signals",
    )
    parts = [c.signal.part for c in calls]
    return [opens_bore({**ring, "hoverinfo": "text"}, parts, view.stream.bore)]


def ranges(view: StreamView, clock: Clock, *, bottom: float) -> list[Any]:
    """Return, for every signal, the time in which its change may have begun: a band under a bracket."""
    shapes: list[Any] = []
    for signal in view.signals:
        change = signal.change
        if change is None or signal.state == "withdrawn":
            continue
        if change.latest_at < clock.since or change.earliest_at > clock.until:
            continue
        x0, x1 = (_inside(moment, clock) for moment in (change.earliest_at, change.latest_at))
        shapes += [_band(x0, x1, bottom), *_bracket(x0, x1)]
        if clock.since <= change.at <= clock.until:
            at = clock.x(change.at)
            shapes.append(_upright(at, bottom, 1.0, width=1.0, dash="dot"))
    return shapes


def labels(view: StreamView, clock: Clock, calls: list[Call], *, width: float, py: Any) -> list[Label]:
    """Return the words beside every call: when its change began, and what it says."""
    found = []
    for call in calls:
        signal = call.signal
        began = signal.change.at if signal.change else signal.raised_at
        when = local.clock(began.astimezone(clock.zone)) if clock.hours <= 30 else clock.day_and_time(began)
        text = f"{when} {said(signal, view.stream)}"
        size = abs(signal.size_um or signal.ratio or 0.0)
        px = call.share * width
        found.append(Label(text=text, x=call.x, y=call.y, px=px, py=py(call.y), weight=WEIGHT + size))
    return found


def _inside(moment: datetime, clock: Clock) -> str:
    return clock.x(min(max(moment, clock.since), clock.until))


def _band(x0: str, x1: str, bottom: float) -> Any:
    shape = {"type": "rect", "xref": "x", "yref": "paper", "x0": x0, "x1": x1, "y0": bottom, "y1": 1.0}
    return {**shape, "layer": "below", "fillcolor": theme.METAL, "line": {"width": 0}}


def _bracket(x0: str, x1: str) -> list[Any]:
    """Return the line over a band, with a short foot at each end."""
    line = {"color": theme.SOFT, "width": 1.4}
    base = {"type": "line", "xref": "x", "line": line, "layer": "above", "yref": "paper"}
    over = {**base, "x0": x0, "x1": x1, "y0": 1.0, "y1": 1.0}
    feet = {"ysizemode": "pixel", "yanchor": 1.0, "y0": 0, "y1": -BRACKET_PX}
    return [over, *({**base, "x0": x, "x1": x, **feet} for x in (x0, x1))]


def _upright(x: str, y0: float, y1: float, *, width: float, dash: str) -> Any:
    line = {"color": theme.SOFT, "width": width, "dash": dash}
    return {
        "type": "line",
        "xref": "x",
        "yref": "paper",
        "x0": x,
        "x1": x,
        "y0": y0,
        "y1": y1,
        "line": line,
        "layer": "below",
    }
