"""A store that does not answer while a page asks: what the page shows stays, and its bar says why.

Pages say in words what the cell refuses. A store that is away refuses nothing that a page could say: what
was heard of it on the way goes out in place of what a page made of that, as an answer that did not come. Only
what a press was answered with stands, since it may have been done before.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from functools import wraps
from typing import Any

from dash import ctx

from cellmon.errors import StoreRefused

PRESSES = ("n_clicks", "n_submit", "contents")
DONE = "bore-done"
"""The store whose change is a press at the bore."""

_heard: ContextVar[list[StoreRefused]] = ContextVar("heard")


def heard(ask: Callable[..., Any]) -> Callable[..., Any]:
    """Return a question to the cell that asks the same; that the store was away is remembered."""

    @wraps(ask)
    def asked(*given: Any, **named: Any) -> Any:
        try:
            return ask(*given, **named)
        except StoreRefused as refusal:
            _heard.get([]).append(refusal)
            raise

    return asked


def unless_away(answers: Callable[..., Any]) -> Callable[..., Any]:
    """Return a page's function that answers the same.

    Raises
    ------
    StoreRefused
        In place of an answer, unless it is one to a press, where the store was away meanwhile.
    """

    @wraps(answers)
    def answered(*given: Any, **named: Any) -> Any:
        before = _heard.set([])
        try:
            answer = answers(*given, **named)
            away = _heard.get()
        finally:
            _heard.reset(before)
        if away and not _pressed():
            raise away[0]
        return answer

    return answered


def _pressed() -> bool:
    changed = [name.rpartition(".") for name in ctx.triggered_prop_ids]
    return any(prop in PRESSES or name == DONE for name, _, prop in changed)
