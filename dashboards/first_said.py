"""What a page begins with, in the document itself: it can be read before a script has run."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import copy_context
from html import escape
from threading import Thread
from typing import TYPE_CHECKING, Any

from dash import Dash
from flask import has_request_context, request

from cellmon.errors import CellmonError
from dashboards.away import unless_away
from dashboards.drawn_out import drawn_out
from dashboards.figures.terms import term
from dashboards.first_words import FIRST
from dashboards.pages import now, parts
from dashboards.pressed import as_named

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

NAME = "first-said"
"""The element; `assets/first.js` takes it away once the page stands."""
BEGINS = (now.PATH, *FIRST)
"""The paths of pages that begin with words."""
PATIENCE_S = 2.0
"""So long a document waits for its first words; those it lacks come after every script, seconds later."""


class Board(Dash):
    """A dashboard whose document begins with what its page will say."""

    monitor: Monitor | None = None

    def callback(self, *wired: Any, **more: Any) -> Callable[..., Any]:
        """Wire a function that answers a page; its drawings go out ready."""
        wire: Callable[..., Any] = super().callback(*wired, **more)
        return lambda answers: wire(as_named(drawn_out(unless_away(answers))))

    def interpolate_index(self, **pieces: Any) -> str:
        """Return the document, with the first words of the page that is asked for if they come in time."""
        document = str(super().interpolate_index(**pieces))
        if self.monitor is None or not has_request_context():
            return document
        monitor, path, search = self.monitor, request.path, request.query_string.decode("utf-8", "replace")
        said = in_time(lambda: first_said(monitor, path, search), within=PATIENCE_S)
        return document.replace("<footer>", f"{said}\n<footer>", 1)


def in_time(words: Callable[[], str], *, within: float) -> str:
    """Return words if they are found within some seconds, else none; the search for them goes on."""
    found: list[str] = []
    context = copy_context()  # in whose name and in which lengths it is asked
    looking = Thread(target=lambda: found.append(context.run(words)), daemon=True)
    looking.start()
    looking.join(within)
    return "".join(found)


def first_said(monitor: Monitor, path: str = now.PATH, search: str | None = None) -> str:
    """Return what the page at a path begins with as an element: its words, or why there are none."""
    try:
        if path == now.PATH:
            return _element(_spindles(monitor), ' class="spindles"')
        words = FIRST[path](monitor, search) if path in FIRST else ""
    except CellmonError as refusal:
        return _element(f'<p class="notice">{escape(parts.capital(str(refusal)))}</p>')
    return _element(f'<p class="lead">{escape(words)}</p>') if words else ""


def _element(said: str, named: str = "") -> str:
    return f'<div id="{NAME}"{named}>{said}</div>'


def _spindles(monitor: Monitor) -> str:
    return "".join(
        f'<section class="spindle"><p class="status">{_sign(one.status.value)}'
        f"{escape(f'{one.spindle} · {term(one.status.value)}')}</p>"
        f'<p class="sentence">{escape(now.sentence_words(one))}</p></section>'
        for one in monitor.now().spindles
    )


def _sign(status: str) -> str:
    return f'<span class="sign {escape(status.replace(" ", "-"))}" aria-hidden="true"></span>'
