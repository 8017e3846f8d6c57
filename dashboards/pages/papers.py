"""Papers that a page saves: made when their button is pressed; why there is none is said beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from dash import Dash, State, dcc, html

from cellmon import lengths
from cellmon.export.handover_paper import handover_head, handover_leaves
from cellmon.export.paper import pdf
from cellmon.export.signals_paper import signals_head, signals_leaves
from cellmon.lengths import Shown
from dashboards.pages import parts, saving
from dashboards.pages.saving import Made

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def saves(name: str, words: str) -> html.Div:
    """Return the button that saves a paper, after the words that say which."""
    return html.Div(
        [
            html.Span([words, html.Button("PDF", id=f"{name}-pdf")], className="take"),
            parts.why_not(_paper(name)),
            dcc.Download(id=f"{_paper(name)}-file"),
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


def register(app: Dash, name: str, make: Callable[..., Made], *states: State) -> None:
    """Wire that button; `make` answers the states."""
    saving.register_file(app, f"{name}-pdf", _paper(name), make, *states)


def _paper(name: str) -> str:
    return f"{name}-paper"
