"""Colours, type and the few parts that every figure shares.

Ink and paper carry everything; the two attention colours (Okabe and Ito, Color Universal Design,
2008: vermilion and blue) mark only what a person should look at, and never without a shape and a
word. A figure is a plain dict: it costs a fiftieth of a `go.Figure`; the tests validate each with one.

Figures are made in the colours of day. Where a screen is dark, the browser puts each colour's partner
of `NIGHT` in its place (`assets/dress.js`), so a figure, its server and its tests know one set only. The
style sheet holds the same pairs as variables; a test compares them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from math import isnan
from typing import Any
from urllib.parse import unquote_plus

import numpy as np

from cellmon import lengths, local
from cellmon.records import Numbers
from cellmon.words import say

Figure = dict[str, Any]
Trace = dict[str, Any]
NAME_LENGTH = 90
"""So many letters of a file's name say what was asked."""

PAPER = "#fbfaf7"
INK = "#1d2226"
SOFT = "#545b61"
LINE = "#82898f"
QUIET = "#adb2b6"
HAIR = "#dcdad4"
INSIDE = "#dfe6ea"
ALLOWED = "#f1eee6"
METAL = "#e3dfd6"
SHADE = "#f3f1eb"
ATTENTION = "#d55e00"
NOTE = "#0072b2"
BAR = "#9aabb6"
DENSE_BAR = "#c9d3d9"
VEIL = "rgba(251,250,247,0.85)"

NIGHT: dict[str, str] = {
    PAPER: "#15181a",
    INK: "#ece9e3",
    SOFT: "#b4b9bc",
    LINE: "#868d93",
    QUIET: "#666d73",
    HAIR: "#33383c",
    INSIDE: "#25323a",
    ALLOWED: "#2a2a24",
    METAL: "#3a3934",
    SHADE: "#1e2225",
    ATTENTION: "#e69f00",
    NOTE: "#56b4e9",
    BAR: "#6b7f8b",
    DENSE_BAR: "#3d4b54",
    VEIL: "rgba(21,24,26,0.85)",
}
"""What stands for each colour on dark paper: attention is told by orange and sky blue of the same set."""

FONT = 'system-ui, -apple-system, "Segoe UI", Roboto, "Liberation Sans", "DejaVu Sans", sans-serif'

CONFIG: dict[str, Any] = {
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displaylogo": False,
    "responsive": True,
    "doubleClick": "reset",
    "doubleClickDelay": 700,  # milliseconds; a slow tablet draws between two taps
    "modeBarButtons": [["zoom2d", "pan2d", "resetScale2d", "toImage"]],
    "toImageButtonOptions": {"format": "svg"},
}
"""The one configuration of every graph: nothing leaves this machine."""


RING: dict[str, Any] = {
    "symbol": "circle-open",
    "size": 15,
    "color": ATTENTION,
    "line": {"width": 2.2, "color": ATTENTION},
}
SQUARE_RING: dict[str, Any] = {**RING, "symbol": "square-open"}


def figure(data: Sequence[Trace], *, height: int | None, **layout: Any) -> Figure:
    """Return a figure of these traces on paper; without a height it fills the room the page gives it."""
    base: dict[str, Any] = {
        "height": height,
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "font": {"family": FONT, "size": 13, "color": INK},
        "margin": {"l": 64, "r": 24, "t": 28, "b": 40},
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {"bgcolor": INK, "bordercolor": INK, "font": {"color": PAPER, "size": 13}},
        "dragmode": "zoom",
        "separators": local.separators(),
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": LINE, "activecolor": INK},
    }
    if height is None:
        del base["height"]
    return {"data": list(data), "layout": {**base, **layout}}


def asked(drawn: Figure, *of: Any) -> Figure:
    """Return a figure that keeps its zoom for as long as the same thing is asked, whatever comes in anew."""
    layout = {**drawn["layout"], "uirevision": " ".join(str(one) for one in of)}
    layout["meta"] = {**layout.get("meta", {}), "named": file_words(*of)}
    return {**drawn, "layout": layout}


def file_words(*of: Any) -> str:
    """Return what was asked as words of a file's name: of a link its values, of moments nothing."""
    words = []
    for one in (part for text in of if isinstance(text, str) for part in re.split(r"[&?\s]+", text)):
        key, _, value = one.rpartition("=")
        plain = re.sub(r"[^\w.]+", "-", unquote_plus(value)).strip("-.")
        if plain and not re.match(r"\d{4}-\d\d-\d\dT", value):
            words.append(f"bore-{plain}" if key == "bore" else plain)
    return "-".join(words)[:NAME_LENGTH]


def axis(title: str | None = None, **more: Any) -> dict[str, Any]:
    """Return an axis without box or grid; numbers in soft ink."""
    base: dict[str, Any] = {
        "showgrid": False,
        "zeroline": False,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": LINE,
        "tickfont": {"size": 12, "color": SOFT},
        "showline": False,
    }
    if title:
        base["title"] = {"text": title, "font": {"size": 12, "color": SOFT}, "standoff": 6}
    return {**base, **more}


def hidden_axis(**more: Any) -> dict[str, Any]:
    """Return an axis that places things and shows nothing."""
    return {"visible": False, "showgrid": False, "zeroline": False, **more}


def word(text: str, x: Any, y: Any, **more: Any) -> dict[str, Any]:
    """Return words standing in a figure."""
    base: dict[str, Any] = {
        "text": text,
        "x": x,
        "y": y,
        "showarrow": False,
        "xanchor": "left",
        "font": {"size": 12, "color": INK},
    }
    return {**base, **more}


def points(x: Any, y: Any, **more: Any) -> Trace:
    """Return a trace of points or lines; none needs WebGL, which machines at a line often lack."""
    return {"type": "scatter", "x": x, "y": y, "hoverinfo": "skip", **more}


def band(x: Sequence[Any], low: Any, high: Any, *, colour: str) -> Trace:
    """Return a pale filled band between two levels over x; None or nan breaks it."""
    there = [*x, *reversed(list(x))]
    back = [*high, *reversed(list(low))]
    return {
        "type": "scatter",
        "x": there,
        "y": back,
        "mode": "lines",
        "line": {"width": 0},
        "fill": "toself",
        "fillcolor": colour,
        "hoverinfo": "skip",
    }


def hatched(x0: Any, x1: Any, y0: float, y1: float, *, through: bool = False) -> Trace:
    """Return a hatched rectangle: the guard band, where a bore is neither proven in nor out.

    What lies under it may show `through`.
    """
    ground = "rgba(0,0,0,0)" if through else ALLOWED
    return {
        "type": "scatter",
        "x": [x0, x1, x1, x0, x0],
        "y": [y0, y0, y1, y1, y0],
        "mode": "lines",
        "line": {"width": 0},
        "fill": "toself",
        "fillcolor": "rgba(0,0,0,0)",
        "fillpattern": {"shape": "/", "size": 6, "solidity": 0.22, "fgcolor": LINE, "bgcolor": ground},
        "hoverinfo": "skip",
    }


def level(x0: Any, x1: Any, y: float, *, colour: str = INK, width: float = 1.2, dash: str = "solid") -> Any:
    """Return a line at one level, drawn above the bands."""
    line = {"color": colour, "width": width, "dash": dash}
    return {"type": "line", "x0": x0, "x1": x1, "y0": y, "y1": y, "line": line, "layer": "between"}


def notice(text: str, *, height: int | None = None) -> Figure:
    """Return an empty figure that says one sentence."""
    words = word(
        text, 0.5, 0.5, xref="paper", yref="paper", xanchor="center", font={"size": 16, "color": SOFT}
    )
    return figure([], height=height, xaxis=hidden_axis(), yaxis=hidden_axis(), annotations=[words])


def um(value: float | None, digits: int = 1, *, unit: str = lengths.UM) -> str:
    """Return a deviation in words, with its sign and a true minus, without its unit; 'unknown' for None.

    In µm it is said as fine lengths are; in another `unit` as it is.
    """
    if value is None or isnan(value):
        return say("unknown")
    return lengths.of(value, unit, digits, sign=True)


def ums(values: Numbers, digits: int = 1, *, unit: str = lengths.UM) -> list[str]:
    """Return many deviations as `um` says one; what several have in common is worded once."""
    return each_said(lambda value: um(value, digits, unit=unit), values)


def each_said(said: Callable[[float], str], values: Numbers) -> list[str]:
    """Return the words of many numbers; what several have in common is worded once."""
    found, place = np.unique(np.asarray(values, dtype=np.float64), return_inverse=True)
    words = [said(value) for value in found.tolist()]
    return [words[i] for i in place.tolist()]


def um_said(value: float | None, digits: int = 1) -> str:
    """Return a deviation as `um` does, with its unit."""
    if value is None or isnan(value):
        return say("unknown")
    return lengths.said(value, digits, sign=True)
