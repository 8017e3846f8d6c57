"""Drawings, words and tables go out as JSON that is ready: drawings as Dash itself would write them.

Dash tries to write an answer as it is, and where words or tables are in it looks at each thing in them and
writes all of it once more. What is only shown goes out as one element (`dashboards.plain`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import orjson
from dash.development.base_component import Component

from dashboards.plain import told

DRAWING = frozenset({"data", "layout"})
"""What a drawing has, as `dashboards.theme.figure` makes it."""
AS_PLOTLY = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS
"""Arrays of numbers as lists; nan is null."""


def drawn_out(answers: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that answers the same, its drawings, words and tables as JSON."""

    @wraps(answers)
    def answered(*given: Any, **named: Any) -> Any:
        return ready(answers(*given, **named))

    return answered


def ready(answer: Any) -> Any:
    """Return an answer of one or several parts, those that are shown as JSON; others as they are.

    >>> orjson.dumps(ready(["none", {"data": [], "layout": {"height": float("nan")}}]))
    b'["none",{"data":[],"layout":{"height":null}}]'
    """
    if isinstance(answer, list | tuple):
        return [_as_json(one) for one in answer]
    return _as_json(answer)


def _as_json(part: Any) -> Any:
    if _is_drawing(part):
        return _written(part)
    return _written(told(part)) if _is_shown(part) else part


def _written(part: Any) -> orjson.Fragment:
    return orjson.Fragment(orjson.dumps(part, default=_as_told, option=AS_PLOTLY))


def _is_drawing(part: Any) -> bool:
    return isinstance(part, dict) and part.keys() == DRAWING


def _is_shown(part: Any) -> bool:
    """Return whether a part is an element of a page, or several with the words between."""
    if isinstance(part, list | tuple):
        return any(isinstance(one, Component) for one in part)
    return isinstance(part, Component)


def _as_told(element: Any) -> Any:
    """Return an element that is the property of another as Dash tells it to a browser."""
    if isinstance(element, Component):
        return element.to_plotly_json()
    raise TypeError
