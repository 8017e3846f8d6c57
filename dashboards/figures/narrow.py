"""How a drawing changes where its box is narrow; the browser does it (`assets/narrow.js`)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from dashboards import theme

STEP = re.compile(r"[^.\[\]]+")
MARKS = 4


def narrowed(figure: theme.Figure, changes: Mapping[str, Any]) -> theme.Figure:
    """Return a figure that also says what changes in a narrow box, and how to change it back.

    `changes` are parts of the layout as plotly names them for a change, such as `annotations[2].visible`. A
    range is not changed back: where it was bound to another scale plotly finds it anew.
    """
    layout = figure["layout"]
    back = {path: _stands(layout, path) for path in changes if not path.endswith(".range")}
    told = {"is": dict(changes), "was": back}
    return {**figure, "layout": {**layout, "meta": {**layout.get("meta", {}), "narrow": told}}}


def _stands(layout: Mapping[str, Any], path: str) -> Any:
    """Return what stands at a path of a layout; None where nothing does."""
    found: Any = layout
    for step in STEP.findall(path):
        if isinstance(found, Mapping):
            found = found.get(step)
        elif isinstance(found, list):
            found = found[int(step)]
    return found


def in_lines(text: str, letters: int) -> str:
    """Return words in lines of so many letters, none of them broken."""
    return "<br>".join(wrap(text, letters, break_long_words=False))


def few_marks(axis: Mapping[str, Any], name: str = "xaxis") -> dict[str, Any]:
    """Return what changes so that an axis has few marks, their names level."""
    changes: dict[str, Any] = {f"{name}.tickangle": 0}
    if "tickvals" not in axis:
        return {**changes, f"{name}.nticks": MARKS + 1}
    step = -(-len(axis["tickvals"]) // MARKS)
    return changes | {f"{name}.{each}": list(axis[each])[::step] for each in ("tickvals", "ticktext")}
