"""What pages share: figures that can be taken away, notices, and how a stream is named in a link."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlencode
from zoneinfo import ZoneInfo

from dash import ClientsideFunction, Dash, Input, Output, ctx, dcc, html, no_update

from cellmon import local
from cellmon.errors import CellmonError, NotFound
from cellmon.records import Stream, stream_names
from cellmon.words import say, say_many, to_say
from dashboards import theme

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

CHANGE = "change"
AS_OF = "as-of"
"""The moment up to which everything shown holds, at the head of every page."""
URL = "url"
STREAM_KEYS = ("spindle", "bore", "feature", "fixture", "part_number", "part_of")
ALL = "all"
"""How a link names what is not one spindle or bore but the mean of all."""
CAUTION = to_say(
    "The machine maker's manual, the site's procedures, local law and codes, and qualified people come "
    "first. If unsure, stop. Nothing shown here makes a machine safe."
)


def lead(name: str) -> html.P:
    """Return the sentence a page begins with, read out when it changes."""
    return html.P(id=name, className="lead", **{"aria-live": "polite"})


def figure_box(name: str, *, height: int | str, caption: str = "", told_by: str = "") -> html.Figure:
    """Return a graph with what it means in a line, links to save it and its data as a table on demand.

    A screen reader takes it as one picture, told by the caption and by the page's words of that name.
    """
    room = height if isinstance(height, str) else f"{height}px"
    saves = [html.Button(kind.upper(), id=f"{name}-{kind}") for kind in ("svg", "png", "csv")]
    closed = {"aria-controls": f"{name}-data", "aria-expanded": "false"}
    as_table = html.Button(say("Table"), id=f"{name}-table", **closed)
    graph = dcc.Graph(
        id=name,
        config=theme.CONFIG,
        style={"height": room},
        figure=theme.notice(""),
    )
    said = html.Span(caption or say("A drawing; the button Table shows its data."), id=f"{name}-caption")
    said.className = None if caption else "unseen"
    return html.Figure(
        [
            picture(graph, told_by=f"{told_by} {name}-caption".strip()),
            html.Figcaption([said, html.Span([html.Span(say("Save")), *saves, as_table], className="take")]),
            why_not(name),
            html.Div(id=f"{name}-data", className="data"),
            dcc.Download(id=f"{name}-file"),
            dcc.Store(id=f"{name}-saved"),
            dcc.Store(id=f"{name}-wanted"),
        ]
    )


def why_not(name: str) -> html.Span:
    """Return where it is said, beside the buttons of that name, why there is no file."""
    return html.Span(id=f"{name}-why-not", role="status", className="aside")


def picture(graph: dcc.Graph, *, told_by: str) -> html.Div:
    """Return a graph as one picture, named by the words of these ids; its buttons stay within reach."""
    picture_of = html.Div(role="img", className="unseen", **{"aria-labelledby": told_by})
    keys = {"data-keys": say("Keys: ← → move, + − zoom, 0 shows all")}
    return html.Div([picture_of, graph], className="picture", **keys)


def across(table: Any, says: str | None = None) -> html.Div:
    """Return a table in a box of its own, which scrolls sideways by finger and by key."""
    named = {"aria-label": says or say("Table")}
    return html.Div(table, className="across", role="group", tabIndex="0", **named)


HIDDEN = {"visibility": "hidden", "height": "0", "overflow": "hidden"}
"""How a figure is kept out of sight: it keeps its width for the drawing."""


def notice(text: str) -> html.P:
    """Return a refusal or a hint as one sentence."""
    return html.P(text, className="notice", role="status")


@lru_cache(maxsize=1024)
def stream_query(stream: Stream, **more: str | None) -> str:
    """Return a stream as the query of a link; `stream_named` reads it back."""
    named = {**names_of(stream), **more}
    named |= {key: ALL for key in ("spindle", "bore") if named[key] is None}
    return urlencode({key: value for key, value in named.items() if value is not None})


def names_of(stream: Stream) -> dict[str, str | None]:
    """Return the names by which the monitor is asked for a stream."""
    named = {key: getattr(stream, key) for key in STREAM_KEYS}
    return {key: name for key, name in named.items() if (key, name) != ("part_of", "itself")}


def every_stream(monitor: Monitor) -> tuple[Stream, ...]:
    """Return the streams of the bores, and after them the means over bores and the distances from them."""
    return (*monitor.streams(), *monitor.pooled())


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
        raise NotFound(say("No stream has been measured yet."))
    wanted = {k: v for k, v in query_values(query).items() if k in STREAM_KEYS}
    fits = [s for s in streams if all(_is_named(s, key, value) for key, value in wanted.items())]
    if not fits:
        names = ", ".join(f"{key} {value}" for key, value in wanted.items())
        raise NotFound(say("There is no such stream here: {names}.", names=names))
    return fits[0]


def _is_named(stream: Stream, key: str, value: str) -> bool:
    found: str | None = getattr(stream, key)
    return found == value or (found is None and value == ALL)


def stream_options(streams: Sequence[Stream]) -> list[dict[str, str]]:
    """Return streams as choices; the value is the query that names one."""
    return [
        {"label": name, "value": stream_query(s)}
        for s, name in zip(streams, stream_names(streams), strict=True)
    ]


def zone_of(monitor: Monitor) -> ZoneInfo:
    """Return the cell's time zone."""
    return ZoneInfo(monitor.sheet.cell.timezone)


def capital(text: str) -> str:
    """Return words that begin a line."""
    return text[:1].upper() + text[1:]


def when(moment: datetime) -> str:
    """Return a moment as people write it: Thu 22 Oct 18:02."""
    return local.moment(moment)


def between(first: datetime, last: datetime) -> str:
    """Return a range of moments, the day once where it is the same."""
    end = local.clock(last) if first.date() == last.date() else when(last)
    return say("{first} to {last}", first=when(first), last=end)


def age(seconds: float) -> str:
    """Return how long ago, in the two largest units that matter."""
    minutes = round(seconds / 60)
    hours, days = minutes // 60, minutes // 1440
    if days:
        return say_many("{count} day {hours} h", "{count} days {hours} h", days, hours=hours % 24)
    if hours:
        return say("{hours} h {minutes} min", hours=hours, minutes=minutes % 60)
    return say("{minutes} min", minutes=minutes)


def moved(monitor: Monitor, before: int | None) -> Any:
    """Return the number of the newest commit where something was committed, else nothing new.

    A store that went away after a press was done says nothing new: the page still hears that it was done.
    """
    try:
        current = monitor.last_change()
    except CellmonError:
        return no_update
    return no_update if current == before else current


def pressed() -> Any:
    """Return the name of what was pressed, inside a callback."""
    return ctx.triggered_id


def dropdown(name: str, **more: Any) -> dcc.Dropdown:
    """Return a choice out of a list, with the words that its search has."""
    labels = {
        "search": say("Search"),
        "clear_search": say("Clear search"),
        "clear_selection": say("Clear selection"),
        "no_options_found": say("No options found"),
    }
    return dcc.Dropdown(id=name, labels=labels, **more)


def folded(children: list[Any], name: str, *, opened: bool = False) -> html.Details:
    """Return what folds away and comes with an answer: as a person leaves it, it comes again (`folds.js`)."""
    return html.Details(children, open=opened, **{"data-fold": name})


def asked_open(name: str, summary: str, children: list[Any], **more: Any) -> html.Details:
    """Return a closed fold whose content is asked for while it is open, which `wanted` tells."""
    tells = [dcc.Store(id=name, data=False), dcc.Store(id=f"{name}-wanted")]
    return html.Details([html.Summary(summary), *tells, *children], **{"data-tells": name}, **more)


def wanted(app: Dash, name: str, opens: Input, *moves: Input) -> Input:
    """Return what has the content of a fold asked for: it moves as that opens and, while open, with facts.

    The browser decides it, so what is closed costs the server nothing. `opens` tells whether it is open:
    true or false, or how often its button was pressed. `moves` are what else its content follows.
    """
    app.clientside_callback(
        ClientsideFunction("cellmon", "wanted"),
        Output(f"{name}-wanted", "data"),
        opens,
        Input(CHANGE, "data"),
        *moves,
        prevent_initial_call=True,
    )
    return Input(f"{name}-wanted", "data")


def field(label: str, control: Any, *, wide: bool = False) -> html.Label | html.Fieldset:
    """Return a control under its name; several controls in one are a group of that name."""
    named = "field wide" if wide else "field"
    if isinstance(control, (dcc.RadioItems, dcc.Checklist)):
        return html.Fieldset([html.Legend(label), control], className=named)
    name = html.Span(label, id=f"{control.id}-name") if isinstance(control, dcc.Dropdown) else label
    return html.Label([name, control], className=named)
