"""What is saved of a page: drawings, their data, tables and papers; why there is none is said beside it.

The name of a file says what it holds and up to when, so that two saved one after the other both stay.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from math import isnan
from typing import Any
from urllib.parse import urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from cellmon import lengths, local
from cellmon.errors import CellmonError, NotFound
from cellmon.export.tables import Table
from cellmon.export.times import local_texts
from cellmon.lengths import Shown
from cellmon.words import say, say_many
from dashboards import theme
from dashboards.figures.opened import PART
from dashboards.pages import parts

SERIALS = frozenset({"part", "first_part", "last_part"})
TABLED = 200
"""So many rows of a figure's data stand on the page; the file holds all."""
Made = tuple[bytes, str]
"""The bytes of a file, and its name."""
Rows = Callable[..., Mapping[str, Sequence[Any]]]


def saved(make: Callable[..., Made], *values: Any) -> list[Any]:
    """Return a file as a download, and nothing beside its button; or why there is none."""
    try:
        content, name = make(*values)
    except CellmonError as refusal:
        return [no_update, parts.capital(str(refusal))]
    return [dcc.send_bytes(content, name), ""]


def register_file(app: Dash, button: str, name: str, make: Callable[..., Made], *states: State) -> None:
    """Wire a button that saves a file: by the download `name`-file, or why there is none.

    `name` is that of `parts.why_not`; `make` answers the states.
    """

    @app.callback(
        Output(f"{name}-file", "data", allow_duplicate=True),
        Output(f"{name}-why-not", "children", allow_duplicate=True),
        Input(button, "n_clicks"),
        *states,
        prevent_initial_call=True,
    )
    def _(clicks: int | None, *values: Any) -> list[Any]:
        return saved(make, *values) if clicks else [no_update, no_update]


def saves_of(name: str) -> html.Span:
    """Return the buttons that save a drawing which comes with an answer; the browser does it alone."""
    kinds = ("svg", "png")
    told = [{"data-saves": name, "data-format": kind} for kind in kinds]
    buttons = [html.Button(kind.upper(), **data) for kind, data in zip(kinds, told, strict=True)]
    return html.Span([html.Span(say("Save")), *buttons], className="take")


def register_saving(app: Dash, name: str, rows: Rows, *states: State) -> None:
    """Wire the three links of a figure; `rows` answers the states with the figure's data."""
    app.clientside_callback(
        ClientsideFunction("cellmon", "save"),
        Output(f"{name}-saved", "data"),
        Input(f"{name}-svg", "n_clicks"),
        Input(f"{name}-png", "n_clicks"),
        State(name, "id"),
        prevent_initial_call=True,
    )

    register_table(app, name, rows, *states)
    pressed = f"{name}-table", "n_clicks"
    moves = [Input(state.component_id, state.component_property) for state in states]

    @app.callback(
        Output(f"{name}-data", "children"),
        Output(f"{name}-table", "aria-expanded"),
        parts.wanted(app, name, Input(*pressed), *moves),
        State(*pressed),
        *states,
        prevent_initial_call=True,
    )
    def _(asked: int, clicks: int | None, *values: Any) -> list[Any]:
        return data_table(rows, *values) if (clicks or 0) % 2 else [[], "false"]


@lengths.shown_in(Shown.MM)
def data_table(rows: Rows, *values: Any) -> list[Any]:
    """Return the last rows of a figure's data as a table and that it shows, or why there is none."""
    try:
        columns = rows(*values)
    except CellmonError as refusal:
        return [parts.notice(str(refusal)), "true"]
    count = max((len(cells) for cells in columns.values()), default=0)
    if not count:
        return [parts.notice(say("There are no data behind this drawing.")), "true"]
    shown = [cells[-TABLED:] for cells in columns.values()]
    many = say(
        "The last {shown} of {count} rows; the CSV holds all.", shown=TABLED, count=local.number(count)
    )
    every = say_many("{count} row", "{count} rows", count)
    head = html.Tr([html.Th(name.replace("_", " "), scope="col") for name in columns])
    body = [html.Tr(_cells(list(columns), row)) for row in zip(*shown, strict=True)]
    caption = html.Caption(many if count > TABLED else every)
    return [parts.across(html.Table([caption, html.Thead(head), html.Tbody(body)])), "true"]


def _cells(names: Sequence[str], row: Sequence[Any]) -> list[html.Td]:
    """Return the cells of one row; the serial of a block opens its page, at the row's bore."""
    told = dict(zip(names, row, strict=True))
    bore = {"bore": told["bore"]} if told.get("bore") else {}
    return [
        html.Td(dcc.Link(cell, href=f"{PART}?{urlencode({**bore, 'serial': cell})}"))
        if name in SERIALS and cell
        else html.Td(cell_words(cell))
        for name, cell in told.items()
    ]


def cell_words(cell: Any) -> str:
    """Return one cell of a figure's data as it is read; a dash where there is nothing."""
    if cell is None or (isinstance(cell, float) and isnan(cell)):
        return "–"
    return local.significant(cell) if isinstance(cell, float) else str(cell)


@lengths.shown_in(Shown.MM)
def csv_of(name: str, rows: Rows, as_of: str | None, *values: Any) -> Made:
    """Return a figure's data as CSV.

    Raises
    ------
    NotFound
        When there are none. Other refusals are those of `rows`.
    """
    columns = rows(*values)
    if not columns:
        raise NotFound(say("There are no data behind this, so there is no file."))
    words = ("cellmon", name, theme.file_words(*values), (as_of or "").replace(":", ""))
    return csv_text(columns).encode(), "-".join(filter(None, words)) + ".csv"


def csv_text(columns: Mapping[str, Sequence[Any]]) -> str:
    """Return columns as CSV; a word that a spreadsheet would run as a formula is made plain text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in zip(*columns.values(), strict=True):
        writer.writerow([_plain(cell) for cell in row])
    return out.getvalue()


def _plain(cell: Any) -> Any:
    if isinstance(cell, float) and isnan(cell):
        return ""
    return "'" + cell if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


def save_table(name: str) -> html.Div:
    """Return the link that saves a table as CSV."""
    button = html.Button("CSV", id=f"{name}-csv")
    return html.Div(
        [
            html.Span([say("Save the table"), button], className="take"),
            parts.why_not(name),
            dcc.Download(id=f"{name}-file"),
        ]
    )


def register_table(app: Dash, name: str, rows: Rows, *states: State) -> None:
    """Wire that link; `rows` answers the states with the table's columns."""

    def made(as_of: str | None, *values: Any) -> Made:
        return csv_of(name, rows, as_of, *values)

    register_file(app, f"{name}-csv", name, made, State(parts.AS_OF, "dateTime"), *states)


def columns_of(table: Table) -> dict[str, Sequence[Any]]:
    """Return an exported table's columns as texts and numbers, moments in the cell's own zone."""
    return {
        name: (local_texts(cells, table.zone) if cells.dtype.kind == "M" else cells).tolist()
        for name, cells in table.columns.items()
    }
