"""What pages say of the promise of plain limits: how far it is kept, and limits by probability."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import html

from cellmon.errors import CellmonError
from cellmon.monitor.departures import Departure
from cellmon.monitor.trust import StreamTrust
from cellmon.records import Stream
from cellmon.words import say
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def trust_in(monitor: Monitor, stream: Stream) -> StreamTrust | None:
    """Return what the limits of a bore's stream promise; None of means and distances, or where refused."""
    if stream.bore is None or stream.part_of != "itself":
        return None
    try:
        answer = monitor.trust(spindle=stream.spindle, bore=stream.bore, feature=stream.feature)
    except CellmonError:
        return None
    return next((one for one in answer.streams if one.stream == stream), None)


def skew_of(found: StreamTrust | None) -> Departure | None:
    """Return the skewness of a stream, where it has limits by probability."""
    departures = found.departures if found else ()
    return next((d for d in departures if d.name == "skew" and d.upper_um is not None), None)


def promise_words(found: StreamTrust | None) -> list[Any]:
    """Return in words how far plain limits keep their promise; nothing where it is not known."""
    if found is None:
        return []
    said = [html.P(parts.capital(found.sentence), className="aside")]
    if skew_of(found) is not None:
        said.append(html.P(say("Dotted: limits by probability, for the skewness alone."), className="aside"))
    return said
