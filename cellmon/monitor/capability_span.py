"""Over which time capability is stated where nobody asked for one, and the bores and subgroups in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

import numpy as np

from cellmon import local
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.audited_bores import is_audited
from cellmon.monitor.stream_bores import holds, stream_bores
from cellmon.monitor.view import View
from cellmon.records import Stream, Times, no_rows
from cellmon.sheet import Sheet
from cellmon.shifts import to_utc
from cellmon.store.counts import MadeAtPosition, Position
from cellmon.store.joining import by_stream
from cellmon.words import say, to_say

NEWEST = 6_000
"""Bores of a position in the newest whole shifts that it is stated over: some 1,200 subgroups of five."""
ENOUGH = 1_000
"""Bores of a position in whole shifts from which on the running one is left out: a claim of 1.4 takes 857."""
OLDEST = np.timedelta64(90, "D")
"""How far back bores count unasked: after three months stones, coolant and castings are others."""
LATELY = np.timedelta64(14, "D")
"""So far back it is looked first: what is made most has bores enough in it."""
AT_ONCE = 200_000
"""Bores up to which all positions are read in one go, and kept for the next stream."""
FEW_STREAMS, FEW_UNITS = 12, 48
"""So many streams are read one by one where their time has so few units, which stay unpacked meanwhile."""
TIMES = 8
"""Of so many times bores are carried from state to state: of whole shifts they stay as they are."""


@dataclass(frozen=True, kw_only=True)
class Span:
    """A time in which bores are counted: all up to `end` where there is no start.

    `cut` says that there are others, left out because nobody asked for them.
    """

    start: np.datetime64 | None
    end: np.datetime64
    cut: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Read:
    """The charted bores of all positions in a time, from the blocks they are stored in."""

    stored: tuple[tuple[int, bytes], ...]
    every: Bores
    _of: dict[tuple[str | None, ...], Bores] = field(default_factory=dict)

    def of(self, stream: Stream, sheet: Sheet) -> Bores:
        """Return those of one stream of bores."""
        numbers = sheet.charted_numbers(stream.part_number)
        whose = (stream.spindle, stream.bore, stream.fixture, *numbers)
        if whose not in self._of:
            found = self._at(stream.spindle, stream.bore)
            mine = holds(stream, found, sheet)
            self._of[whose] = found if mine.all() else found.select(mine)
        return self._of[whose]

    def _at(self, spindle: str | None, bore: str | None) -> Bores:
        if (spindle, bore) not in self._of:
            mine = (self.every.bore == bore) & (self.every.spindle == spindle)
            self._of[spindle, bore] = self.every.select(mine)
        return self._of[spindle, bore]


@dataclass(frozen=True, kw_only=True)
class Made:
    """How many units hold bores, and the charted bores of all positions in them."""

    units: int
    bores: int


_NONE: Times = np.zeros(0, dtype="datetime64[us]")


class Spans:
    """The time of every stream: as asked, else the newest whole shifts that hold enough of its bores.

    A position with fewer than `NEWEST` bores in the whole shifts of `OLDEST` is stated over all of them; one
    with fewer than `ENOUGH` over all of that time up to the moment of the view, the running shift too.
    What was asked for is never moved. `streams` says how many will be asked for.
    """

    def __init__(
        self, view: View, since: datetime | None, until: datetime | None, *, streams: int | None = None
    ) -> None:
        self._view = view
        self._one_by_one = streams is not None and streams <= FEW_STREAMS
        self._start = None if since is None else to_utc(since)
        self._end = view.as_of if until is None else to_utc(until)
        self._asked_end = until is not None
        self._of: dict[Position, Span] = {}
        self._full: set[Span] = set()
        self._few: dict[Span, bool] = {}
        self._short: dict[Span, bool] = {}

    def of(self, stream: Stream) -> Span:
        """Return the time of a stream of bores."""
        if self._start is not None:
            return Span(start=self._start, end=self._end)
        if not is_audited(self._view, stream):
            number = self._view.sheet.charted_as(stream.part_number)
            position = (number, stream.spindle, stream.bore)
            if position not in self._of:
                self._of[position] = self._newest(position)
            return self._of[position]
        return self._all

    def bores(self, stream: Stream) -> Bores:
        """Return the charted bores of a stream in its time, as made."""
        span, view = self.of(stream), self._view
        if is_audited(view, stream) or not self._at_once(span):
            return stream_bores(view, stream, span.start, span.end)
        if span not in view.bores_read:
            view.bores_read[span] = self._read(span)
        return view.bores_read[span].of(stream, view.sheet)

    def _read(self, span: Span) -> Read:
        """Return the charted bores in a time; as read before, where they are stored as they were."""
        session = self._view.session
        known: dict[Span, Read] = self._view.carry("bores of times", None, dict)
        stored, before = session.bore_blocks(start=span.start, end=span.end), known.pop(span, None)
        if before is None or before.stored != stored:
            every = session.bores(start=span.start, end=span.end, charted=True)
            before = Read(stored=stored, every=every)
        known[span] = before
        while len(known) > TIMES:
            del known[next(iter(known))]
        return before

    def subgroups(self, stream: Stream) -> Subgroups:
        """Return the undoubted subgroups of a stream in its time, oldest first; of audits there are none."""
        if is_audited(self._view, stream):
            return no_rows(Subgroups)
        span, session = self.of(stream), self._view.session
        if self._is_short(span) or not self._at_once(span):
            return session.subgroups(stream, start=span.start, end=span.end, clean=True)
        read = self._view.subgroups_read
        if span not in read:
            every = session.subgroups(start=span.start, end=span.end, clean=True)
            read[span] = {one: every.select(rows) for one, rows in by_stream(every).items()}
        return read[span].get(stream, no_rows(Subgroups))

    def sentence(self, streams: Iterable[Stream]) -> str | None:
        """Say which bores of some streams are counted, where others are left out unasked."""
        spans = set(map(self.of, streams))
        begun_at = [span.start for span in spans if span.cut and span.start is not None]
        full = [s.start for s in spans & self._full if s.start is not None]
        if full:
            return say(
                "Counted of each position: its newest whole shifts that hold {bores} bores, from {since} on.",
                bores=local.number(NEWEST),
                since=self._said(min(full)),
            )
        if self._whole in spans and not self._asked_end:
            first = self._whole.start or self._view.session.first_unit()
            text = to_say("Counted: the bores from {since} to {until}, without the running shift.")
            return say(text, since=self._said(first), until=self._said(self._running))
        if not begun_at:
            return None
        return say("Counted: the bores from {since} on.", since=self._said(min(begun_at)))

    def _said(self, at: np.datetime64 | None) -> str:
        assert at is not None
        return local.moment(self._view.local(at))

    @cached_property
    def _all(self) -> Span:
        """All bores that count unasked, whatever their number."""
        return self._back_from(self._end, cut=False)

    @cached_property
    def _whole(self) -> Span:
        """All whole shifts that count unasked; up to the moment that was asked for where one was."""
        if self._asked_end:
            return self._all
        return self._back_from(self._running - np.timedelta64(1, "us"), cut=True)

    def _back_from(self, end: np.datetime64, *, cut: bool) -> Span:
        first, oldest = self._view.session.first_unit(), end - OLDEST
        older = first is not None and bool(first < oldest)
        return Span(start=oldest if older else None, end=end, cut=cut or older)

    @cached_property
    def _running(self) -> np.datetime64:
        """When the shift that runs at the end began."""
        found: np.datetime64 = self._view.rules.unit_starts(np.array([self._end]))[0]
        return found

    def _newest(self, position: Position) -> Span:
        """Return the newest whole shifts that hold enough bores of a position, else all that count."""
        held = np.zeros(0, dtype=np.int64)
        for back in (LATELY, OLDEST):
            made = self._made(back).get(position)
            if made is None:
                continue
            start, held = made.start[made.start < self._running], made.bores[made.start < self._running]
            enough = np.flatnonzero(np.cumsum(held) >= NEWEST)
            if len(enough):
                found = Span(start=start[enough[0]], end=self._whole.end, cut=True)
                self._full.add(found)
                return found
        return self._whole if held.sum() >= ENOUGH else self._all

    def _made(self, back: np.timedelta64) -> Mapping[Position, MadeAtPosition]:
        """Return the charted bores of each position by unit, newest first, so far back."""
        read, start = self._view.made_read, self._end - back
        if (start, self._end) not in read:
            read[start, self._end] = self._view.session.made_at_positions(start=start, end=self._end)
        return read[start, self._end]

    def _units(self, span: Span) -> Made:
        """Return what was made in the units of a time, as far back as bores count unasked."""
        since = span.start
        made = self._made(OLDEST if since is None or since < self._end - LATELY else LATELY).values()
        start = np.concatenate([_NONE, *(one.start for one in made)])
        inside = np.ones(len(start), dtype=bool) if since is None else start >= since
        bores = np.concatenate([np.zeros(0), *(one.bores for one in made)])
        return Made(units=len(np.unique(start[inside])), bores=int(bores[inside].sum()))

    def _is_short(self, span: Span) -> bool:
        """Return whether the streams asked for are read one by one: few of them over few units."""
        if span not in self._short:
            self._short[span] = self._one_by_one and 0 < self._units(span).units <= FEW_UNITS
        return self._short[span]

    def _at_once(self, span: Span) -> bool:
        """Return whether all positions are read together: where their bores are not too many."""
        if span not in self._few:
            long = self._start is not None and self._start < self._end - OLDEST
            self._few[span] = not long and self._units(span).bores <= AT_ONCE
        return self._few[span]
