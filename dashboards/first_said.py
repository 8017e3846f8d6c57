"""Now's sentences in the document itself: they can be read before a script has run."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from dash import Dash
from flask import has_request_context, request

from cellmon.errors import CellmonError
from dashboards.figures.terms import term
from dashboards.pages import now

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

NAME = "first-said"
"""The element; `assets/first.js` takes it away once the page stands."""


class Board(Dash):
    """A dashboard whose document begins with what its first page will say."""

    monitor: Monitor | None = None

    def interpolate_index(self, **pieces: Any) -> str:
        """Return the document, with Now's sentences where Now is asked for."""
        document = str(super().interpolate_index(**pieces))
        if self.monitor is None or not has_request_context() or request.path != now.PATH:
            return document
        return document.replace("<footer>", f"{first_said(self.monitor)}\n<footer>", 1)


def first_said(monitor: Monitor) -> str:
    """Return each spindle's status and sentence as an element; nothing where the cell refuses."""
    try:
        spindles = monitor.now().spindles
    except CellmonError:
        return ""
    said = "".join(
        f'<section class="spindle"><p class="status">{_sign(one.status.value)}'
        f"{escape(f'{one.spindle} · {term(one.status.value)}')}</p>"
        f'<p class="sentence">{escape(now.sentence_words(one))}</p></section>'
        for one in spindles
    )
    return f'<div id="{NAME}" class="spindles">{said}</div>'


def _sign(status: str) -> str:
    return f'<span class="sign {escape(status.replace(" ", "-"))}" aria-hidden="true"></span>'
