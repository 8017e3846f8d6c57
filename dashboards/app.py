"""The dashboard: its pages, the frame around them, and how it notices that something changed."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dash import ClientsideFunction, Dash, Input, Output, State, html
from flask import request

from cellmon.words import say
from dashboards import counted, frame, lengths_shown, readings, watched_over
from dashboards.asking import asked
from dashboards.first_said import Board
from dashboards.gate import Gate, stand_before
from dashboards.kept import kept
from dashboards.made import made_of
from dashboards.pages import asked as who_asks
from dashboards.pages import bore, claims, files, gauge, now, part, parts, shifts, signals, stones, stream
from dashboards.reached import Reached

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PAGES = (now, bore, signals, shifts, stream, part, claims, stones, gauge, files)
DRESS = "dress.js"
"""The script that dresses a page before it is drawn, so it stands in the head, not among the others."""
ICON = "icon.svg"

PACKED = {"COMPRESS_LEVEL": 2, "COMPRESS_BR_LEVEL": 2, "COMPRESS_ZSTD_LEVEL": 2}
"""How hard answers are packed: 6, which is usual, takes 2.5 times as long for a seventh less to send.

By zstd 3 is usual and takes a quarter longer for nothing."""
HERE = Reached()
"""On this machine alone, where nobody is asked who they are."""


def create_app(monitor: Monitor, *, how: Reached = HERE) -> Dash:
    """Return the dashboard of one cell, wired and warmed; it listens to nobody yet."""
    app = Board(
        "dashboards",
        assets_folder=str(Path(__file__).parent / "assets"),
        serve_locally=True,
        compress=True,
        assets_ignore=DRESS.replace(".", r"\."),
        suppress_callback_exceptions=True,
        title=say("{cell} · honing", cell=monitor.sheet.cell.name),
        update_title=None,
    )
    app.server.config.update(PACKED)
    monitor = kept(monitor)
    gate, requests = Gate(monitor, how), counted.Requests()
    counted.register(app.server, requests)
    readings.register(app.server, readings.Desk(monitor, gate.attempts))
    watched_over.register(app.server, monitor, requests, in_full=lambda: gate.tells(request))
    monitor = asked(monitor) if how.sign_in else monitor
    app.index_string = frame.document(dress=_dated(app, DRESS), icon=_dated(app, ICON))
    app.monitor = monitor
    lengths_shown.register(app.server, monitor, documents={page.PATH for page in PAGES})
    for page in PAGES:
        page.register(app, monitor)
    _register(app, monitor)
    made = made_of(app)
    app.layout = partial(frame.frame, monitor, made)
    frame.register_pulse(app.server, monitor, made)
    stand_before(app, gate)
    app.server.test_client().get("/_dash-dependencies")
    requests.begun = True
    return app


def page_at(path: str | None, query: str | None) -> list[Any]:
    """Return the links, the page at a path and its name, or a sentence that there is none."""
    links = [*frame.links(PAGES, path), *who_asks.signed_in()]
    for page in PAGES:
        if path == page.PATH:
            return [links, page.layout((query or "").lstrip("?") or None), say(page.NAME)]
    nowhere = parts.notice(say("There is no page here. The pages are named above."))
    return [links, html.Main(nowhere), say("No page")]


def _dated(app: Dash, name: str) -> str:
    """Return the address of an asset with when it was written, as Dash gives those it lists itself."""
    written = (Path(app.config.assets_folder) / name).stat().st_mtime
    return f"{app.get_asset_url(name)}?m={written}"


def _register(app: Dash, monitor: Monitor) -> None:
    @app.callback(
        Output(frame.NAV, "children"),
        Output(frame.PAGE, "children"),
        Output(frame.HEADING, "children"),
        Input(parts.URL, "pathname"),
        Input(frame.AGAIN, "data"),
        State(parts.URL, "search"),
    )
    def _(path: str | None, again: float | None, query: str | None) -> list[Any]:
        return page_at(path, query)

    @app.callback(
        Output(parts.AS_OF, "children"),
        Output(parts.AS_OF, "dateTime"),
        Output(frame.TITLE, "data"),
        Input(parts.CHANGE, "data"),
        Input(frame.HEADING, "children"),
    )
    def _(change: int, name: str | None) -> list[str]:
        return [*frame.as_of(monitor), frame.title(monitor, name or "")]

    app.clientside_callback(
        ClientsideFunction("cellmon", "name"),
        Output(frame.TITLED, "data"),
        Input(frame.TITLE, "data"),
        Input(frame.NAV, "children"),
    )
