"""Stones: which set runs out when, dress now or later, what to order by when? For the planner of stones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.export.stone_tables import lots_table, orders_table, sets_table
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import change_calendar, stone_lines, stone_shape
from dashboards.pages import parts, saving, stone_files, stone_history, stone_log, stone_what_if, stone_words

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/stones"
NAME = to_say("Stones")
SENTENCE, NEXT, ADVICE, CAUTIONS = "stones-sentence", "stones-next", "stones-advice", "stones-cautions"
SET, SET_WORDS, SHAPE_WORDS = "stones-set", "stones-set-words", "stones-shape-words"
LINES, SHAPE, CALENDAR = "stones-lines", "stones-shape", "stones-calendar"
ORDERS, SETS, LOTS, EVERY, KINDS = (
    "stones-orders",
    "stones-sets",
    "stones-lots",
    "stones-every",
    "stones-kinds",
)
BOOK, ICS = "stones-xlsx", "stones-ics"


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; a link may name the set."""
    asked = parts.query_values(query).get("set")
    return html.Main(
        [
            html.Div(
                [
                    html.Div([parts.lead(SENTENCE), html.P(id=NEXT, className="told"), html.Div(id=ADVICE)]),
                    html.Div(id=CAUTIONS, className="cautions"),
                ],
                className="beside",
            ),
            html.Div(
                [
                    parts.field(
                        say("Set"),
                        parts.dropdown(SET, clearable=False, value=asked, options=[asked] if asked else []),
                        wide=True,
                    ),
                    html.Div(id=SET_WORDS),
                ],
                className="controls",
            ),
            parts.figure_box(LINES, height=stone_lines.HEIGHT, caption=_lines_caption(), told_by=SET_WORDS),
            html.H2(say("The stones of the set")),
            _shape(),
            html.H2(say("Changes to come")),
            parts.figure_box(CALENDAR, height="auto", caption=_calendar_caption(), told_by=NEXT),
            html.H2(say("Orders, stock and cost")),
            html.Div(id=ORDERS),
            _taking(),
            stone_what_if.layout(),
            stone_log.layout(),
            html.H2(say("Sets and lots")),
            html.Div(id=KINDS),
            html.Div(id=LOTS),
            saving.save_table(LOTS),
            html.Div(id=SETS),
            html.Button(say("Show every set and lot"), id=EVERY, className="step"),
            saving.save_table(SETS),
        ]
    )


def _shape() -> html.Div:
    """Return the room for the stones of a set beside what is said of them."""
    box = parts.figure_box(SHAPE, height=stone_shape.HEIGHT, caption=_shape_caption(), told_by=SHAPE_WORDS)
    return html.Div([box, html.Div(id=SHAPE_WORDS)], className="beside")


def _taking() -> html.P:
    """Return what can be saved of the plan."""
    buttons = [
        say("Save the order list"),
        html.Button("CSV", id=f"{ORDERS}-csv"),
        say("stops and orders as a calendar"),
        html.Button("ICS", id=ICS),
        say("all tables"),
        html.Button("XLSX", id=BOOK),
    ]
    return html.P(
        [html.Span(buttons, className="take"), parts.why_not(ORDERS), dcc.Download(id=f"{ORDERS}-file")]
    )


def _lines_caption() -> str:
    return say(
        "Dot: measured, with what readings repeat to. Stroke: dressed. Cross: chipped. Dashed: since it was "
        "measured. Pale fan: 9 of 10 such sets; dotted: half of them. Thin pale lines: sets of the past."
    )


def _shape_caption() -> str:
    return say(
        "Top at the top; figures in {unit}. Dotted: the mean of the set. Pale band: what ends may differ. "
        "Ring: they differ by more. Only the outermost of each stone is drawn.",
        unit=lengths.unit(),
    )


def _calendar_caption() -> str:
    return say(
        "Triangle: change of stones; beside it, and as a thin bar where it is near, when it comes 9 times "
        "of 10. Upright line: one stop for both. Shaded: not worked. "
        "Hatched: closed."
    )


def set_options(monitor: Monitor, value: str | None) -> list[Any]:
    """Return the sets to choose from, fitted ones first; the first at first."""
    try:
        picture = monitor.stone_picture()
    except CellmonError:
        return [[], no_update]
    options = [
        {"label": _label(one.stone_set, one.spindle, one.state), "value": one.stone_set}
        for one in picture.stones.sets
    ]
    known = [option["value"] for option in options]
    return [options, no_update if value in known or not known else known[0]]


def _label(name: str, spindle: str | None, state: str) -> str:
    said = {
        "fitted": say("on {spindle}", spindle=spindle),
        "off": say("off the machine"),
        "ended": say("ended"),
        "new": say("never fitted"),
    }
    return f"{name}, {said[state]}"


def show_answer(monitor: Monitor) -> list[Any]:
    """Return the first sentence, what comes next, the advice for each set, and the cautions."""
    try:
        answer = monitor.stone_picture().stones
    except CellmonError as refusal:
        return [str(refusal), "", [], []]
    return [
        stone_words.first_words(answer),
        stone_words.next_words(answer),
        stone_words.advice_list(answer),
        stone_words.caution_list(answer),
    ]


def show_set(monitor: Monitor, chosen: str | None) -> list[Any]:
    """Return the words and the two figures of the set shown, and how high the second is."""
    try:
        picture = monitor.stone_picture()
    except CellmonError as refusal:
        refused = theme.notice(str(refusal), height=stone_lines.HEIGHT)
        return [[], refused, [], refused, {"height": stone_shape.HEIGHT}]
    return [
        stone_words.set_words(picture, chosen),
        theme.asked(stone_lines.stone_lines_figure(picture, chosen), chosen),
        stone_words.shape_words(picture, chosen),
        stone_shape.stone_shape_figure(picture, chosen),
        {"height": stone_shape.height_of(picture, chosen)},
    ]


def show_plan(monitor: Monitor) -> list[Any]:
    """Return the calendar, and the order list beside the stock."""
    try:
        picture = monitor.stone_picture()
    except CellmonError as refusal:
        return [theme.notice(str(refusal), height=120), []]
    return [change_calendar.change_calendar_figure(picture), stone_words.orders_list(picture.stones.plan)]


def show_history(monitor: Monitor, presses: int | None) -> list[Any]:
    """Return what the kinds teach, the lots, the sets, and what the button beneath them says."""
    try:
        answer = monitor.stone_picture().stones
    except CellmonError:
        return [[], [], [], {"display": "none"}]
    every = bool(presses) or max(len(answer.sets), len(answer.lots)) <= stone_history.NEWEST
    notes = (f"{parts.capital(note)}." for note in answer.notes)
    kinds = [html.Li(text) for text in (*(k.sentence for k in answer.kinds), *notes)]
    return [
        html.Ul(kinds, className="lines"),
        parts.across(stone_history.lots_table(answer.lots, every=every), say("Lots")) if answer.lots else [],
        parts.across(stone_history.sets_table(answer, every=every), say("Sets")) if answer.sets else [],
        {"display": "none"} if every else {},
    ]


def lines_rows(monitor: Monitor, chosen: str | None) -> dict[str, Any]:
    """Return what the falling lines draw as columns."""
    return dict(stone_lines.rows(monitor.stone_picture(), chosen))


def shape_rows(monitor: Monitor, chosen: str | None) -> dict[str, Any]:
    """Return the thicknesses of the set shown as columns."""
    return dict(stone_shape.rows(monitor.stone_picture(), chosen))


def calendar_rows(monitor: Monitor) -> dict[str, Any]:
    """Return the changes to come as columns."""
    return dict(change_calendar.rows(monitor.stone_picture()))


def table_rows(monitor: Monitor, name: str) -> dict[str, Any]:
    """Return one of the page's tables as columns."""
    answer, zone = monitor.stone_picture().stones, parts.zone_of(monitor)
    if name == ORDERS:
        return {} if answer.plan is None else dict(saving.columns_of(orders_table(answer.plan, zone=zone)))
    table = lots_table(answer, zone=zone) if name == LOTS else sets_table(answer, zone=zone)
    return dict(saving.columns_of(table))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    changed, chosen = Input(parts.CHANGE, "data"), Input(SET, "value")

    @app.callback(Output(SET, "options"), Output(SET, "value"), changed, State(SET, "value"))
    def _(change: int, value: str | None) -> list[Any]:
        return set_options(monitor, value)

    @app.callback(
        Output(SENTENCE, "children"),
        Output(NEXT, "children"),
        Output(ADVICE, "children"),
        Output(CAUTIONS, "children"),
        changed,
    )
    def _(change: int) -> list[Any]:
        return show_answer(monitor)

    @app.callback(
        Output(SET_WORDS, "children"),
        Output(LINES, "figure"),
        Output(SHAPE_WORDS, "children"),
        Output(SHAPE, "figure"),
        Output(SHAPE, "style"),
        changed,
        chosen,
    )
    def _(change: int, value: str | None) -> list[Any]:
        return show_set(monitor, value)

    @app.callback(Output(CALENDAR, "figure"), Output(ORDERS, "children"), changed)
    def _(change: int) -> list[Any]:
        return show_plan(monitor)

    @app.callback(
        Output(KINDS, "children"),
        Output(LOTS, "children"),
        Output(SETS, "children"),
        Output(EVERY, "style"),
        changed,
        Input(EVERY, "n_clicks"),
    )
    def _(change: int, presses: int | None) -> list[Any]:
        return show_history(monitor, presses)

    _register_files(app, monitor)
    stone_what_if.register(app, monitor)
    stone_log.register(app, monitor)


def _register_files(app: Dash, monitor: Monitor) -> None:
    now = State(SET, "value")
    saving.register_saving(app, LINES, lambda value: lines_rows(monitor, value), now)
    saving.register_saving(app, SHAPE, lambda value: shape_rows(monitor, value), now)
    saving.register_saving(app, CALENDAR, lambda: calendar_rows(monitor))
    for table in (ORDERS, LOTS, SETS):
        _register_table(app, monitor, table)
    for kind, button in (("xlsx", BOOK), ("ics", ICS)):
        _register_file(app, monitor, kind, button)


def _register_table(app: Dash, monitor: Monitor, table: str) -> None:
    saving.register_table(app, table, lambda: table_rows(monitor, table))


def _register_file(app: Dash, monitor: Monitor, kind: str, button: str) -> None:
    saving.register_file(app, button, ORDERS, lambda: stone_files.made(monitor, kind))
