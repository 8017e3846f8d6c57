"""Signals: what moved, since when, why it may be, and what was answered. For whoever answers."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon.errors import CellmonError, NotFound
from cellmon.export.tables import signals_table
from cellmon.monitor.signals import Signal
from cellmon.monitor.stream import StreamView
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import ribbon
from dashboards.pages import (
    extended,
    held,
    hold_form,
    one_signal,
    papers,
    parts,
    saving,
    second,
    signal_answer,
    signal_list,
    written,
)
from dashboards.pages.signal_list import show_list

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = signal_list.PATH
NAME = to_say("Signals")
SENTENCE, LIST, CHOSEN, SHEET = "signals-sentence", "signals-list", "signals-chosen", "signals-sheet"
TABLE, HEADING, FACTS, CAUSES, DRAWING = (
    "signals-table",
    "signals-heading",
    "signals-facts",
    "signals-causes",
    "signals-ribbon",
)
SECOND = "signals-second"
CAUTION, HOLD, HELD = "signals-caution", "signals-hold", "signals-held"
DRAWING_BOX, UNDRAWN = "signals-drawing-box", "signals-undrawn"
BEFORE, AFTER = timedelta(hours=6), timedelta(hours=4)
LONGEST = timedelta(hours=30)
"""What is drawn round a signal: so much before its range and after its call, at most so long a time."""


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come."""
    named = parts.query_values(query)
    return html.Main(
        [
            parts.lead(SENTENCE),
            html.Div(id=SECOND),
            dcc.Store(id=CHOSEN, data=named.get("signal")),
            html.Div(
                [
                    html.Div(
                        [
                            html.Nav(id=LIST, **{"aria-label": say("Signals")}),
                            saving.save_table(TABLE),
                            papers.saves(TABLE, say("Save the register, to be signed")),
                        ]
                    ),
                    html.Article(_sheet(named.get("part")), id=SHEET, style={"display": "none"}),
                ],
                className="signals",
            ),
        ]
    )


def _sheet(part: str | None) -> list[Any]:
    return [
        html.H2(id=HEADING),
        html.Div(id=FACTS),
        *signal_answer.layout(),
        html.P(id=UNDRAWN, className="aside"),
        html.Div(
            parts.figure_box(
                DRAWING,
                height=ribbon.SMALL.height,
                told_by=HEADING,
                caption=say(
                    "Ring: the subgroup that called. Darker upright band: when the change may have begun "
                    "(95 %), dotted: likeliest. Pale band: what was expected of a subgroup mean, by the wear."
                ),
            ),
            id=DRAWING_BOX,
        ),
        html.H3(say("Likely causes")),
        html.P(id=CAUTION, className="aside"),
        html.Div(id=CAUSES),
        html.P(html.A(say("To the answer"), href=f"#{signal_answer.HERE}")),
        html.H3(say("Hold list"), id=signal_list.HOLD_FORM),
        html.P(id=HOLD, className="held"),
        hold_form.layout(part),
        extended.layout(),
        html.Div(id=HELD),
        saving.save_table(HELD),
    ]


def show_signal(monitor: Monitor, wanted: str | None) -> list[Any]:
    """Return the heading, facts, causes and offered answers of one signal, whether its sheet shows, and what
    is known of it.
    """
    try:
        found = monitor.signal_named(wanted) if wanted else None
    except CellmonError:
        found = None
    if found is None or found.signal is None:
        return ["", [], [], [], {"display": "none"}, {}]
    signal = found.signal
    offered = [html.Option(value=cause.title) for cause in signal.causes]
    told = [parts.capital(signal.words), one_signal.facts(signal), one_signal.causes(signal), offered]
    return [*told, {}, {"decided": found.decided}]


def view_around(monitor: Monitor, signal: Signal) -> StreamView:
    """Return the stream of a signal around its change, or of those that called the first that is drawn.

    Raises
    ------
    NotFound
        When none of its streams is made of subgroups.
    """
    change = signal.change
    since = (change.earliest_at if change else signal.raised_at) - BEFORE
    until = signal.raised_at + AFTER
    known = parts.every_stream(monitor)
    drawn = next((s for s in (signal.stream, *signal.streams) if s in known), None)
    if drawn is None:
        raise NotFound(say("This rests on single measurements; there is no stream of subgroups to draw."))
    since = max(since, until - LONGEST)
    return monitor.stream(**parts.names_of(drawn), since=since, until=until)


def show_drawing(monitor: Monitor, wanted: str | None) -> list[Any]:
    """Return the stream around one signal's change, whether it shows, and why there is none."""
    try:
        signal = signal_list.named(monitor, wanted) if wanted else None
        if signal is None:
            return [no_update, parts.HIDDEN, ""]
        drawn = ribbon.ribbon_figure(view_around(monitor, signal), room=ribbon.SMALL)
        return [theme.asked(drawn, wanted), {}, ""]
    except CellmonError as refusal:
        return [no_update, parts.HIDDEN, str(refusal)]


def drawn_rows(monitor: Monitor, wanted: str | None) -> dict[str, list[Any]]:
    """Return the bores of that drawing as columns."""
    signal = signal_list.named(monitor, wanted) if wanted else signal_list.newest(signal_list.listed(monitor))
    return ribbon.rows(view_around(monitor, signal)) if signal else {}


def table_rows(monitor: Monitor) -> dict[str, Any]:
    """Return every signal as the exported table."""
    return saving.columns_of(signals_table(monitor.signals(), zone=parts.zone_of(monitor)))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    changed, chosen, chosen_now = Input(parts.CHANGE, "data"), Input(CHOSEN, "data"), State(CHOSEN, "data")

    @app.callback(
        Output(SENTENCE, "children"),
        Output(CAUTION, "children"),
        Output(LIST, "children"),
        Output(CHOSEN, "data"),
        changed,
        Input(parts.URL, "search"),
        chosen_now,
    )
    def _(change: int, search: str | None, before: str | None) -> list[Any]:
        *shown, now = show_list(monitor, parts.query_values(search).get("signal"), before)
        return [*shown, no_update if now == before else now]

    @app.callback(Output(SECOND, "children"), changed)
    def _(change: int) -> list[Any]:
        return second.elsewhere(monitor)

    @app.callback(
        Output(HEADING, "children"),
        Output(FACTS, "children"),
        Output(CAUSES, "children"),
        Output(signal_answer.OFFERED, "children"),
        Output(SHEET, "style"),
        written.looked_at(signal_answer.SAID),
        changed,
        chosen,
    )
    def _(change: int, signal: str | None) -> list[Any]:
        return show_signal(monitor, signal)

    @app.callback(
        Output(DRAWING, "figure"),
        Output(DRAWING_BOX, "style"),
        Output(UNDRAWN, "children"),
        changed,
        chosen,
    )
    def _(change: int, signal: str | None) -> list[Any]:
        return show_drawing(monitor, signal)

    listed = Output(HOLD, "children"), Output(HELD, "children"), Output(hold_form.WHICH, "options")

    @app.callback(*listed, written.looked_at(hold_form.SAID), changed, chosen)
    def _(change: int, signal: str | None) -> list[Any]:
        return held.show_hold(monitor, signal)

    for form in (signal_answer, extended, hold_form):
        form.register(app, monitor, CHOSEN)
    saving.register_saving(app, DRAWING, lambda s: drawn_rows(monitor, s), chosen_now)
    saving.register_table(app, TABLE, lambda: table_rows(monitor))
    papers.register(app, TABLE, lambda: papers.register_of_signals(monitor))
    saving.register_table(app, HELD, lambda s: held.rows(monitor, s), chosen_now)
