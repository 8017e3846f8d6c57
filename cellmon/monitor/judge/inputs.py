"""What is known to move a stream between subgroups: offsets, zeroing, temperatures, dressings, changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.judged import OFFSETS, Subgroups
from cellmon.records import EventKind, Events, Flags, Numbers, Stream, Times, Whole
from cellmon.sheet import Sheet

SIZE = "diameter"
"""The feature that offsets, zeroing and temperatures move."""
OFFSET_DOUBT = 0.15
"""Standard uncertainty of what an offset does, as a share of it."""
BY_MACHINE = "machine"
CHANGES = (EventKind.STONES_FITTED, EventKind.SETUP_CHANGED)


@dataclass(frozen=True, kw_only=True)
class Share:
    """How far what happens to each spindle, and to the gauge, moves a stream."""

    spindles: Mapping[str, float]
    gauge: float
    any_spindle: float = 0.0
    """Of a spindle the sheet does not name."""

    @classmethod
    def of(cls, stream: Stream, sheet: Sheet) -> Share:
        """Return the share of one stream."""
        part = sheet.charted_part(stream.part_number)
        many = len(part.bores)
        count = {s.id: sum(b in part.bores for b in s.bores) for s in sheet.spindles}
        pooled = {name: k / many for name, k in count.items()}
        if stream.part_of == "distance":
            mine = stream.spindle or ""
            shares = {name: float(name == mine) - share for name, share in pooled.items()}
            return cls(spindles=shares, gauge=0.0)
        if stream.spindle is None:
            return cls(spindles=pooled, gauge=1.0, any_spindle=0.0 if pooled else 1.0)
        return cls(spindles={stream.spindle: 1.0}, gauge=1.0)

    def on(self, spindle: str | None) -> float:
        """Return the share of one spindle."""
        return self.spindles.get(spindle or "", self.any_spindle)


@dataclass(frozen=True, kw_only=True, eq=False)
class Spans:
    """When the bores of each subgroup were honed, and what temperatures did to it."""

    first: Times
    last: Times
    thermal: Numbers

    @classmethod
    def of(cls, subgroups: Subgroups) -> Spans:
        """Return the spans of some subgroups."""
        return cls(first=subgroups.honed_first, last=subgroups.honed_last, thermal=subgroups.thermal)

    def select(self, rows: Whole) -> Spans:
        """Return some of them."""
        return Spans(first=self.first[rows], last=self.last[rows], thermal=self.thermal[rows])

    def after(self, before: Spans) -> Spans:
        """Return these, one later: the spans of the subgroup before each; `before` is that of the first."""
        return Spans(
            first=np.concatenate((before.first, self.first[:-1])),
            last=np.concatenate((before.last, self.last[:-1])),
            thermal=np.concatenate((before.thermal, self.thermal[:-1])),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Moves:
    """What is known to have happened between each subgroup and the one before; micrometres."""

    machine: Numbers
    by_hand: Numbers
    zeroed: Numbers
    thermal: Numbers
    doubt: Numbers
    """Variance."""
    thermal_lost: Flags
    """Whether temperatures were known of one of both only."""
    dressed: Flags
    changed: Flags


def moves(stream: Stream, now: Spans, before: Spans, events: Events, sheet: Sheet) -> Moves:
    """Return what moved one stream between subgroups, as `moves_of` does."""
    return moves_of([stream], np.zeros(len(now.first), dtype=np.int64), now, before, events, sheet)


def moves_of(
    streams: Sequence[Stream], column: Whole, now: Spans, before: Spans, events: Events, sheet: Sheet
) -> Moves:
    """Return what moved each of some streams between subgroups.

    An offset made while a subgroup was honed moves its mean by the share of bores honed after it.

    Parameters
    ----------
    column : array of int, shape (subgroups,)
        The stream of each subgroup.
    now, before : Spans
        Of each subgroup, and of the one before it in its stream.
    events : Events
        Those `usual_events` leaves.
    """
    size = len(now.first)
    machine, by_hand, zeroed, doubt = (np.zeros(size) for _ in range(4))
    shares = [Share.of(stream, sheet) for stream in streams] if len(events) else []
    sized = np.array([stream.feature == SIZE for stream in streams], dtype=bool)
    begin, end = np.minimum(now.first, before.first), np.maximum(now.last, before.last)
    for i in np.flatnonzero(_moves_size(events) & sized.any()):
        zeroing, at = events.event[i] == EventKind.GAUGE_ZEROED, events.at[i]
        if zeroing:
            serves = events.gauge[i] in (None, sheet.measuring.gauge)
            weights = sized * np.array([share.gauge * serves for share in shares])
        else:
            weights = sized * np.array([share.on(events.spindle[i]) for share in shares])
        if not weights.any():
            continue
        rows = np.flatnonzero((begin <= at) & (end > at))  # others lie before it wholly, or after
        if not len(rows):
            continue
        done = _done(at, now.select(rows)) - _done(at, before.select(rows))
        step = (weights * float(events.value[i]))[column[rows]] * done
        if zeroing:
            zeroed[rows] += step
            continue
        (machine if events.by[i] == BY_MACHINE else by_hand)[rows] += step
        doubt[rows] += (OFFSET_DOUBT * step) ** 2
    # a block of offsets holds dressings, and other stones are judged alike
    told = np.array([stream.feature != OFFSETS for stream in streams], dtype=bool)
    known = np.isfinite(now.thermal) & np.isfinite(before.thermal)
    lost = np.isfinite(now.thermal) != np.isfinite(before.thermal)
    fresh = _Breaks(events=events, shares=shares, told=told, column=column, now=now, before=before)
    return Moves(
        machine=machine,
        by_hand=by_hand,
        zeroed=zeroed,
        thermal=np.where(known & sized[column], now.thermal - before.thermal, 0.0),
        doubt=doubt,
        thermal_lost=lost & sized[column],
        dressed=fresh.of((EventKind.STONES_DRESSED,)),
        changed=fresh.of(CHANGES),
    )


def _moves_size(events: Events) -> Flags:
    kinds = (events.event == EventKind.FEED_OFFSET) | (events.event == EventKind.GAUGE_ZEROED)
    found: Flags = kinds & np.isfinite(events.value)
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Breaks:
    """Between which subgroups and the one before in their streams something happened."""

    events: Events
    shares: Sequence[Share]
    told: Flags
    """Of each stream, whether it is broken by such events at all."""
    column: Whole
    now: Spans
    before: Spans

    def of(self, kinds: Sequence[EventKind]) -> Flags:
        """Say it of events of some kinds."""
        found = np.zeros(len(self.now.last), dtype=bool)
        mine = np.zeros(len(self.events), dtype=bool)
        for kind in kinds:
            mine |= self.events.event == kind
        for i in np.flatnonzero(mine):
            at, spindle = self.events.at[i], self.events.spindle[i]
            on = self.told & np.array([bool(share.on(spindle)) for share in self.shares], dtype=bool)
            found |= on[self.column] & (at > self.before.last) & (at <= self.now.last)
        return found


USUAL_SHARE = 1 / 6
"""Of the tolerance's width: offsets by a person up to here only follow wear."""


def usual_um(sheet: Sheet) -> float:
    """Return up to which size an offset by a person only follows wear, micrometres.

    Of several parts the one with the narrowest tolerance says it: what moves that one is worth a signal.
    """
    sizes = [part.diameter for part in sheet.parts]
    widths = [s.upper_um - s.lower_um for s in sizes if s.lower_um is not None and s.upper_um is not None]
    return USUAL_SHARE * min(widths, default=np.inf)


def usual_events(events: Events, sheet: Sheet) -> Events:
    """Leave out offsets by a person that are larger than `USUAL_SHARE` of the tolerance.

    They are not taken as known, so that what they do is signalled; what undoes one is known.
    """
    return events.select(~unusual(events, usual_um(sheet)))


UNDONE_WITHIN = np.timedelta64(24, "h")


def unusual(events: Events, usual: float) -> Flags:
    """Return which offsets by a person are larger than wear asks for, and undo none such before them."""
    strange = np.zeros(len(events), dtype=bool)
    hand = (events.event == EventKind.FEED_OFFSET) & (events.by != BY_MACHINE)
    for i in np.flatnonzero(hand & (np.abs(np.nan_to_num(events.value)) > usual)):
        earlier = strange & (events.spindle == events.spindle[i]) & (events.at < events.at[i])
        undone = earlier & (events.at >= events.at[i] - UNDONE_WITHIN)
        strange[i] = not (undone & (np.sign(events.value) == -np.sign(events.value[i]))).any()
    return strange


def _done(at: np.datetime64, spans: Spans) -> Numbers:
    """Return the share of each subgroup's bores that were honed after a moment."""
    length = (spans.last - spans.first).astype(np.int64).astype(np.float64)
    after = (spans.last - at).astype(np.int64).astype(np.float64)
    found: Numbers = np.clip(after / np.maximum(length, 1.0), 0.0, 1.0)
    return found
