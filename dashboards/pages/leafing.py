"""A long list in pieces: newer, older, and the one that is chosen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from cellmon.words import say

SHOWN = 20
"""So many stand on the page at a time: a browser looks at all parts of a page when one of them changes."""


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


def picks(name: str, store: str) -> html.Div:
    """Return room for a list; `assets/press.js` puts the entry that is pressed into the store."""
    return html.Div(id=name, **{"data-picks": store}, **roves())


def roves() -> dict[str, str]:
    """Return what makes a list one stop of Tab, in which arrows go from entry to entry (`assets/keys.js`)."""
    return {"data-roves": "", "data-keys": say("Keys: ↑ ↓ go along the list, Enter opens")}


def entry(inside: Sequence[Any], named: str, *, here: bool) -> html.Li:
    """Return an entry of such a list, by the name that is put into the store."""
    told = {"aria-pressed": "true" if here else "false", "data-pick": named}
    return html.Li(html.Button(inside, **told), className="here" if here else "")
