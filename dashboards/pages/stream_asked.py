"""Which stream, over which time: what page Stream asks, and where its steps lead."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from dash import no_update

from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.joint import Joint
from cellmon.monitor.stream import StreamView
from cellmon.words import say
from dashboards.pages import by_hand, parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

SPANS = {"shift": 8, "day": 24, "two": 48, "week": 168, "all": None}
"""Hours that are shown; None: all."""


def view_of(monitor: Monitor, query: str | None, span: str, until: str | None) -> StreamView:
    """Return the stream a query names, over the time that is wanted; refusals as `asked_for`."""
    return monitor.stream(**asked_for(monitor, query, span, until))


def joint_asked(monitor: Monitor, *asked: Any) -> Joint:
    """Return the features together of the bore whose stream is asked for; refusals as `asked_for`.

    Raises
    ------
    CellmonError
        When the stream is a mean or a distance, or its features cannot be judged together.
    """
    wanted = asked_for(monitor, *asked)
    if wanted["bore"] is None or "part_of" in wanted:
        raise WrongUsage(say("Features are judged together on one bore: choose a stream of a bore."))
    names = ("spindle", "bore", "part_number", "since", "until")
    return monitor.joint(**{name: wanted[name] for name in names})


def asked_for(monitor: Monitor, query: str | None, span: str, until: str | None) -> dict[str, Any]:
    """Return the names of the stream a query names, and the time that is wanted.

    Raises
    ------
    CellmonError
        When there is no such stream, or the time is not a time.
    """
    stream = parts.stream_named(parts.every_stream(monitor), query)
    hours = SPANS.get(span, 48)
    named = parts.names_of(stream)
    end = moment(until) if until else monitor.waiting_signals().as_of + timedelta(seconds=1)
    since = end - timedelta(hours=hours) if hours else first_shift(monitor, end)
    return {**named, "since": since, "until": end}


def time_by_hand(monitor: Monitor, span: str, until: str | None) -> tuple[datetime, datetime | None]:
    """Return the time in which bores finished by hand are shown: as the drawing's, whatever the stream.

    Where the link names no time, none: the page says so of its drawing.
    """
    try:
        end = moment(until) if until else None
    except WrongUsage:
        return by_hand.EVER, by_hand.EVER
    hours = SPANS.get(span, 48)
    newest = end or monitor.waiting_signals().as_of
    return newest - timedelta(hours=hours) if hours else by_hand.EVER, end


def first_shift(monitor: Monitor, end: datetime) -> datetime:
    """Return the start of the first shift that has bores; the end itself where none has."""
    known = monitor.shifts_made().known
    return known[0].starts if known else end


def moment(text: str) -> datetime:
    """Return a time from a link, or refuse it."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise WrongUsage(
            say("{text} is not a time such as 2026-10-21T22:00:00+02:00.", text=repr(text))
        ) from None
    if found.tzinfo is None:
        raise WrongUsage(say("{text} lacks its offset from UTC, such as +02:00.", text=repr(text)))
    return found


def step_until(monitor: Monitor, span: str, until: str | None, *, back: bool) -> Any:
    """Return the new end of the time shown, half a span earlier or later; never past the newest row."""
    hours = SPANS.get(span, 48)
    if hours is None:
        return no_update
    try:
        newest = monitor.waiting_signals().as_of
        end = moment(until) if until else newest
    except CellmonError:
        return None
    moved = end + timedelta(hours=-hours / 2 if back else hours / 2)
    return None if moved >= newest else moved.isoformat()
