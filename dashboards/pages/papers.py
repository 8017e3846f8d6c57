"""Papers that a page saves: made when their button is pressed; why there is none is said beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.export.handover_paper import handover_head, handover_leaves
from cellmon.export.paper import pdf
from cellmon.export.signals_paper import signals_head, signals_leaves
from cellmon.lengths import Shown
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

Made = tuple[bytes, str]
"""The bytes of a paper, and the name of its file."""


def saves(name: str, words: str) -> html.Div:
    """Return the button that saves a paper, after the words that say which."""
    return html.Div(
        [
            html.Span([words, html.Button("PDF", id=f"{name}-pdf")], className="take"),
            html.Span(id=f"{name}-why-not", role="status", className="aside"),
            dcc.Download(id=f"{name}-paper"),
        ]
    )


@lengths.shown_in(Shown.MM)
def handover(monitor: Monitor, shift: str | None) -> Made:
    """Return the handover of a shift, to be signed by both; refusals as the monitor's."""
    answer = monitor.handover(shift=shift)
    told = "" if answer.shift is None else f"-{answer.shift}".replace("/", "-")
    name = f"shift{told}-{answer.as_of:%Y-%m-%d-%H%M}.pdf"
    return pdf(handover_leaves(answer), head=handover_head(answer)), name


@lengths.shown_in(Shown.MM)
def register_of_signals(monitor: Monitor) -> Made:
    """Return the register of signals: each with its cause, its answer and its age."""
    answer = monitor.signals()
    head = signals_head(answer, cell=monitor.sheet.cell.name)
    return pdf(signals_leaves(answer), head=head), f"signals-{answer.as_of:%Y-%m-%d-%H%M}.pdf"


def saved(make: Callable[..., Made], *values: Any) -> list[Any]:
    """Return a paper as a download, and nothing beside its button; or why there is none."""
    try:
        content, name = make(*values)
    except CellmonError as refusal:
        return [no_update, parts.capital(str(refusal))]
    return [dcc.send_bytes(content, name), ""]


def register(app: Dash, name: str, make: Callable[..., Made], *states: State) -> None:
    """Wire that button; `make` answers the states."""

    @app.callback(
        Output(f"{name}-paper", "data"),
        Output(f"{name}-why-not", "children"),
        Input(f"{name}-pdf", "n_clicks"),
        *states,
        prevent_initial_call=True,
    )
    def _(clicks: int | None, *values: Any) -> list[Any]:
        return saved(make, *values) if clicks else [no_update, no_update]
