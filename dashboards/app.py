"""The dashboard: its pages, the frame around them, and how it notices that something changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon.errors import CellmonError
from dashboards.kept import kept
from dashboards.pages import claims, gauge, now, part, parts, shifts, signals, stream

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PAGES = (now, signals, shifts, stream, part, claims, gauge)
TICK_MS = 2000
NAV, AS_OF, PAGE, TICK = "nav", "as-of", "page", "tick"


def create_app(monitor: Monitor) -> Dash:
    """Return the dashboard of one cell, wired and warmed; it listens to nobody yet."""
    app = Dash(
        "dashboards",
        assets_folder=str(Path(__file__).parent / "assets"),
        serve_locally=True,
        compress=True,
        suppress_callback_exceptions=True,
        title=f"{monitor.sheet.cell.name} · honing",
        update_title=None,
    )
    monitor = kept(monitor)
    app.layout = frame(monitor)
    for page in PAGES:
        page.register(app, monitor)
    _register(app, monitor)
    app.server.test_client().get("/_dash-dependencies")
    return app


def frame(monitor: Monitor) -> html.Div:
    """Return what stands around every page."""
    return html.Div(
        [
            dcc.Location(id=parts.URL, refresh=False),
            dcc.Interval(id=TICK, interval=TICK_MS),
            dcc.Store(id=parts.CHANGE, data=last_change(monitor)),
            html.Header(
                [
                    html.Span(monitor.sheet.cell.name, className="cell"),
                    html.Nav(id=NAV),
                    html.Span(id=AS_OF, className="as-of"),
                ],
                className="head",
            ),
            html.P([html.B("Advice only. "), parts.CAUTION], className="caution"),
            html.Div(id=PAGE),
        ]
    )


def last_change(monitor: Monitor) -> int:
    """Return the number that moves with every commit; 0 where the cell refuses to say."""
    try:
        return monitor.last_change()
    except CellmonError:
        return 0


def noticed(monitor: Monitor, before: int | None) -> Any:
    """Return the new number only where something was committed."""
    current = last_change(monitor)
    return no_update if current == before else current


def page_at(path: str | None, query: str | None) -> list[Any]:
    """Return the links, the page at a path, or a sentence that there is none."""
    links = [dcc.Link(p.NAME, href=p.PATH, className="here" if path == p.PATH else "") for p in PAGES]
    for page in PAGES:
        if path == page.PATH:
            return [links, page.layout((query or "").lstrip("?") or None)]
    return [links, html.Main(parts.notice("There is no page here. The pages are named above."))]


def as_of_words(monitor: Monitor) -> str:
    """Return the moment up to which everything shown holds."""
    try:
        as_of = monitor.signals().as_of
    except CellmonError:
        return ""
    return f"as of {as_of:%A} {as_of.day} {as_of:%B %Y, %H:%M}"


def _register(app: Dash, monitor: Monitor) -> None:
    @app.callback(
        Output(parts.CHANGE, "data"),
        Input(TICK, "n_intervals"),
        State(parts.CHANGE, "data"),
        prevent_initial_call=True,
    )
    def _(ticks: int | None, before: int | None) -> Any:
        return noticed(monitor, before)

    @app.callback(
        Output(NAV, "children"),
        Output(PAGE, "children"),
        Input(parts.URL, "pathname"),
        State(parts.URL, "search"),
    )
    def _(path: str | None, query: str | None) -> list[Any]:
        return page_at(path, query)

    @app.callback(Output(AS_OF, "children"), Input(parts.CHANGE, "data"))
    def _(change: int) -> str:
        return as_of_words(monitor)
