"""What of a call decides which signal it joins: when, what kind of call, and where its bores are honed.

Moments are whole microseconds here, and where the bores of a stream are honed is looked up once: every call
is held against every one of each signal that is not long over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.calls_kept import micros
from cellmon.records import Stream
from cellmon.sheet import Sheet

Place = tuple[str | None, str]
"""A spindle and a bore; a bore that is routed to one spindle has but that place."""


def span(time: np.timedelta64) -> int:
    """Return a length of time in microseconds."""
    return int(time / np.timedelta64(1, "us"))


def bores_of(call: Called, sheet: Sheet) -> set[str]:
    """Return the bores a call tells of."""
    return _bores_of(call.stream, sheet)


def _bores_of(stream: Stream, sheet: Sheet) -> set[str]:
    if stream.bore is not None and stream.part_of == "itself":
        return {stream.bore}
    if stream.spindle is not None and stream.part_of == "itself":
        return {b for s in sheet.spindles if s.id == stream.spindle for b in s.bores}
    return set(sheet.charted_part(stream.part_number).bores)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Where:
    """Where the bores of a stream are honed, those places with all of their spindles, and its part."""

    places: frozenset[Place]
    around: frozenset[Place]
    charted_as: str


class Honed:
    """Where the bores of streams are honed, by one sheet."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._of_spindles = [{(s.id, b) for b in s.bores} for s in sheet.spindles]
        self._known: dict[Stream, _Where] = {}

    def of(self, stream: Stream) -> _Where:
        """Return where they are, looked up once."""
        found = self._known.get(stream)
        if found is None:
            places = self._places(stream)
            around = places.union(*(every for every in self._of_spindles if places & every))
            part = self._sheet.charted_as(stream.part_number)
            found = _Where(places=frozenset(places), around=frozenset(around), charted_as=part)
            self._known[stream] = found
        return found

    def _places(self, stream: Stream) -> set[Place]:
        """Return them; a spindle beside others that hone the same bores makes other blocks than they."""
        spindle, found = stream.spindle, set[Place]()
        itself = spindle is not None and stream.part_of == "itself"
        for bore in _bores_of(stream, self._sheet):
            routed = self._sheet.honed_by(bore)
            if len(routed) < 2:
                found.add((routed[0] if routed else None, bore))
            elif itself or spindle in routed:
                found.add((spindle, bore))
            else:
                found |= {(s, bore) for s in routed}
        return found


@dataclass(kw_only=True, slots=True, eq=False)
class Seen:
    """A call as it is held against others; moments in microseconds."""

    call: Called
    stream: Stream
    feature: str
    family: str
    side: int
    over: bool
    at: int
    last_at: int
    earliest_at: int
    latest_at: int
    change_at: int
    charted_as: str
    places: frozenset[Place]
    around: frozenset[Place]

    @classmethod
    def of(cls, call: Called, honed: Honed) -> Seen:
        """Look at a call."""
        where = honed.of(call.stream)
        return cls(
            call=call,
            stream=call.stream,
            feature=call.stream.feature,
            family=call.family,
            side=call.side,
            over=call.over,
            at=micros(call.at),
            last_at=micros(call.last_at),
            earliest_at=micros(call.earliest_at),
            latest_at=micros(call.latest_at),
            change_at=micros(call.change_at),
            charted_as=where.charted_as,
            places=where.places,
            around=where.around,
        )

    def is_same(self, other: Seen) -> bool:
        """Return whether the same detectors of the same stream called on the same side."""
        alike = self.side == other.side and self.family == other.family
        return alike and self.stream == other.stream
