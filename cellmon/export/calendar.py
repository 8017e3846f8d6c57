"""Dates as a calendar file that any calendar program reads.

References
----------
RFC 5545, Internet Calendaring and Scheduling (iCalendar), sections 3.1 (lines folded at 75 octets, ended by
CR LF), 3.3.5 (UTC date-times), 3.3.11 (escaped text), 3.6.1 (events); from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from cellmon import __version__
from cellmon.export.files import check_name, replacing
from cellmon.local import number
from cellmon.monitor.stone_plan import OrderLine, PlannedChange, StonePlan
from cellmon.words import say

OCTETS = 75
USUAL_MINUTES = 30.0
"""Of a stop whose kinds have no `change_minutes`."""


@dataclass(frozen=True, kw_only=True)
class Event:
    """One entry of a calendar; `key` stays the same when the file is made again, so that it moves."""

    key: str
    starts: datetime
    ends: datetime
    title: str
    words: str


def calendar(events: Sequence[Event], *, name: str, made_at: datetime) -> bytes:
    """Return a calendar file.

    Parameters
    ----------
    events : sequence of Event
    name : str
        Shown by calendar programs.
    made_at : datetime
        Aware; when what it says was known.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:-//cellmon//{__version__}//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"X-WR-CALNAME:{escaped(name)}",
    ]
    for event in events:
        lines += _event(event, made_at)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines).encode()


def _event(event: Event, made_at: datetime) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{sha256(event.key.encode()).hexdigest()[:32]}@cellmon"
    yield f"DTSTAMP:{utc(made_at)}"
    yield f"SEQUENCE:{int(made_at.timestamp()) // 60 % 2**31}"
    yield f"DTSTART:{utc(event.starts)}"
    yield f"DTEND:{utc(event.ends)}"
    yield f"SUMMARY:{escaped(event.title)}"
    yield f"DESCRIPTION:{escaped(event.words)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def utc(at: datetime) -> str:
    """Return a moment as iCalendar writes it.

    >>> utc(datetime(2026, 11, 5, 14, 30, tzinfo=UTC))
    '20261105T143000Z'
    """
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def escaped(words: str) -> str:
    r"""Return text with what iCalendar sets apart escaped.

    >>> print(escaped('S1, S2; all\nof it'))
    S1\, S2\; all\nof it
    """
    for letter in ("\\", ";", ","):
        words = words.replace(letter, f"\\{letter}")
    return words.replace("\r\n", "\\n").replace("\n", "\\n")


def folded(line: str) -> str:
    """Return a line cut into pieces of at most 75 octets, never inside a letter."""
    pieces, room = [""], OCTETS
    for letter in line:
        size = len(letter.encode())
        if size > room:
            pieces.append("")
            room = OCTETS - 1  # the space that begins a continued line
        pieces[-1] += letter
        room -= size
    return "\r\n ".join(pieces)


def plan_events(plan: StonePlan, *, cell: str) -> list[Event]:
    """Return the stops to change stones, and the last moment of every order; one event a stop."""
    found = [_order_event(line, plan, cell) for line in plan.order_list]
    leading = [c for c in plan.changes if c.with_spindle is None]
    for first in leading:
        beside = [c for c in plan.changes if c.with_spindle == first.spindle and c.at == first.at]
        found.append(_stop_event([first, *beside], plan, cell))
    return sorted(found, key=lambda event: event.starts)


def write_plan(plan: StonePlan, path: Path, *, cell: str) -> Path:
    """Write the calendar of a plan, whole or not at all; refusals as of `write_table`."""
    check_name(path, "ics")
    content = calendar(plan_events(plan, cell=cell), name=say("Stones {cell}", cell=cell), made_at=plan.as_of)
    with replacing(path) as beside:
        beside.write_bytes(content)
    return path


def _stop_event(changes: Sequence[PlannedChange], plan: StonePlan, cell: str) -> Event:
    first = changes[0]
    minutes = {kind.kind: kind.change_minutes or USUAL_MINUTES for kind in plan.kinds}
    length = sum(minutes.get(change.kind, USUAL_MINUTES) for change in changes)
    spindles = say(" and ").join(dict.fromkeys(change.spindle for change in changes))
    words = [_change_words(change) for change in changes]
    # a change is the so-and-so-manieth after the set that is fitted, whenever the file is made
    key = "|".join(
        [cell, "change", *(f"{c.spindle} {c.stage} {c.after_set} {c.number}" for c in changes[:1])]
    )
    return Event(
        key=key,
        starts=first.at,
        ends=first.at + timedelta(minutes=length),
        title=say("Change stones on {spindles} ({cell})", spindles=spindles, cell=cell),
        words="\n".join([*words, plan.caution]),
    )


def _change_words(change: PlannedChange) -> str:
    last = say("later than planned") if change.latest is None else f"{change.latest:%Y-%m-%d %H:%M}"
    return say(
        "{spindle} {stage}: {stones} comes off after about {bores} more bores; between {first} and {last} in "
        "9 of 10 cases.",
        spindle=change.spindle,
        stage=change.stage,
        stones=change.stone_set or say("the set fitted then ({kind})", kind=change.kind),
        bores=number(change.bores),
        first=f"{change.earliest:%Y-%m-%d %H:%M}",
        last=last,
    )


def _order_event(line: OrderLine, plan: StonePlan, cell: str) -> Event:
    at = max(line.order_by, plan.as_of)
    by = say(
        "{sets} sets of {kind} by {moment}.",
        sets=line.sets,
        kind=line.kind,
        moment=f"{line.order_by:%Y-%m-%d %H:%M}",
    )
    late = [say("This moment has passed.")] if line.late else []
    return Event(
        key=f"{cell}|order|{line.kind}",
        starts=at,
        ends=at + timedelta(minutes=USUAL_MINUTES),
        title=say("Order {sets} sets {kind} ({cell})", sets=line.sets, kind=line.kind, cell=cell),
        words=f"{' '.join([by, *late])}\n{plan.sentence}",
    )
