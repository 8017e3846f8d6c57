"""Files: what came in, what of it waits, and the place where it is put right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon import local
from cellmon.errors import CellmonError
from cellmon.monitor.files import FileRow, Files
from cellmon.words import say, say_many, to_say
from dashboards.pages import files_doubts, files_drop, files_rows, files_sheet, leafing, parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/files"
NAME = to_say("Files")
SENTENCE, TABLE, BEFORE, OLDER, NEWEST = (
    "files-sentence",
    "files-table",
    "files-before",
    "files-older",
    "files-newest",
)


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; a link may name a row set aside or a doubt."""
    named = parts.query_values(query)
    return html.Main(
        [
            parts.lead(SENTENCE),
            files_drop.section(),
            files_rows.section(named.get("row")),
            files_doubts.section(named.get("doubt")),
            files_sheet.section(),
            html.H2(say("Files taken")),
            html.Div(id=TABLE),
            dcc.Store(id=BEFORE),
            html.Button(say("‹ newest"), id=NEWEST, className="step"),
            html.Button(say("older ›"), id=OLDER, className="step"),
        ],
        className="files",
    )


def show(monitor: Monitor, before: int | None) -> list[Any]:
    """Return the sentence, the table, and whether there are newer and older files than those shown."""
    try:
        answer = monitor.files(last=leafing.SHOWN, before=before)
    except CellmonError as refusal:
        return [parts.notice(str(refusal)), [], True, True]
    return [answer.sentence, [table(answer)] if answer.files else [], before is None, answer.older is None]


def table(answer: Files) -> html.Div:
    """Return the files, newest first."""
    names = (
        say("file"),
        say("holds"),
        say("taken at"),
        say("rows"),
        say("taken"),
        say("known"),
        say("set aside"),
        say("doubted"),
    )
    words = say_many(
        "{shown} of {total} file, newest first. Rows are taken, already known or set aside.",
        "{shown} of {total} files, newest first. Rows are taken, already known or set aside.",
        answer.total,
        shown=local.number(len(answer.files)),
        total=local.number(answer.total),
    )
    head = [html.Th(name, scope="col") for name in names]
    body = [html.Tr([html.Td(cell) for cell in cells(one)]) for one in answer.files]
    return parts.across(
        html.Table([html.Caption(words), html.Thead(html.Tr(head)), html.Tbody(body)], className="of-files"),
        say("Files taken"),
    )


def cells(one: FileRow) -> list[str]:
    """Return one file's cells; of the rows set aside those that still wait are named."""
    aside = local.number(one.set_aside)
    if one.waiting:
        wait = say("{waiting} wait", waiting=local.number(one.waiting))
        aside = wait if one.waiting == one.set_aside else f"{aside}, {wait}"
    counts = [local.number(n) for n in (one.rows, one.taken, one.known)]
    return [one.file, one.kind or "", parts.when(one.at), *counts, aside, local.number(one.flagged)]


def page_from(monitor: Monitor, before: int | None, *, older: bool) -> int | None:
    """Return from which file on the table goes: the newest, or those older than what is shown."""
    if not older:
        return None
    try:
        return monitor.files(last=leafing.SHOWN, before=before).older or before
    except CellmonError:
        return before


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""

    @app.callback(
        Output(SENTENCE, "children"),
        Output(TABLE, "children"),
        Output(NEWEST, "disabled"),
        Output(OLDER, "disabled"),
        Input(parts.CHANGE, "data"),
        Input(BEFORE, "data"),
    )
    def _(change: int, before: int | None) -> list[Any]:
        return show(monitor, before)

    @app.callback(
        Output(BEFORE, "data"),
        Input(NEWEST, "n_clicks"),
        Input(OLDER, "n_clicks"),
        State(BEFORE, "data"),
        prevent_initial_call=True,
    )
    def _(newest: int | None, older: int | None, before: int | None) -> int | None:
        return page_from(monitor, before, older=parts.pressed() == OLDER)

    for section in (files_drop, files_rows, files_doubts, files_sheet):
        section.register(app, monitor)
