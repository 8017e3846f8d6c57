"""What a click on a point opens: the bore behind it at its raw readings, or a stream at a moment.

A trace names the page and all of its query but the last value, each point gives that value;
`assets/opens.js` puts them together.
"""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlencode

from cellmon.words import say
from dashboards import theme

PART = "/part"
STREAM = "/stream"


def opens_bore(trace: theme.Trace, parts: Iterable[str], bore: str | None) -> theme.Trace:
    """Return a trace whose points open the page of their blocks, at one bore where it is known."""
    query = f"{urlencode({'bore': bore})}&" if bore else ""
    return {**trace, "customdata": [str(p) for p in parts], "meta": {"opens": f"{PART}?{query}serial="}}


def opens_stream(trace: theme.Trace, query: str, until: Iterable[str]) -> theme.Trace:
    """Return a trace whose points open the stream of a query, shown until their moments."""
    return {**trace, "customdata": list(until), "meta": {"opens": stream_until(query)}}


def stream_until(query: str) -> str:
    """Return the address of a stream of a query, but for the moment until which it is shown."""
    return f"{STREAM}?{query}&until="


def opens_links(trace: theme.Trace, links: Iterable[str]) -> theme.Trace:
    """Return a trace whose points each open an address of their own."""
    return {**trace, "customdata": list(links), "meta": {"opens": "/"}}


def stones_line(stone_set: str | None) -> str:
    """Return the line that tells the stones of a point on hover; empty where none are known."""
    return "<br>" + say("stones {set}", set=stone_set) if stone_set else ""
