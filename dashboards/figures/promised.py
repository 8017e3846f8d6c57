"""Limits by probability, drawn over a classic pair of charts whose feature is skewed or bounded at nought."""

from __future__ import annotations

from typing import Any

from cellmon import lengths
from cellmon.monitor.departures import Departure
from cellmon.words import say, to_say
from dashboards import theme

WORDS = to_say("by probability")


def with_probability(figure: theme.Figure, skew: Departure | None) -> theme.Figure:
    """Return a pair of charts with dotted lines at the limits that keep the promise, if it has any."""
    if skew is None or skew.upper_um is None:
        return figure
    layout = figure["layout"]
    places = [("y", skew.lower_um), ("y", skew.upper_um), ("y2", skew.range_upper_um)]
    places = [(axis, None if level is None else lengths.fine(level)) for axis, level in places]
    lines = [_line(level, axis) for axis, level in places if level is not None]
    named = [_word(level, axis) for axis, level in (places[1], places[2]) if level is not None]
    return {
        **figure,
        "layout": {
            **layout,
            "shapes": [*layout.get("shapes", ()), *lines],
            "annotations": [*layout.get("annotations", ()), *named],
        },
    }


def _line(level: float, axis: str) -> Any:
    return {**theme.level(0, 1, level, colour=theme.SOFT, dash="dot"), "xref": "paper", "yref": axis}


def _word(level: float, axis: str) -> Any:
    font = {"size": 11, "color": theme.SOFT}
    return theme.word(
        say(WORDS), 1, level, xref="paper", yref=axis, xanchor="right", yanchor="bottom", font=font
    )
