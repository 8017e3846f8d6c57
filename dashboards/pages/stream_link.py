"""What a link to page Stream says: the stream, and the end of the time that is shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import no_update

from cellmon.errors import CellmonError
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

TIME = "until"


def until_of(search: str | None) -> str | None:
    """Return the end of the time that a link names; None for the newest."""
    return parts.query_values(search).get(TIME)


def named_by(search: str | None) -> str | None:
    """Return the stream that a link names, as the choice that would name it; None where it names none."""
    named = {k: v for k, v in parts.query_values(search).items() if k in parts.STREAM_KEYS}
    return urlencode(named) if "feature" in named else None


def link_of(query: str | None, until: str | None, led: Sequence[str | None] | None = None) -> Any:
    """Return the query that brings a person back to this view.

    Nothing new where an address led here (`led`, its stream and time): another step back or forward may have
    been taken meanwhile, which an answer to the one before must not undo.
    """
    if not query or list(led or ()) == [query, until]:
        return no_update
    plain = "&".join(p for p in query.lstrip("?").split("&") if not p.startswith(f"{TIME}="))
    return f"?{plain}" + (f"&{TIME}={until.replace('+', '%2B')}" if until else "")


def linked(monitor: Monitor, search: str | None, query: str | None, until: str | None) -> list[Any]:
    """Return stream and end of time that the address names, each where it is not chosen already, and both.

    Without a name in it the stream stays; a stream that is not here is chosen as None, and the page says so.
    """
    named, end = named_by(search), until_of(search)
    try:
        streams = parts.every_stream(monitor) if named else ()
        stream = parts.stream_query(parts.stream_named(streams, named)) if named else query
    except CellmonError:
        stream = None
    moved = [no_update if stream == query else stream, no_update if end == until else end]
    return [*moved, no_update if moved == [no_update] * 2 else [stream, end]]
