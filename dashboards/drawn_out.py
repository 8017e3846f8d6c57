"""Drawings go out as JSON that is ready: what writes other answers looks at each of their numbers."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import orjson

DRAWING = frozenset({"data", "layout"})
"""What a drawing has, as `dashboards.theme.figure` makes it."""
AS_PLOTLY = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS
"""Arrays of numbers as lists; nan is null."""


def drawn_out(answers: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that answers the same, its drawings as JSON."""

    @wraps(answers)
    def answered(*given: Any, **named: Any) -> Any:
        return ready(answers(*given, **named))

    return answered


def ready(answer: Any) -> Any:
    """Return an answer of one or several parts, those that are drawings as JSON; others as they are.

    >>> orjson.dumps(ready(["none", {"data": [], "layout": {"height": float("nan")}}]))
    b'["none",{"data":[],"layout":{"height":null}}]'
    """
    if isinstance(answer, list | tuple):
        return [_as_json(one) for one in answer]
    return _as_json(answer)


def _as_json(part: Any) -> Any:
    is_drawing = isinstance(part, dict) and part.keys() == DRAWING
    return orjson.Fragment(orjson.dumps(part, option=AS_PLOTLY)) if is_drawing else part
