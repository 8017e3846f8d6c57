"""A long list in pieces: newer, older, and the one that is chosen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html, no_update

from cellmon.words import say

SHOWN = 50
"""So many stand on the page at a time."""


def steps(newer: str, older: str) -> html.Div:
    """Return the buttons that leaf; the arguments are their ids."""
    return html.Div(
        [
            html.Button(say("‹ newer"), id=newer, className="step"),
            html.Button(say("older ›"), id=older, className="step"),
        ]
    )


def step(skip: int | None, *, older: bool) -> int:
    """Return from which entry on the list goes."""
    return max(0, (skip or 0) + (SHOWN if older else -SHOWN))


def picked(clicks: Sequence[int | None], which: Any, *, of: str) -> Any:
    """Return the entry whose button was pressed, by the key `of` of its id.

    A list that was only drawn presses nothing.
    """
    return which[of] if any(clicks) and isinstance(which, dict) else no_update
