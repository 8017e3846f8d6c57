"""What every answer is made from: one state of the store, the sheets that judge, and the moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from cellmon.gauge.decision import guard_factor
from cellmon.judged import FEATURE_COLUMNS, PROCESS, Subgroups
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.dressings_seen import DressingsSeen
from cellmon.monitor.judge.verdict import standard_uncertainty
from cellmon.records import Events, GaugeChecks, Kind, Stream
from cellmon.sheet import Part
from cellmon.store import Decision
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.diagnosis import Table
    from cellmon.monitor.capability_span import Read, Span
    from cellmon.monitor.forecast import BoresLeft, Reach, Standing
    from cellmon.monitor.judge.audits import AuditSeries
    from cellmon.monitor.judge.naming import Named
    from cellmon.monitor.judge.places import Place
    from cellmon.monitor.limits_age import Declared
    from cellmon.monitor.shifts_known import ShiftsKnown
    from cellmon.monitor.signal_register import Aged, Register
    from cellmon.monitor.signals import Signal
    from cellmon.store.counts import MadeAtPosition, Position

RECENT = np.timedelta64(40, "D")
"""Events and gauge checks of so long are read at once: past dressings, and what was known around them."""
AROUND = np.timedelta64(7, "D")
"""So much more is read on either side of a time longer ago."""


@dataclass(frozen=True, kw_only=True)
class View(DressingsSeen):
    """A state of the store, and what answers work out of it: once, for all questions of that state."""

    @property
    def by_hand_until(self) -> np.datetime64:
        """The newest round of a bore in the hand, which moves no machine's moment; in the past that."""
        newest = None if self.past else self.session.newest_of(Kind.SIZING)
        return self.as_of if newest is None else max(self.as_of, newest)

    @cached_property
    def register(self) -> Register:
        """Every signal in its order, without causes and ages."""
        from cellmon.monitor.signals_carried import register

        return register(self)

    @cached_property
    def answers(self) -> Mapping[str, Decision]:
        """The last answer to each signal."""
        from cellmon.monitor.signals_told import answers_given

        return answers_given(self)

    def aged(self, pile: Sequence[Signal]) -> Aged:
        """Return signals of the register at their ages now, newest first."""
        from cellmon.monitor.signal_register import Aged

        return Aged(pile, self.as_of)

    @cached_property
    def signals(self) -> Aged:
        """Every signal that stands, newest first, without causes."""
        return self.aged(self.register.pile("standing"))

    @cached_property
    def waiting(self) -> Aged:
        """Those that wait for an answer."""
        return self.aged(self.register.pile("wait"))

    @cached_property
    def every_signal(self) -> Aged:
        """Every signal that stands and all that was withdrawn, newest first: a page asks several times."""
        return self.aged(self.register.pile("every"))

    def signals_between(self, stream: Stream, start: np.datetime64, end: np.datetime64) -> Aged:
        """Return the signals of a stream that stand and lasted into a time, newest first, without causes."""
        every, (since, until) = (
            self.register.of_stream(stream),
            np.array([start, end], "M8[us]").astype(np.int64).tolist(),
        )
        return self.aged([s for s in every if s.last_us >= since and s.raised_us <= until])

    def signals_since(self, start: np.datetime64 | None) -> tuple[Signal, ...]:
        """Return the signals raised from a moment on that stand, newest first, without causes."""
        from cellmon.monitor.signals_carried import signals_since

        if start not in self._since:
            self._since[start] = signals_since(self, start)
        return self._since[start]

    @cached_property
    def _since(self) -> dict[np.datetime64 | None, tuple[Signal, ...]]:
        return {}

    @cached_property
    def named(self) -> Named | None:
        """All signals put together from every call; None where those that are kept hold."""
        from cellmon.monitor.signals_told import named

        return named(self)

    @cached_property
    def place(self) -> Place | None:
        """Where every detector stands at the moment of the view."""
        from cellmon.monitor.forecast import place_now

        return place_now(self)

    def standing(self, stream: Stream) -> Standing | None:
        """Where one stream's level and slope stand; None where it is not watched."""
        from cellmon.monitor.forecast import standing

        if stream not in self._standing:
            self._standing[stream] = standing(self, stream, self.baseline(stream))
        return self._standing[stream]

    def reach(self, stream: Stream) -> Reach:
        """How far the least and greatest readings of a stream's bores lie from the figure charted."""
        from cellmon.monitor.forecast import reach_of

        if stream not in self._reach:
            self._reach[stream] = reach_of(self, stream)
        return self._reach[stream]

    def bores_left(self, stream: Stream) -> BoresLeft | None:
        """How many bores of a stream are left to a tolerance limit; None where no drift shows."""
        from cellmon.monitor.forecast import bores_left

        if stream not in self._left:
            self._left[stream] = bores_left(self, stream, self.standing(stream))
        return self._left[stream]

    def logged(self, start: np.datetime64, end: np.datetime64) -> Events:
        """Return the events in [start, end), oldest first; those of the last weeks are read once."""
        found: Events = self._between(Kind.EVENTS, start, end)
        return found

    def checked(self, start: np.datetime64, end: np.datetime64) -> GaugeChecks:
        """Return the gauge checks in [start, end), oldest first; those of the last weeks are read once."""
        found: GaugeChecks = self._between(Kind.GAUGE_CHECKS, start, end)
        return found

    def _between(self, kind: Kind, start: np.datetime64, end: np.datetime64) -> Any:
        if kind not in self._recent:
            self._recent[kind] = self._recent_of(kind)
        since, found = self._recent[kind]
        if start < since:
            found = self._older(kind, start, end)
        inside = np.searchsorted(found.at, np.array([start, end], dtype=found.at.dtype))
        return found.select(slice(*inside))

    def _older(self, kind: Kind, start: np.datetime64, end: np.datetime64) -> Any:
        """Return rows of a time begun before the last weeks, and some about it: the next are near."""
        if kind not in self._longer:
            self._longer[kind] = self.carry(f"older {kind}", self.newest_row_of(kind), dict)
        read = self._longer[kind]
        known = read.get("rows")
        if known is None or start < known[0] or end > known[1]:
            begin, until = start - AROUND, end + AROUND
            known = read["rows"] = begin, until, self.session.rows(kind, start=begin, end=until)
        return known[2]

    @cached_property
    def _longer(self) -> dict[Kind, dict[str, tuple[np.datetime64, np.datetime64, Any]]]:
        return {}

    @cached_property
    def _recent(self) -> dict[Kind, tuple[np.datetime64, Any]]:
        return {}

    def _recent_of(self, kind: Kind) -> tuple[np.datetime64, Any]:
        since, name = self.as_of - RECENT, f"recent {kind}"

        def read() -> tuple[np.datetime64, Any]:
            return since, self.session.rows(kind, start=since)

        # of a moment long past too: then what was read last begins too late
        late = name in self.carried and self.carried[name][1][0] > since
        return self.carry(name, (self.newest_row_of(kind), since if late else None), read)

    @cached_property
    def shifts_made(self) -> ShiftsKnown:
        """The shifts in which bores were made, oldest first."""
        from cellmon.monitor.shifts import known_shifts

        return known_shifts(self)

    @cached_property
    def latest_events(self) -> Events:
        """The last event of each kind, spindle and gauge up to the moment of the view."""
        found: Events = self.session.latest_events(self.as_of + np.timedelta64(1, "us"))
        return found

    @cached_property
    def bores_read(self) -> dict[Span, Read]:
        """The charted bores of all positions in times that were asked for."""
        return {}

    @cached_property
    def made_read(self) -> dict[tuple[np.datetime64, np.datetime64], Mapping[Position, MadeAtPosition]]:
        """The charted bores of each position by unit, newest first, between two moments."""
        return {}

    @cached_property
    def subgroups_read(self) -> dict[Span, Mapping[Stream, Subgroups]]:
        """The undoubted subgroups of every stream in times that were asked for."""
        return {}

    @cached_property
    def declared(self) -> Declared:
        """What was logged since the oldest frozen limits, for whether they are older than a change."""
        from cellmon.monitor.limits_age import declared

        return declared(self)

    @cached_property
    def _standing(self) -> dict[Stream, Standing | None]:
        return {}

    @cached_property
    def _reach(self) -> dict[Stream, Reach]:
        return {}

    @cached_property
    def _left(self) -> dict[Stream, BoresLeft | None]:
        return {}

    @cached_property
    def causes(self) -> Table:
        """The table of causes: the packaged one, or with the site's own laid over it."""
        from cellmon.diagnosis import packaged_table

        return self.own_causes or packaged_table()

    @cached_property
    def audited(self) -> Mapping[Stream, AuditSeries]:
        """The series of every feature that another instrument measures, up to the moment of the view."""
        from cellmon.monitor.judge.audits import audit_series
        from cellmon.monitor.judge.told import AUDITED, rows_of_audits
        from cellmon.monitor.judge.traced import audited_rows

        def read() -> dict[Stream, AuditSeries]:
            rows = audited_rows(self.session, end=self.as_of + np.timedelta64(1, "us")).rows
            return {series.stream: series for series in audit_series(rows, self.sheet)}

        newest = rows_of_audits(self.session)
        ahead = any(at is not None and at > self.as_of for at in map(self.session.newest_of, AUDITED))
        rests_on = (newest, self.rules.now.version, self.as_of if ahead else None)
        return self.carry("audited", rests_on, read)

    def running(self, spindle: str | None) -> Part:
        """Return the part a spindle honed last, or the cell without one; the sheet's first before any."""
        from cellmon.monitor.running import last_part

        if spindle not in self._running:
            self._running[spindle] = last_part(self, spindle)
        return self._running[spindle]

    @cached_property
    def _running(self) -> dict[str | None, Part]:
        return {}

    def part_of(self, stream: Stream) -> Part:
        """Return the part whose limits hold for a stream: of like parts the one running now."""
        from cellmon.monitor.running import part_of

        if stream not in self._part_of:
            self._part_of[stream] = part_of(self, stream)
        return self._part_of[stream]

    @cached_property
    def _part_of(self) -> dict[Stream, Part]:
        return {}

    def tolerance(self, stream: Stream) -> Tolerance:
        """Return the limits of a stream's feature and the guard band at each."""
        feature = self.part_of(stream).feature(stream.feature)
        if feature is None:
            return Tolerance(lower_um=None, upper_um=None, target_um=None, guard_um=None)
        guard = None
        if self.sheet.decision.rule == "guarded" and stream.feature in ("diameter", *FEATURE_COLUMNS):
            u = standard_uncertainty(self.sheet, stream.feature)
            guard = guard_factor(self.sheet.decision.conformance) * u
        return Tolerance(
            lower_um=feature.lower_um,
            upper_um=feature.upper_um,
            target_um=feature.target_um,
            guard_um=guard,
        )

    def unit(self, stream: Stream) -> str:
        """Return the unit in which a stream's figures stand."""
        named = getattr(self.part_of(stream).feature(stream.feature), "unit", None)
        found = PROCESS.get(stream.feature)
        return say(found) if found else (named if named and named != "um" else "µm")
