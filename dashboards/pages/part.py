"""Part: one block's story. For whoever must say what became of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import lengths
from cellmon.errors import CellmonError, NotFound
from cellmon.lengths import Shown
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_said import trace_words
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import part_walls
from dashboards.figures.polar import polar_figure, traced_points
from dashboards.pages import part_bore, part_words, parts, saving
from dashboards.pages.saving import Made

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/part"
NAME = to_say("Part")
SENTENCE, SERIAL, SHOW, OFFERED, NEWEST = (
    "part-sentence",
    "part-serial",
    "part-show",
    "part-offered",
    "part-newest",
)
WALLS, SHEET, TIMELINE, HELD, BELOW, TRACES = (
    "part-walls",
    "part-sheet",
    "part-timeline",
    "part-held",
    "part-below",
    "part-traces",
)
TRACED = "part-traced"
CHOSEN, PAPER, DOCUMENT, FILES = "part-chosen", "part-pdf", "part-json", "part"
CAPTION = to_say(
    "The charted measurement of each bore, cut open; a line and a mark for each direction, straight between "
    "the planes, where nothing was read. Tolerance: pale, between two full lines; guard band: hatched. "
    "Ring: a reading outside."
)
LINKED = 6


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; a link may name the block."""
    serial = parts.query_values(query).get("serial")
    return html.Main(
        [
            parts.lead(SENTENCE),
            dcc.Store(id=CHOSEN, data=serial),
            html.Div(
                [
                    html.Datalist(id=OFFERED),
                    parts.field(
                        say("Serial"),
                        dcc.Input(id=SERIAL, list=OFFERED, autoComplete="off", value=serial),
                        wide=True,
                    ),
                    html.Button(say("Show"), id=SHOW, className="step"),
                    html.Div(id=NEWEST, className="newest"),
                ],
                className="controls",
            ),
            html.Div(_sheet(), id=SHEET, style=parts.HIDDEN),
        ]
    )


def _sheet() -> list[Any]:
    return [
        html.Div(id=part_bore.ID),
        parts.figure_box(WALLS, height=part_walls.HEIGHT, caption=say(CAPTION), told_by=SENTENCE),
        html.Div(
            [
                html.Section([html.H2(say("What happened to it")), html.Div(id=TIMELINE)]),
                html.Section([html.H2(say("Held, and what was decided")), html.Div(id=HELD)]),
            ],
            className="beside",
        ),
        html.Div(id=TRACES),
        html.Div(id=BELOW),
        html.P(
            [
                html.Span(
                    [say("Save this record"), html.Button("PDF", id=PAPER), html.Button("JSON", id=DOCUMENT)],
                    className="take",
                ),
                parts.why_not(FILES),
                dcc.Download(id=f"{FILES}-file"),
            ]
        ),
    ]


def serial_of(monitor: Monitor, search: str | None, before: str | None = None) -> str | None:
    """Return the block a link names; else that shown before, else the newest, None where there is none."""
    named = parts.query_values(search).get("serial")
    return named or before or next(iter(monitor.newest_parts().parts), None)


def story_of(monitor: Monitor, serial: str | None) -> PartStory:
    """Return what is known of a block.

    Raises
    ------
    NotFound
        When there is no such block, or nothing was measured yet.
    """
    if not serial:
        raise NotFound(say("No part has been measured yet."))
    return monitor.part(serial)


def offer(monitor: Monitor) -> list[Any]:
    """Return the newest serials, as choices and as links."""
    try:
        newest = monitor.newest_parts().parts
    except CellmonError:
        return [[], []]
    links = [dcc.Link(serial, href=link_to(serial)) for serial in newest[:LINKED]]
    return [[html.Option(value=serial) for serial in newest], [say("Newest: "), *links] if links else []]


def refused(monitor: Monitor, refusal: CellmonError) -> str:
    """Return why a block cannot be shown, and how the serials of this cell are written."""
    words = parts.capital(str(refusal)).rstrip(".") + "."
    try:
        newest = monitor.newest_parts().parts
    except CellmonError:
        return words
    return f"{words} {say('Serials are written here as {newest} is.', newest=newest[0])}" if newest else words


def ends_so(monitor: Monitor, search: str | None) -> list[Any]:
    """Return links to the blocks whose serial ends as typed and begins as the newest, where there are any.

    Digits also stand for a number whose noughts were left out.
    """
    typed = parts.query_values(search).get("serial", "")
    try:
        newest = next(iter(monitor.newest_parts().parts), "")
    except CellmonError:
        return []
    found = [serial for serial in _ending(newest, typed) if _is_known(monitor, serial)]
    links = [html.P([say("One ends so: "), dcc.Link(serial, href=link_to(serial))]) for serial in found]
    return [html.Div(links, className="told")] if links else []


def _ending(newest: str, typed: str) -> list[str]:
    """Return the serials that a typed end may mean, when they are written as the newest is."""
    if not typed or len(typed) >= len(newest):
        return []
    head = newest.rstrip("0123456789")
    meant = [newest[: -len(typed)] + typed]
    if typed.isdecimal() and len(head) + len(typed) < len(newest):
        meant.append(head + typed.zfill(len(newest) - len(head)))
    return list(dict.fromkeys(meant))


def _is_known(monitor: Monitor, serial: str) -> bool:
    try:
        monitor.part(serial)
    except CellmonError:
        return False
    return True


def link_to(serial: str) -> str:
    """Return the address of one block's story."""
    return f"{PATH}?{urlencode({'serial': serial})}"


def show_part(monitor: Monitor, search: str | None, before: str | None = None) -> list[Any]:
    """Return sentence, serial, drawing, time line, signals, tables, traces, the opened bore, the style."""
    try:
        serial = serial_of(monitor, search, before)
        story = story_of(monitor, serial)
    except CellmonError as refusal:
        return [
            html.Span([parts.notice(refused(monitor, refusal)), *ends_so(monitor, search)]),
            None,
            theme.notice(""),
            [],
            [],
            [],
            [],
            [],
            parts.HIDDEN,
        ]
    return [
        story.sentence,
        story.part,
        theme.asked(part_walls.walls_figure(story), story.part),
        part_words.time_line(story),
        part_words.held(story),
        part_words.tables(story),
        traced(story),
        part_bore.opened(story, parts.query_values(search).get("bore")),
        {},
    ]


def traced(story: PartStory) -> list[Any]:
    """Return every traced bore drawn in the round, with what its trace says."""
    if not story.traces or story.nominal_mm is None:
        return []
    said: list[Any] = [html.H2(say("Traced in the round"))]
    for number, bore in enumerate(story.traces):
        told = f"part-trace-{number}"
        said.append(html.P(trace_words(bore), id=told, className="told"))
        if bore.planes:
            figure = polar_figure(bore, nominal_mm=story.nominal_mm)
            drawn = f"part-trace-figure-{number}"
            graph = dcc.Graph(id=drawn, figure=figure, config=theme.CONFIG, className="polar")
            said += [parts.picture(graph, told_by=told), saving.saves_of(drawn)]
    return [*said, saving.save_table(TRACED)]


def chosen(serial: str | None) -> Any:
    """Return the query of the block whose serial was typed."""
    word = (serial or "").strip()
    return f"?{urlencode({'serial': word})}" if word else no_update


@lengths.shown_in(Shown.MM)
def made(monitor: Monitor, serial: str | None, kind: str) -> Made:
    """Return the record of a block as a file, pdf or json; refusals as `story_of`."""
    story = story_of(monitor, serial)
    name = f"part-{story.part}-{story.as_of:%Y-%m-%d-%H%M}.{kind}"
    if kind == "pdf":
        from cellmon.export.part_paper import part_pdf

        return part_pdf(story, cell=monitor.sheet.cell.name), name
    from cellmon.export.documents import as_json, document

    return as_json(document(story, zone=parts.zone_of(monitor))), name


def traced_rows(monitor: Monitor, serial: str | None) -> dict[str, Any]:
    """Return every point of the traces of a block; refusals as `story_of`."""
    return traced_points(story_of(monitor, serial).traces)


def walls_rows(monitor: Monitor, serial: str | None) -> dict[str, Any]:
    """Return the readings behind the drawing; refusals as `story_of`."""
    return part_walls.rows(story_of(monitor, serial))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""

    @app.callback(
        Output(SENTENCE, "children"),
        Output(CHOSEN, "data"),
        Output(WALLS, "figure"),
        Output(TIMELINE, "children"),
        Output(HELD, "children"),
        Output(BELOW, "children"),
        Output(TRACES, "children"),
        Output(part_bore.ID, "children"),
        Output(SHEET, "style"),
        Input(parts.CHANGE, "data"),
        Input(parts.URL, "search"),
        State(CHOSEN, "data"),
    )
    def _(change: int, search: str | None, before: str | None) -> list[Any]:
        return show_part(monitor, search, before)

    @app.callback(Output(OFFERED, "children"), Output(NEWEST, "children"), Input(parts.CHANGE, "data"))
    def _(change: int) -> list[Any]:
        return offer(monitor)

    @app.callback(
        Output(parts.URL, "search", allow_duplicate=True),
        Input(SHOW, "n_clicks"),
        Input(SERIAL, "n_submit"),
        State(SERIAL, "value"),
        prevent_initial_call=True,
    )
    def _(clicks: int | None, entered: int | None, serial: str | None) -> Any:
        return chosen(serial) if clicks or entered else no_update

    shown = State(CHOSEN, "data")
    saving.register_file(app, PAPER, FILES, lambda serial: made(monitor, serial, "pdf"), shown)
    saving.register_file(app, DOCUMENT, FILES, lambda serial: made(monitor, serial, "json"), shown)

    saving.register_table(app, TRACED, lambda serial: traced_rows(monitor, serial), State(CHOSEN, "data"))
    saving.register_saving(app, WALLS, lambda serial: walls_rows(monitor, serial), State(CHOSEN, "data"))
