"""What is known to move a stream between subgroups: offsets, zeroing, temperatures, dressings, changes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
        routed = {s.id: [b for b in s.bores if b in part.bores] for s in sheet.spindles}
        if stream.part_of == "distance":
            mine = stream.spindle or ""
            pooled = _pooled(routed, part.bores, own=(mine, routed.get(mine, [])))
            shares = {name: float(name == mine) - share for name, share in pooled.items()}
            return cls(spindles=shares, gauge=0.0)
        if stream.spindle is None:
            pooled = _pooled(routed, part.bores)
            return cls(spindles=pooled, gauge=1.0, any_spindle=0.0 if pooled else 1.0)
        return cls(spindles={stream.spindle: 1.0}, gauge=1.0)

    def on(self, spindle: str | None) -> float:
        """Return the share of one spindle."""
        return self.spindles.get(spindle or "", self.any_spindle)


def _pooled(
    routed: Mapping[str, Sequence[str]], bores: Sequence[str], *, own: tuple[str, Sequence[str]] = ("", ())
) -> dict[str, float]:
    """Return the share of each spindle in the mean of a block's bores.

    Where several spindles hone a bore, each hones that of as many blocks. In a block of one spindle, `own`
    with its bores, none of these is another's.
    """
    beside = {b: sum(b in of for of in routed.values()) for b in bores}
    found = {}
    for name, of in routed.items():
        each = [1.0 if name == own[0] else 1.0 / beside[b] for b in of if name == own[0] or b not in own[1]]
        found[name] = sum(each) / len(bores)
    return found


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
    shares = [Share.of(stream, sheet) for stream in streams] if len(events) else []
    sized = np.array([stream.feature == SIZE for stream in streams], dtype=bool)
    size = len(now.first)
    steps = _Steps(
        machine=np.zeros(size), by_hand=np.zeros(size), zeroed=np.zeros(size), doubt=np.zeros(size)
    )
    moving = events.select(_moves_size(events) & sized.any())
    if len(moving):
        moving = moving.select(np.argsort(moving.at, kind="stable"))
        weights = _Weights.of(moving, shares, sized, sheet)
        for row, event in _pairs(moving.at, now, before):
            steps.add(row, event, moving, weights.of_pairs(event, column[row]), now, before)
    # a block of offsets holds dressings, and other stones are judged alike
    told = np.array([stream.feature != OFFSETS for stream in streams], dtype=bool)
    known = np.isfinite(now.thermal) & np.isfinite(before.thermal)
    lost = np.isfinite(now.thermal) != np.isfinite(before.thermal)
    fresh = _Breaks(events=events, shares=shares, told=told, column=column, now=now, before=before)
    return Moves(
        machine=steps.machine,
        by_hand=steps.by_hand,
        zeroed=steps.zeroed,
        thermal=np.where(known & sized[column], now.thermal - before.thermal, 0.0),
        doubt=steps.doubt,
        thermal_lost=lost & sized[column],
        dressed=fresh.of((EventKind.STONES_DRESSED,)),
        changed=fresh.of(CHANGES),
    )


def _moves_size(events: Events) -> Flags:
    kinds = (events.event == EventKind.FEED_OFFSET) | (events.event == EventKind.GAUGE_ZEROED)
    found: Flags = kinds & np.isfinite(events.value)
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Weights:
    """How far each of some events moves each stream: by what an event is of, shape (kinds, streams)."""

    kind: Whole
    """What each event is of: a spindle, or the gauge, or another gauge."""
    by_kind: Numbers

    @classmethod
    def of(cls, events: Events, shares: Sequence[Share], sized: Flags, sheet: Sheet) -> _Weights:
        found: dict[tuple[str | None, bool, bool], int] = {}
        kind = np.zeros(len(events), dtype=np.int64)
        for i, (event, spindle, gauge) in enumerate(
            zip(events.event, events.spindle, events.gauge, strict=True)
        ):
            zeroing = event == EventKind.GAUGE_ZEROED
            serves = zeroing and gauge in (None, sheet.measuring.gauge)
            kind[i] = found.setdefault((None if zeroing else spindle, zeroing, serves), len(found))
        by_kind = [
            sized * np.array([share.gauge * serves if zeroing else share.on(spindle) for share in shares])
            for spindle, zeroing, serves in found
        ]
        return cls(kind=kind, by_kind=np.array(by_kind, dtype=np.float64))

    def of_pairs(self, event: Whole, stream: Whole) -> Numbers:
        """Return how far some events move some streams."""
        found: Numbers = self.by_kind[self.kind[event], stream]
        return found


AT_ONCE = 500_000
"""So many pairs of a subgroup and an event are looked at together."""


def _pairs(at: Times, now: Spans, before: Spans) -> Iterator[tuple[Whole, Whole]]:
    """Yield which subgroups events lie beside, as two arrays: neither wholly before both spans nor after.

    All events of a subgroup stand together, in order of time.
    """
    first = np.searchsorted(at, np.minimum(now.first, before.first))
    last = np.searchsorted(at, np.maximum(now.last, before.last))
    rows = np.flatnonzero(last > first)
    many = (last - first)[rows]
    pieces = np.searchsorted(np.cumsum(many), np.arange(AT_ONCE, many.sum(), AT_ONCE))
    for some in np.split(np.arange(len(rows)), np.unique(pieces)):
        row = np.repeat(rows[some], many[some])
        begun = np.repeat(np.cumsum(many[some]) - many[some], many[some])
        yield row, first[row] + np.arange(len(row)) - begun


@dataclass(frozen=True, kw_only=True, eq=False)
class _Steps:
    """What events moved each subgroup by, micrometres, and the variance of it."""

    machine: Numbers
    by_hand: Numbers
    zeroed: Numbers
    doubt: Numbers

    def add(
        self, row: Whole, event: Whole, events: Events, weight: Numbers, now: Spans, before: Spans
    ) -> None:
        """Add what pairs of a subgroup and an event tell."""
        there = weight != 0.0
        row, event = row[there], event[there]
        at = events.at[event]
        done = _done(at, now.select(row)) - _done(at, before.select(row))
        step = weight[there] * events.value[event] * done
        zeroing = (events.event == EventKind.GAUGE_ZEROED)[event]
        machine = (events.by == BY_MACHINE)[event]
        for into, mine in (
            (self.zeroed, zeroing),
            (self.machine, machine & ~zeroing),
            (self.by_hand, ~machine & ~zeroing),
        ):
            into[:] += _sums(step[mine], row[mine], len(into))
        self.doubt[:] += _sums((OFFSET_DOUBT * step[~zeroing]) ** 2, row[~zeroing], len(self.doubt))


def _sums(values: Numbers, row: Whole, rows: int) -> Numbers:
    """Return the sum of some values for each row, added up in their order."""
    return np.asarray(np.bincount(row, weights=values, minlength=rows), dtype=np.float64)


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
        last, before = self.now.last, self.before.last
        known = ~(np.isnat(last) | np.isnat(before))
        for spindle in set(self.events.spindle[mine].tolist()):
            on = self.told & np.array([bool(share.on(spindle)) for share in self.shares], dtype=bool)
            at = np.sort(self.events.at[mine & (self.events.spindle == spindle)])
            between = np.searchsorted(at, last, side="right") > np.searchsorted(at, before, side="right")
            found |= on[self.column] & between & known
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


def _done(at: Times, spans: Spans) -> Numbers:
    """Return the share of each subgroup's bores that were honed after a moment of its own."""
    length = (spans.last - spans.first).astype(np.int64).astype(np.float64)
    after = (spans.last - at).astype(np.int64).astype(np.float64)
    found: Numbers = np.clip(after / np.maximum(length, 1.0), 0.0, 1.0)
    return found
