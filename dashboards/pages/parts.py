"""What pages share: figures that can be taken away, notices, and how a stream is named in a link."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from math import isnan
from typing import Any
from urllib.parse import parse_qs, urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from cellmon.errors import CellmonError, NotFound
from cellmon.records import Stream
from dashboards import theme

CHANGE = "change"
URL = "url"
STREAM_KEYS = ("spindle", "bore", "feature", "fixture", "part_number")
CAUTION = (
    "The machine maker's manual, the site's procedures, local law and codes, and qualified people come "
    "first. If unsure, stop. Nothing shown here makes a machine safe."
)


def figure_box(name: str, *, height: int | str, caption: str = "") -> html.Figure:
    """Return a graph with what it means in a line, and links to save it."""
    room = height if isinstance(height, str) else f"{height}px"
    saves = [html.Button(kind.upper(), id=f"{name}-{kind}") for kind in ("svg", "png", "csv")]
    return html.Figure(
        [
            dcc.Graph(id=name, config=theme.CONFIG, style={"height": room}, figure=theme.notice("")),
            html.Figcaption([html.Span(caption), html.Span(["Save", *saves], className="take")]),
            dcc.Download(id=f"{name}-file"),
            dcc.Store(id=f"{name}-saved"),
        ]
    )


def register_saving(
    app: Dash, name: str, rows: Callable[..., Mapping[str, Sequence[Any]]], *states: State
) -> None:
    """Wire the three links of a figure; `rows` answers the states with the figure's data."""
    app.clientside_callback(
        ClientsideFunction("cellmon", "save"),
        Output(f"{name}-saved", "data"),
        Input(f"{name}-svg", "n_clicks"),
        Input(f"{name}-png", "n_clicks"),
        State(name, "id"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output(f"{name}-file", "data"), Input(f"{name}-csv", "n_clicks"), *states, prevent_initial_call=True
    )
    def _(clicks: int | None, *values: Any) -> Any:
        return csv_file(name, rows, *values) if clicks else no_update


def csv_file(name: str, rows: Callable[..., Mapping[str, Sequence[Any]]], *values: Any) -> Any:
    """Return a figure's data as a CSV download, or nothing where the cell refuses."""
    try:
        return dcc.send_string(csv_text(rows(*values)), f"{name}.csv")
    except CellmonError:
        return no_update


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


def notice(text: str) -> html.P:
    """Return a refusal or a hint as one sentence."""
    return html.P(text, className="notice", role="status")


def stream_query(stream: Stream, **more: str | None) -> str:
    """Return a stream as the query of a link; `stream_named` reads it back."""
    named = {
        "spindle": stream.spindle,
        "bore": stream.bore,
        "feature": stream.feature,
        "fixture": stream.fixture,
        "part_number": stream.part_number,
        **more,
    }
    return urlencode({key: value for key, value in named.items() if value is not None})


def query_values(query: str | None) -> dict[str, str]:
    """Return the values of a link's query; the last of each name counts."""
    return {key: values[-1] for key, values in parse_qs((query or "").lstrip("?")).items()}


def stream_named(streams: Sequence[Stream], query: str | None) -> Stream:
    """Return the stream that a query names, or the first where it names none.

    Raises
    ------
    NotFound
        When the cell has no stream, or not that one.
    """
    if not streams:
        raise NotFound("No stream has been measured yet.")
    wanted = {k: v for k, v in query_values(query).items() if k in STREAM_KEYS}
    fits = [s for s in streams if all(getattr(s, key) == value for key, value in wanted.items())]
    if not fits:
        raise NotFound(
            "There is no such stream here: " + ", ".join(f"{k} {v}" for k, v in wanted.items()) + "."
        )
    return fits[0]


def stream_options(streams: Sequence[Stream]) -> list[dict[str, str]]:
    """Return streams as choices; the value is the query that names one."""
    several = len({s.part_number for s in streams}) > 1
    return [
        {"label": f"{s.part_number} {s}" if several else str(s), "value": stream_query(s)} for s in streams
    ]


def field(label: str, control: Any, *, wide: bool = False) -> html.Label:
    """Return a control under its name."""
    return html.Label([label, control], className="field wide" if wide else "field")
