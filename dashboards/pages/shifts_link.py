"""What a link to page Shifts says: the shift, and stream and span where a person chose them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import no_update

from cellmon.errors import NotFound
from cellmon.records import Stream
from dashboards.pages import parts

WEEK, SPAN, SHIFT = "week", "span", "shift"


def stream_of(streams: Sequence[Stream], search: str | None) -> str | None:
    """Return the stream that a link names, as a choice holds it; None where it names none of these."""
    asked = parts.query_values(search)
    if "feature" not in asked:
        return None
    try:
        return parts.stream_query(parts.stream_named(streams, search))
    except NotFound:
        return None


def span_of(search: str | None, known: Sequence[str], *, otherwise: str = WEEK) -> str:
    """Return the span that a link names, else the usual one, or another."""
    asked = parts.query_values(search).get(SPAN, otherwise)
    return asked if asked in known else otherwise


def link_of(
    shift: str | None,
    options: Sequence[Mapping[str, Any]] | None,
    search: str | None,
    *,
    stream: str | None = None,
    usual: str | None = None,
    span: str = WEEK,
) -> Any:
    """Return the query of a link to what is chosen.

    What the page chooses by itself is named once another was; `usual` is the stream that it chooses.
    """
    if not shift:
        return no_update
    asked = parts.query_values(search)
    newest = options[0]["value"] if options else shift
    named: dict[str, str] = {}
    if SHIFT in asked or shift != newest:
        named[SHIFT] = shift
    if stream and ("feature" in asked or stream != usual):
        named |= parts.query_values(stream)
    if SPAN in asked or span != WEEK:
        named[SPAN] = span
    return no_update if named == asked or not named else f"?{urlencode(named)}"
