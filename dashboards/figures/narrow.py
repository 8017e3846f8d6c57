"""How a drawing changes where its box is narrow; the browser does it (`assets/narrow.js`)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from copy import deepcopy
from textwrap import wrap
from typing import Any

from dashboards import theme

STEP = re.compile(r"[^.\[\]]+")
MARKS, SMALL = 4, 10
NARROW_PX = 700
"""Width of a box, in pixels, below which a drawing is narrow unless it says another."""


def narrowed(figure: theme.Figure, changes: Mapping[str, Any], *, below: int = NARROW_PX) -> theme.Figure:
    """Return a figure that also says what changes in a box narrower than `below`, and how to change it back.

    `changes` are parts of the layout as plotly names them for a change, such as `annotations[2].visible`. A
    range is not changed back: where it was bound to another scale plotly finds it anew.
    """
    layout = figure["layout"]
    back = {path: _stands(layout, path) for path in changes if not path.endswith(".range")}
    told = {"is": dict(changes), "was": back, "below": below}
    return {**figure, "layout": {**layout, "meta": {**layout.get("meta", {}), "narrow": told}}}


def changed(figure: theme.Figure, changes: Mapping[str, Any]) -> theme.Figure:
    """Return a figure whose layout is changed; paths are as in `narrowed`."""
    layout = deepcopy(figure["layout"])
    for path, value in changes.items():
        *way, last = STEP.findall(path)
        at: Any = layout
        for step in way:
            at = at[int(step)] if isinstance(at, list) else at.setdefault(step, {})
        at[last] = value
    return {**figure, "layout": layout}


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


def words_at(i: int) -> str:
    """Return the path of the words of a drawing that come as number `i`."""
    return f"annotations[{i}]"


def small(words: int, size: int = SMALL) -> dict[str, Any]:
    """Return what changes so that all the words of a drawing, so many, are small."""
    changes: dict[str, Any] = {}
    for i in range(words):
        changes[f"{words_at(i)}.font.size"] = size
    return changes


def unnamed(figure: theme.Figure, *but: str) -> dict[str, Any]:
    """Return what changes so that only those words of a drawing stand that bear one of these names."""
    words = figure["layout"].get("annotations", ())
    return {f"{words_at(i)}.visible": False for i, one in enumerate(words) if one.get("name") not in but}


def timed(figure: theme.Figure, *but: str, left: int = 46, right: int = 6) -> dict[str, Any]:
    """Return what changes of a drawing over time: its margins, few marks, and no words but those named."""
    few = few_marks(figure["layout"]["xaxis"])
    return {"margin.l": left, "margin.r": right, **few, **unnamed(figure, *but)}


def few_marks(axis: Mapping[str, Any], name: str = "xaxis", *, marks: int = MARKS) -> dict[str, Any]:
    """Return what changes so that an axis has few marks, their names level; days alone if they do."""
    changes: dict[str, Any] = {f"{name}.tickangle": 0}
    if "tickvals" not in axis:
        return {**changes, f"{name}.nticks": marks + 1}
    every = list(zip(axis["tickvals"], axis["ticktext"], strict=True))
    days = [(at, text) for at, text in every if any(letter.isalpha() for letter in text)]
    left = days if marks <= len(days) + 1 < len(every) else every
    step = -(-len(left) // marks)
    shown = max((left[first::step] for first in range(step)), key=lambda few: sum(one in days for one in few))
    texts = [text for _, text in shown]
    return changes | {f"{name}.tickvals": [at for at, _ in shown], f"{name}.ticktext": texts}
