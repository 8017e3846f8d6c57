"""Drawings in inches: figures are made in µm, and scaled as a whole where a person wants inches."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from cellmon import lengths
from dashboards import theme

AS_LENGTHS = ("range", "tickvals", "dtick")
HEIGHTS = re.compile(r"(?<=[,V])[^A-Z]+")
"""The heights in a path of `dashboards.figures.strokes`: after a comma, and where an upright stroke ends."""


def scaled(figure: theme.Figure, *axes: str) -> theme.Figure:
    """Return a figure whose axes of these names ("y", "x2") hold µm, in 0.0001 in where inches are wanted.

    Data, error bars, shapes and words on these axes go along, so a zoom and what is hovered over stay right.
    """
    if not lengths.is_inch():
        return figure
    layout = {**figure["layout"]}
    for axis in axes:
        name = f"{axis[0]}axis{axis[1:]}"
        layout[name] = _axis(layout.get(name, {}))
    for kind in ("shapes", "annotations"):
        layout[kind] = [_placed(one, axes) for one in layout.get(kind, ())]
    return {**figure, "data": [_trace(one, axes) for one in figure["data"]], "layout": layout}


def _axis(axis: dict[str, Any]) -> dict[str, Any]:
    return {**axis, **{key: _values(axis[key]) for key in AS_LENGTHS if key in axis}}


def _placed(one: dict[str, Any], axes: tuple[str, ...]) -> dict[str, Any]:
    """Return a shape or words with the coordinates that lie on these axes scaled."""
    if "path" in one and one.get("yref", "y") in axes:
        return {
            **one,
            "path": HEIGHTS.sub(lambda height: f"{lengths.fine(float(height[0])):.6g}", one["path"]),
        }
    return {
        key: _values(value)
        if key in ("x", "y", "x0", "x1", "y0", "y1") and one.get(f"{key[0]}ref", key[0]) in axes
        else value
        for key, value in one.items()
    }


def _trace(trace: theme.Trace, axes: tuple[str, ...]) -> theme.Trace:
    found = dict(trace)
    for letter in ("x", "y"):
        if found.get(f"{letter}axis", letter) not in axes or letter not in found:
            continue
        found[letter] = _values(found[letter])
        if error := found.get(f"error_{letter}"):
            found[f"error_{letter}"] = {**error, "array": _values(error["array"])}
    return found


def _values(value: Any) -> Any:
    """Return lengths scaled; None and nan stay gaps."""
    if value is None:
        return None
    if isinstance(value, np.ndarray):
        return lengths.fine(value)
    if isinstance(value, (list, tuple)):
        return [_values(one) for one in value]
    return lengths.fine(value)
