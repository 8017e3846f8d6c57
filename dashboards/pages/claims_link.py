"""What a link to page Claims says: the stream, and whether the streams of all features are listed."""

from __future__ import annotations

from typing import Any

from dash import no_update

from dashboards.pages import parts

USUAL, EVERY = "diameter", "every"
LISTS = "lists"
"""How a link says that streams of all features are listed, not only those of its stream's."""


def feature_of(search: str | None) -> str:
    """Return the feature that a link names, or that it names all, else the usual one."""
    asked = parts.query_values(search)
    return EVERY if asked.get(LISTS) == EVERY else asked.get("feature", USUAL)


def link_of(feature: str | None, query: str | None, search: str | None) -> Any:
    """Return the query of a link to what is chosen; nothing new where it stands so, or is not chosen yet."""
    if not query or feature not in (EVERY, parts.query_values(query).get("feature")):
        return no_update
    link = f"?{query}&{LISTS}={EVERY}" if feature == EVERY else f"?{query}"
    return no_update if link == search else link
