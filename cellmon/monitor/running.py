"""Which part is running: on a spindle, and in a stream of like parts."""

from __future__ import annotations

from cellmon.judged import Bores
from cellmon.monitor.dressings_seen import NEWEST
from cellmon.monitor.view import View
from cellmon.records import Flags, Stream
from cellmon.sheet import Part


def last_part(view: View, spindle: str | None) -> Part:
    """Return the part a spindle honed last, or without a spindle the cell; the sheet's first before any."""
    if len(view.sheet.parts) == 1:
        return view.sheet.part()
    last = view.session.bores(spindle=spindle, charted=True, last=1, end=view.as_of)
    return view.sheet.charted_part(last.part_number[-1]) if len(last) else view.sheet.part()


def part_of(view: View, stream: Stream) -> Part:
    """Return the part whose limits hold for a stream: of like parts the one made last."""
    parts = view.sheet.charted_parts(stream.part_number)
    if stream.like is None or not parts:
        return view.sheet.charted_part(stream.part_number)
    running = view.running(stream.spindle)
    if running in parts:
        return running
    newest = view.session.subgroups(stream, end=view.as_of, last=1)
    found = view.session.bores(part=newest.last_part[-1], end=view.as_of) if len(newest) else None
    numbers = set(found.part_number.tolist()) if found is not None else set()
    return next((p for p in parts if p.number in numbers), parts[0])


def of_running(view: View, spindle: str | None, bores: Bores) -> Bores:
    """Return which of some bores are of the part that a spindle is running."""
    if len(view.sheet.parts) == 1:
        return bores
    return bores.select(is_of(view.running(spindle).number, bores))


def is_of(number: str, bores: Bores) -> Flags:
    """Return which of some bores are of a part."""
    found: Flags = bores.part_number == number
    return found


def is_running(view: View, stream: Stream, spindle: str) -> bool:
    """Return whether a stream charts the part that a spindle is running."""
    if len(view.sheet.parts) == 1:
        return True
    return view.running(spindle).number in view.sheet.charted_numbers(stream.part_number)


def routed_bores(view: View, spindle: str | None) -> tuple[str, ...]:
    """Return the bores of the part it runs that a spindle is routed to; all where the sheet names none."""
    part = view.running(spindle)
    named = [s for s in view.sheet.spindles if s.id == spindle]
    mine = tuple(b for b in named[0].bores if b in part.bores) if named else part.bores
    return mine or (named[0].bores if named else part.bores)


def recent_bores(view: View, stream: Stream, part: Part) -> Bores:
    """Return the last bores of a stream that are of one part, however long ago it ran."""
    found = view.newest_bores(stream.spindle, stream.bore)
    mine = found.select(is_of(part.number, found))
    if len(mine) or len(view.sheet.parts) == 1:
        return mine
    newest = view.session.subgroups(stream, end=view.as_of, last=max(NEWEST // view.sheet.subgroups.size, 1))
    if not len(newest):
        return mine
    found = view.session.bores(
        start=newest.first_at[0], end=newest.at[-1], spindle=stream.spindle, bore=stream.bore, charted=True
    )
    return found.select(is_of(part.number, found))
