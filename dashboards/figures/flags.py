"""What was done to a spindle or a gauge, as flags in three lanes under a time axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cellmon.monitor.stream import StreamView
from cellmon.monitor.stream_events import EventMark
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.clock import Clock
from dashboards.figures.narrow import in_lines

BESIDE_PX = 12
"""From the middle of a flag to its words: a diamond of 11 reaches 8 or 9 pixels with its line."""
NEAR_PX = 40  # within which two events share their words
LANE_OF = {
    "stones-fitted": 2,
    "stones-dressed": 2,
    "stones-removed": 2,
    "gauge-zeroed": 1,
    "gauge-check": 1,
    "gauge-off": 1,
    "feed-offset": 0,
    "rerouted": 0,
    "setup-changed": 0,
}
LANE_NAMES = (to_say("offset, set-up"), to_say("gauge"), to_say("stones"))
ROUTINE = ("gauge-check", "feed-offset", "stones-dressed")
MARK_OF = {
    "stones-fitted": "triangle-right",
    "gauge-zeroed": "triangle-right",
    "stones-removed": "triangle-left",
}


def flags(view: StreamView, clock: Clock) -> list[theme.Trace]:
    """Return events as flags in their lanes: routine ones thin, the rest full."""
    drawn = []
    for routine in (True, False):
        events = [e for e in view.events if (e.kind in ROUTINE) is routine]
        if not events:
            continue
        symbols = ["line-ns" if routine else MARK_OF.get(e.kind, "diamond") for e in events]
        colour = theme.LINE if routine else theme.INK
        marker = {"symbol": symbols, "size": 11, "color": colour, "line": {"width": 1.2, "color": colour}}
        drawn.append(
            {
                **theme.points(
                    [clock.x(e.at) for e in events],
                    [LANE_OF.get(e.kind, 0) for e in events],
                    mode="markers",
                    marker=marker,
                    text=[f"{clock.day_and_time(e.at)} {e.words}" for e in events],
                    hoverinfo="text",
                    name="routine events" if routine else "events",
                ),
                "yaxis": "y2",
            }
        )
    return drawn


def axis(**more: Any) -> dict[str, Any]:
    """Return the upright axis of the lanes, each named."""
    named = {"tickvals": [0, 1, 2], "ticktext": [say(name) for name in LANE_NAMES]}
    return {**theme.axis(range=[-0.6, 2.7], **named, **more), "fixedrange": True, "ticks": ""}


def slim() -> dict[str, Any]:
    """Return what changes of that axis in a narrow box: its names stand in short lines."""
    short = [in_lines(say(name), 8) for name in LANE_NAMES]
    return {"yaxis2.ticktext": short, "yaxis2.tickfont.size": 10}


def names(
    view: StreamView, clock: Clock, *, width: int, beside: int, unnamed: Sequence[str] = ROUTINE
) -> list[Any]:
    """Return words beside what was not routine, as far as there is room; near ones share their words."""
    words: list[Any] = []
    free, began = {0: -1.0, 1: -1.0, 2: -1.0}, {0: 0.0, 1: 0.0, 2: 0.0}
    named: list[EventMark] = [e for e in view.events if e.kind not in unnamed]
    for event in named:
        lane = LANE_OF.get(event.kind, 0)
        at = (event.at - clock.since) / (clock.until - clock.since) * width
        length = len(event.words) * 6.2 + 2 * BESIDE_PX
        if at < free[lane]:
            last = next((w for w in reversed(words) if w["y"] == lane), None)
            fits = free[lane] + length <= width + beside
            if last and at - began[lane] < NEAR_PX and (fits or last["xanchor"] == "right"):
                last["text"] += f", {event.words}"
                if last["xanchor"] == "left":  # the words stand beside the last flag they name
                    last["x"] = clock.x(event.at)
                free[lane] += length
            continue
        left = at + length > width + beside / 2
        if left and at - length < free[lane]:
            continue
        began[lane] = at
        free[lane] = at + (0 if left else length)
        font = {"size": 11, "color": theme.INK}
        words.append(
            theme.word(
                event.words,
                clock.x(event.at),
                lane,
                yref="y2",
                xshift=-BESIDE_PX if left else BESIDE_PX,
                xanchor="right" if left else "left",
                font=font,
                bgcolor=theme.VEIL,
                borderpad=0,
            )
        )
    return words
