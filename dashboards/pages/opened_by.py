"""The link that opened a page: where it names what is not here, the page says so and shows another."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, dcc, html

from cellmon.errors import CellmonError
from cellmon.words import say
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def layout(page: str, query: str | None) -> html.Div:
    """Return where it is said, of the page at a path, opened by a query."""
    said = html.P(id=_said(page), className="told", role="status")
    return html.Div([said, dcc.Store(id=_by(page), data=query)])


def refusal(find: Callable[..., Any], monitor: Monitor, query: str | None) -> str:
    """Return what a link names in vain, "" where all of it is found; `find` refuses what it does not find."""
    if not parts.query_values(query):
        return ""
    try:
        find(monitor, query)
    except CellmonError as refused:
        why = parts.capital(str(refused)).rstrip(".")
        return say("{why}. The link that opened this page names it; the page shows another.", why=why)
    return ""


def register(app: Dash, monitor: Monitor, page: str, find: Callable[..., Any]) -> None:
    """Wire it."""

    @app.callback(Output(_said(page), "children"), Input(_by(page), "data"))
    def _(query: str | None) -> str:
        return refusal(find, monitor, query)


def _said(page: str) -> str:
    return f"{page[1:]}-opened-said"


def _by(page: str) -> str:
    return f"{page[1:]}-opened-by"
