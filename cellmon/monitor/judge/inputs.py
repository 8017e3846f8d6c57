"""What is known to move a stream between subgroups: offsets, zeroing, temperatures, dressings, changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon.drift.columns import Steps
from cellmon.judged import OFFSETS, Subgroups
from cellmon.records import EventKind, Events, Flags, Numbers, Stream, Times, Whole
from cellmon.sheet import Sheet

SIZE = "diameter"
"""The feature that offsets, zeroing and temperatures move."""
OFFSET_DOUBT = 0.15
"""Standard uncertainty of what an offset does, as a share of it."""
THERMAL_DOUBT = 0.5
"""Of a level where temperatures begin or cease to be known, in standard deviations of a bore."""
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
    """Return what moved one stream between subgroups.

    An offset made while a subgroup was honed moves its mean by the share of bores honed after it.
    `events` are those `usual_events` leaves.
    """
    size = len(now.first)
    machine, by_hand, zeroed, doubt = (np.zeros(size) for _ in range(4))
    sized, gauge = stream.feature == SIZE, sheet.measuring.gauge
    share = Share.of(stream, sheet)
    if sized:
        for i in np.flatnonzero(_moves_size(events)):
            zeroing = events.event[i] == EventKind.GAUGE_ZEROED
            if zeroing:
                weight = share.gauge * (events.gauge[i] in (None, gauge))
            else:
                weight = share.on(events.spindle[i])
            if not weight:
                continue
            step = weight * float(events.value[i]) * (_done(events.at[i], now) - _done(events.at[i], before))
            if zeroing:
                zeroed += step
                continue
            (machine if events.by[i] == BY_MACHINE else by_hand)[:] += step
            doubt += (OFFSET_DOUBT * step) ** 2
    told = stream.feature != OFFSETS  # a block of them holds dressings, and other stones are judged alike
    known = np.isfinite(now.thermal) & np.isfinite(before.thermal)
    lost = np.isfinite(now.thermal) != np.isfinite(before.thermal)
    return Moves(
        machine=machine,
        by_hand=by_hand,
        zeroed=zeroed,
        thermal=np.where(known, now.thermal - before.thermal, 0.0) if sized else np.zeros(size),
        doubt=doubt,
        thermal_lost=lost & sized,
        dressed=told & _between(events, share, now, before, (EventKind.STONES_DRESSED,)),
        changed=told & _between(events, share, now, before, CHANGES),
    )


def _moves_size(events: Events) -> Flags:
    kinds = (events.event == EventKind.FEED_OFFSET) | (events.event == EventKind.GAUGE_ZEROED)
    found: Flags = kinds & np.isfinite(events.value)
    return found


def _between(events: Events, share: Share, now: Spans, before: Spans, kinds: Sequence[EventKind]) -> Flags:
    """Return between which subgroups and the one before an event of some kinds lies."""
    found = np.zeros(len(now.last), dtype=bool)
    mine = np.zeros(len(events), dtype=bool)
    for kind in kinds:
        mine |= events.event == kind
    for i in np.flatnonzero(mine):
        if share.on(events.spindle[i]):
            found |= (events.at[i] > before.last) & (events.at[i] <= now.last)
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Column:
    """One stream's subgroups in order, as one column of the watch."""

    rows: Whole
    moves: Moves
    bore_sd: float
    slope: float
    """A bore."""
    spans: Spans
    before: Spans


LONG = 3.0
"""A pause so many times the usual distance of subgroups may have held bores that were not charted."""
MOST_MISSED = 200.0


def _pause_doubt(column: Column, n: Numbers) -> Numbers:
    """Return the variance that bores made but not charted leave, where a stream drifts.

    They may lie before a subgroup, or between its own bores.
    """
    doubt = np.zeros(len(n))
    if not column.slope or not len(n):
        return doubt
    for since, until in ((column.before.first, column.spans.first), (column.spans.first, column.spans.last)):
        apart = (until - since).astype(np.int64).astype(np.float64)
        usual = float(np.median(apart))
        if usual > 0:
            missed = np.where(apart > LONG * usual, np.minimum((apart / usual - 1) * n, MOST_MISSED), 0.0)
            doubt += (column.slope * missed) ** 2
    return doubt


def side_by_side(subgroups: Subgroups, columns: Sequence[Column]) -> Steps:
    """Lay streams side by side, each from its first subgroup on."""
    count = max((len(c.rows) for c in columns), default=0)
    shape = (count, len(columns))
    at = np.zeros(shape, dtype=np.int64)
    numbers: dict[str, Any] = {name: np.full(shape, np.nan) for name in ("mean", "sd", "low", "high")}
    zeros: dict[str, Any] = {name: np.zeros(shape) for name in ("n", "moved", "by_hand", "zeroed", "doubt")}
    flags: dict[str, Any] = {name: np.zeros(shape, dtype=bool) for name in ("dressed", "changed")}
    for c, column in enumerate(columns):
        rows, m, k = column.rows, column.moves, len(column.rows)
        at[:k, c] = subgroups.at[rows].astype(np.int64)
        for name, values in numbers.items():
            values[:k, c] = getattr(subgroups, name)[rows]
        zeros["n"][:k, c] = subgroups.n[rows]
        zeros["moved"][:k, c] = m.machine + m.thermal
        zeros["by_hand"][:k, c], zeros["zeroed"][:k, c] = m.by_hand, m.zeroed
        zeros["doubt"][:k, c] = (
            m.doubt
            + m.thermal_lost * (THERMAL_DOUBT * column.bore_sd) ** 2
            + _pause_doubt(column, subgroups.n[rows].astype(np.float64))
        )
        flags["dressed"][:k, c], flags["changed"][:k, c] = m.dressed, m.changed
    return Steps(at=at, **numbers, **zeros, **flags)
