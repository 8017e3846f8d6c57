"""What the page Files says of one row set aside."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from cellmon.monitor.aside import AsideRow
from cellmon.words import say
from dashboards.figures.opened import PART
from dashboards.pages import parts


def facts(row: AsideRow) -> list[Any]:
    """Return one row in full: where it stood, what is the matter, what helps, its cells."""
    found: list[Any] = [
        html.H3(say("{file}, line {line}", file=row.file, line=row.line)),
        html.P([html.B(row.means), " ", row.helps], className="told"),
        html.Code(row.text, className="row-text"),
    ]
    if row.corrected is not None:
        one = row.corrected
        words = say("Taken as {by} wrote it, {at}: {why}", by=one.by, at=parts.when(one.at), why=one.why)
        return [
            *found,
            html.P(words, className="told"),
            html.Code(one.text, className="row-text"),
            *_part(row),
        ]
    if row.state != "waiting":
        return [*found, html.P(say("It came in when it was taken again."), className="told")]
    as_read = [html.Code(row.as_read, className="row-text")] if row.as_read else []
    return [*found, *as_read, cells_table(row)] if row.cells else [*found, _header(row)]


def _part(row: AsideRow) -> list[Any]:
    """Return the way to the block that a row is about, where it names one."""
    serial = row.part
    link = dcc.Link(
        say("Block {part} as it stands now", part=serial), href=f"{PART}?{urlencode({'serial': serial})}"
    )
    return [html.P(link)] if serial else []


def _header(row: AsideRow) -> html.P:
    words = say("These are words about the row, not the row. Write it anew under its header: ")
    return html.P([words, html.Code(row.header or "", className="row-text")], className="told")


def cells_table(row: AsideRow) -> html.Details:
    """Return what stands under each column; what has no counterpart is named."""
    body = [
        html.Tr(
            [
                html.Th(cell.column if cell.column is not None else say("no column"), scope="row"),
                html.Td(cell.cell if cell.cell is not None else say("nothing")),
            ],
            className="odd" if None in (cell.column, cell.cell) else "",
        )
        for cell in row.cells
    ]
    return parts.folded(
        [html.Summary(say("Cell by cell")), html.Table(html.Tbody(body), className="told-of cells")],
        f"row-{row.id}",
        opened=row.state == "waiting",
    )
