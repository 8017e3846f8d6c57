"""Shifts: which streams moved, and is it real? For the quality lead."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon.errors import CellmonError
from cellmon.monitor.seismograph import Seismograph
from cellmon.monitor.shifts import Shifts, StreamShift
from cellmon.records import stream_names
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import mean_range, promised, seismograph
from dashboards.pages import (
    by_hand,
    opened_by,
    parts,
    promise,
    saving,
    shift_choice,
    shift_tables,
    shift_told,
    shifts_link,
)
from dashboards.pages.shift_choice import SHIFT

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/shifts"
NAME = to_say("Shifts")
SENTENCE, SPAN, STREAM = "shifts-sentence", "shifts-span", "shifts-stream"
BY_HAND, MACHINES = "shifts-by-hand", "shifts-machines"
LINES, PAIR, TABLE, HEADING = "shifts-seismograph", "shifts-mean-range", "shifts-table", "shifts-heading"
PAIR_PX = 560
SPANS = {"one": 1, "two": 2, "week": 7, "month": 31}
SPAN_WORDS = {
    "one": to_say("a day"),
    "two": to_say("two days"),
    "week": to_say("a week"),
    "month": to_say("a month"),
}


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come."""
    spans = dcc.RadioItems(
        id=SPAN,
        value=shifts_link.span_of(query, list(SPANS)),
        inline=True,
        className="choice",
        options=[{"label": say(words), "value": name} for name, words in SPAN_WORDS.items()],
    )
    return html.Main(
        [
            parts.lead(SENTENCE),
            opened_by.layout(PATH, query),
            html.Div(
                [
                    parts.field(say("Shift"), parts.dropdown(SHIFT, clearable=False), wide=True),
                    parts.field(say("Stream"), parts.dropdown(STREAM, clearable=False), wide=True),
                    parts.field(say("The lines show"), spans),
                ],
                className="controls",
            ),
            _drawings(),
            html.Div(id=shift_told.CALLED),
            html.Div(id=BY_HAND),
            *shift_told.layout(),
        ]
    )


def _drawings() -> html.Div:
    """Return the lines of all streams, and of one of them the pair of charts beside the table."""
    lines = say(
        "Each line: subgroup means of one stream from its centre, in its own sigma. "
        "Ring: several signals, or one far out. Click a line to see that stream below."
    )
    pair = say("Pale band: inside the limits. Ring: a mean beyond. Square: a range beyond.")
    one = [html.H2(id=HEADING), parts.figure_box(PAIR, height=PAIR_PX, told_by=HEADING, caption=pair)]
    return html.Div(
        [
            parts.figure_box(LINES, height=640, told_by=SENTENCE, caption=lines),
            html.Div([html.Div(one), html.Div(id=TABLE)], className="beside"),
        ],
        id=MACHINES,
    )


def show_lines(monitor: Monitor, shift: str | None, span: str, query: str | None) -> theme.Figure:
    """Return the seismograph over the span that holds the shift."""
    try:
        drawn, answer = seismograph_of(monitor, shift, span)
        chosen = parts.stream_named(monitor.streams(), query) if query else None
    except CellmonError as refusal:
        return theme.notice(str(refusal), height=320)
    figure = seismograph.seismograph_figure(drawn, chosen=chosen, shift=answer.shift)
    return theme.asked(figure, shift, span)


def seismograph_of(monitor: Monitor, shift: str | None, span: str) -> tuple[Seismograph, Shifts]:
    """Return the lines of a span, placed so that the chosen shift lies inside it."""
    answer = by_hand.shift_answer(monitor, shift)
    newest = answer.known[-1].ends if answer.known else answer.as_of
    until = min(newest, answer.as_of)
    days = timedelta(days=SPANS.get(span, 7))
    if answer.shift and answer.shift.starts < until - days:
        until = answer.shift.ends + days / 4
    return monitor.seismograph(since=until - days, until=until), answer


def show_shift(monitor: Monitor, shift: str | None, query: str | None) -> list[Any]:
    """Return the sentence, the heading, the pair of charts and the table of one shift."""
    try:
        answer = by_hand.shift_answer(monitor, shift)
        chosen = chosen_of(answer, query)
    except CellmonError as refusal:
        return [str(refusal), "", theme.notice(str(refusal), height=PAIR_PX), []]
    if chosen is None:
        empty = theme.notice(say("No stream has a bore in this shift."), height=PAIR_PX)
        return [answer.sentence, "", empty, []]
    every = [one.stream for one in answer.shifts]
    name = stream_names(every)[every.index(chosen.stream)]
    heading = [
        f"{name}, {shift_tables.shift_words(chosen.shift)} · ",
        dcc.Link(say("this stream in depth"), href=shift_tables.stream_link(chosen)),
    ]
    figure = mean_range.mean_range_figure(mean_range.pair_of_shift(chosen), height=PAIR_PX)
    skew = promise.skew_of(promise.trust_in(monitor, chosen.stream))
    figure = promised.with_probability(figure, skew)
    asked = theme.asked(figure, shift, query)
    return [answer.sentence, heading, asked, parts.across(shift_tables.table(answer, chosen.stream))]


def show_by_hand(monitor: Monitor, shift: str | None) -> list[Any]:
    """Return the bores finished by hand in one shift, and whether the machines' drawings show.

    Where no machine made a bore these are of the last week.
    """
    try:
        found = by_hand.of_shift(monitor, by_hand.shift_answer(monitor, shift).shift)
    except CellmonError:
        found = []
    return [found, by_hand.beside(monitor, shown=bool(found))]


def chosen_of(answer: Shifts, query: str | None) -> StreamShift | None:
    """Return the stream a query names; without one, that with the most signals in the shift."""
    if not answer.shifts:
        return None
    if query:
        stream = parts.stream_named([s.stream for s in answer.shifts], query)
        return next(s for s in answer.shifts if s.stream == stream)
    return max(answer.shifts, key=lambda s: len(s.signals))


def clicked(click: dict[str, Any] | None, monitor: Monitor) -> Any:
    """Return the stream whose line was clicked."""
    if not click or not click.get("points"):
        return no_update
    told = click["points"][0].get("customdata")
    row = told[0] if isinstance(told, list) else told  # of a line, or of a ring on it
    streams = monitor.streams()
    return parts.stream_query(streams[row]) if isinstance(row, int) and row < len(streams) else no_update


def choose_stream(monitor: Monitor, shift: str | None, value: str | None, search: str | None) -> list[Any]:
    """Return the streams to choose from; where none is chosen yet, that of the link, else the most moved."""
    try:
        streams = monitor.streams()
        chosen = None
        if shift and not value:
            chosen = shifts_link.stream_of(streams, search) or usual_stream(monitor, shift)
    except CellmonError:
        return [[], no_update]
    return [parts.stream_options(streams), chosen or no_update]


def usual_stream(monitor: Monitor, shift: str | None) -> str | None:
    """Return the stream that the page shows of a shift by itself, the most moved; None without one."""
    try:
        chosen = chosen_of(by_hand.shift_answer(monitor, shift), None)
    except CellmonError:
        return None
    return parts.stream_query(chosen.stream) if chosen else None


def linked(monitor: Monitor, search: str | None, stream: str | None, span: str) -> list[Any]:
    """Return stream and span that a link on this page names, each where it is not chosen already."""
    try:
        named = shifts_link.stream_of(monitor.streams(), search)
    except CellmonError:
        named = None
    asked = shifts_link.span_of(search, list(SPANS), otherwise=span)
    return [no_update if named in (None, stream) else named, no_update if asked == span else asked]


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    shift_choice.register(app, monitor)
    shift_told.register(app, monitor, SHIFT)
    opened_by.register(app, monitor, PATH, shift_choice.of_link)
    _register_choices(app, monitor)
    _register_shown(app, monitor)
    shift, span, stream = State(SHIFT, "value"), State(SPAN, "value"), State(STREAM, "value")
    saving.register_saving(
        app, LINES, lambda s, p: seismograph.rows(seismograph_of(monitor, s, p)[0]), shift, span
    )
    saving.register_saving(app, PAIR, lambda s, q: pair_rows(monitor, s, q), shift, stream)


def _register_choices(app: Dash, monitor: Monitor) -> None:
    """Wire which stream and span are chosen: by hand, by a press on a line, by a link."""
    shift, span, stream = Input(SHIFT, "value"), Input(SPAN, "value"), Input(STREAM, "value")
    stream_now, search_now = State(STREAM, "value"), State(parts.URL, "search")
    stream_moved = Output(STREAM, "value", allow_duplicate=True)

    @app.callback(
        Output(STREAM, "options"),
        Output(STREAM, "value"),
        Input(parts.CHANGE, "data"),
        shift,
        stream_now,
        search_now,
    )
    def _(change: int, shift: str | None, value: str | None, search: str | None) -> list[Any]:
        return choose_stream(monitor, shift, value, search)

    @app.callback(
        stream_moved,
        Output(SPAN, "value"),
        Input(parts.URL, "search"),
        stream_now,
        State(SPAN, "value"),
        prevent_initial_call=True,
    )
    def _(search: str | None, value: str | None, span: str) -> list[Any]:
        return linked(monitor, search, value, span)

    @app.callback(
        Output(parts.URL, "search", allow_duplicate=True),
        shift,
        stream,
        span,
        State(SHIFT, "options"),
        search_now,
        prevent_initial_call=True,
    )
    def _(shift: str | None, query: str | None, span: str, options: Any, search: str | None) -> Any:
        usual = usual_stream(monitor, shift) if shift and query else None
        return shifts_link.link_of(shift, options, search, stream=query, usual=usual, span=span)

    @app.callback(stream_moved, Input(LINES, "clickData"), prevent_initial_call=True)
    def _(click: dict[str, Any] | None) -> Any:
        return clicked(click, monitor)


def _register_shown(app: Dash, monitor: Monitor) -> None:
    """Wire what is shown of the chosen shift, and of the chosen stream in it."""
    changed, shift, stream = Input(parts.CHANGE, "data"), Input(SHIFT, "value"), Input(STREAM, "value")

    @app.callback(
        Output(LINES, "figure"), Output(LINES, "style"), changed, shift, Input(SPAN, "value"), stream
    )
    def _(change: int, shift: str | None, span: str, query: str | None) -> list[Any]:
        return sized(show_lines(monitor, shift, span, query))

    @app.callback(
        Output(SENTENCE, "children"),
        Output(HEADING, "children"),
        Output(PAIR, "figure"),
        Output(TABLE, "children"),
        changed,
        shift,
        stream,
    )
    def _(change: int, shift: str | None, query: str | None) -> list[Any]:
        return show_shift(monitor, shift, query)

    @app.callback(Output(BY_HAND, "children"), Output(MACHINES, "style"), changed, shift)
    def _(change: int, shift: str | None) -> list[Any]:
        return show_by_hand(monitor, shift)


def pair_rows(monitor: Monitor, shift: str | None, query: str | None) -> dict[str, list[Any]]:
    """Return the chosen stream's subgroups of the shift as columns."""
    chosen = chosen_of(by_hand.shift_answer(monitor, shift), query)
    return mean_range.rows(mean_range.pair_of_shift(chosen)) if chosen else {}


def sized(figure: theme.Figure) -> list[Any]:
    """Return a figure and the room it needs."""
    return [figure, {"height": f"{figure['layout']['height']}px"}]
