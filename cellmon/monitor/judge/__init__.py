"""Judging: from stored rows to bores, subgroups, doubts and signals. The one write path.

`judge` replaces what was derived in the units it is given. Take, correct, adopt and rebuild call it;
nothing that answers does.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from cellmon.judged import Bores, Doubts, StoredReadings
from cellmon.monitor.judge.bores import charted, judged_bores
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.inputs import UNDONE_WITHIN
from cellmon.monitor.judge.limits import renew_provisional
from cellmon.monitor.judge.places import Place
from cellmon.monitor.judge.plans import InTime
from cellmon.monitor.judge.reached import Touched
from cellmon.monitor.judge.signals import announce
from cellmon.monitor.judge.subgroups import count_streams, cut_subgroups
from cellmon.monitor.judge.watching import watch_units
from cellmon.monitor.rules import Rules, SheetInForce, Unit
from cellmon.records import Readings, Stream, Times
from cellmon.store import Session, joined
from cellmon.store.joining import by_stream

MARGIN = np.timedelta64(6, "m")
"""Readings of one bore lie within 3 minutes; so far beyond a unit's edges rows are looked at."""
UNITS_AT_ONCE = 400
RUN_AT_ONCE = 100
"""Units whose rows are derived together: more take no less time each, and more room."""
WATCH_MARGIN = np.timedelta64(2, "D")
CLOCKS_APART = np.timedelta64(1, "D")
"""A bore may seem measured before it was honed, by so much at most."""


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What judging found in the units it was given."""

    bores: int
    doubts: int
    new_signals: int


def judge(
    session: Session,
    rules: Rules,
    units: Sequence[Unit],
    *,
    at: np.datetime64,
    fresh: StoredReadings | None = None,
    fresh_file: int | None = None,
) -> Judged:
    """Derive anew everything in some units.

    Parameters
    ----------
    session : Session
        In a writing transaction; rows and decisions stand, derived tables are replaced here.
    units : sequence of Unit
        In order of time.
    at : datetime64
        The moment kept beside signals that are announced for the first time.
    fresh, fresh_file
        Rows added in this transaction and their file, so that they need not be read back.
    """
    starts = [unit.start for unit in units]
    session.forget_units(starts)
    newest = session.newest_reading()
    bores = doubts = 0
    fresh_cut: dict[np.datetime64, InTime] = {}
    streams: set[Stream] = set()
    for stretch in _stretches(units, session.units_judged(starts[0]) if len(starts) > 1 else ()):
        version = rules.at(stretch[0].start)
        stored = _rows(session, stretch, fresh, fresh_file)
        if stored is None or newest is None:
            continue
        context = Context.of(session, version.sheet, _moments(stored.readings, stretch))
        judged, doubted = _judge_stretch(session, version, stretch, stored, context)
        session.add_bores(judged)
        session.add(doubted)
        cut = cut_subgroups(judged, version.sheet, context, newest=newest, units=stretch)
        session.add_subgroups(cut.alone, cut.together)
        session.add_counts(count_streams(judged, cut.alone, version.sheet))
        in_time = InTime.of(cut.every)
        fresh_cut |= dict(in_time.by_unit())
        streams |= set(in_time.streams)
        bores, doubts = bores + len(judged), doubts + len(doubted)
    raised = raise_signals(session, rules, streams, starts, at=at, fresh=fresh_cut) if starts else 0
    return Judged(bores=bores, doubts=doubts, new_signals=raised)


def raise_signals(
    session: Session,
    rules: Rules,
    streams: Collection[Stream],
    units: Sequence[np.datetime64],
    *,
    at: np.datetime64,
    fresh: Mapping[np.datetime64, InTime] | None = None,
) -> int:
    """Watch some units, and those after them as far as they change; return how many signals are new.

    Where the provisional limits of a stream move, everything from their window on is watched again.
    """
    reach = _renewed(session, rules, streams, since=min(units))
    seen = watch_units(session, rules, since=reach.since, must=[*units, *reach.must], fresh=fresh)
    return announce(session, rules, at=at, touched=Touched(units=(*units, *seen)))


@dataclass(frozen=True, kw_only=True)
class Reach:
    """From where on units are watched again, and those before which that must not end."""

    since: np.datetime64
    must: tuple[np.datetime64, ...] = ()


def _renewed(session: Session, rules: Rules, streams: Collection[Stream], *, since: np.datetime64) -> Reach:
    """Bring provisional limits up to date; return what those that moved change the watch of."""
    before = session.provisional()
    moved = renew_provisional(session, streams, rules, since=since)
    if not moved:
        return Reach(since=since)
    after = session.provisional()
    begins = [before[s].window_from - WATCH_MARGIN for s in moved if s in before]
    begin = min([since, *begins])
    if any(v.sheet.alarms and v.sheet.alarms.rules for v in rules.versions):
        return Reach(since=begin, must=tuple(session.units_judged(begin)))  # rules know no last point
    must: list[np.datetime64] = []
    for known in (before, after):
        whole = {s: known[s].window_to for s in moved if s in known and known[s].learned is not None}
        must += _first_after(session, whole)
    return Reach(since=begin, must=tuple(must))


def _first_after(session: Session, moments: Mapping[Stream, np.datetime64]) -> tuple[np.datetime64, ...]:
    """Return the units in which each of some streams first has a subgroup after a moment of its own.

    The detectors may stand where they stood in every unit before, in which it has none.
    """
    waiting, found = dict(moments), []
    if not waiting:
        return ()
    units = session.units_judged()
    for unit in units[max(int(np.searchsorted(units, min(waiting.values()), side="right")) - 1, 0) :]:
        seen = session.subgroups_of_unit(unit)
        mine = [s for s, rows in by_stream(seen).items() if s in waiting and seen.at[rows].max() > waiting[s]]
        if mine:
            found.append(unit)
        for stream in mine:
            del waiting[stream]
        if not waiting:
            break
    return tuple(found)


def watch_again(
    session: Session,
    rules: Rules,
    since: np.datetime64,
    until: np.datetime64 | None = None,
    *,
    at: np.datetime64,
) -> int:
    """Watch again what limits frozen, or events logged, between two moments may change.

    Without `until` everything from `since` on is; else each stream up to its first subgroup a day after,
    since an offset decides what a later one undoes.
    """
    since = _measured_before(session, since)
    reach = _renewed(session, rules, (), since=since)
    starts = session.units_judged()
    earlier = starts[starts <= reach.since]
    begin = earlier[-1] if len(earlier) else reach.since
    must = starts[starts >= begin]
    if until is not None:
        until = until + UNDONE_WITHIN
        must = must[: int((must <= until).sum()) + 1]
        block = session.watched_before(until)
        known = Place.read(block).streams if block else ()
        reach = replace(reach, must=(*reach.must, *_first_after(session, dict.fromkeys(known, until))))
    seen = watch_units(session, rules, since=begin, must=[*must, *reach.must], fresh=None)
    return announce(session, rules, at=at, touched=Touched(units=seen))


def _measured_before(session: Session, moment: np.datetime64) -> np.datetime64:
    """Return when the first bore was measured that seems to have been honed after a moment."""
    bores = session.bores(start=moment - CLOCKS_APART, end=moment)
    when = bores.measured_at[bores.honed_at > moment]
    found: np.datetime64 = min(moment, *when) if len(when) else moment
    return found


def _judge_stretch(
    session: Session,
    version: SheetInForce,
    stretch: Sequence[Unit],
    stored: StoredReadings,
    context: Context,
) -> tuple[Bores, Doubts]:
    bores, doubts = judged_bores(stored, version, stretch, context)
    return charted(bores, version.sheet, session.charted_elsewhere(bores)), doubts


def _moments(readings: Readings, stretch: Sequence[Unit]) -> Times:
    """Return when bores were honed and measured, and from when to when the units reach."""
    honed = readings.honed_at[~np.isnat(readings.honed_at)]
    ends = np.array([stretch[0].start, stretch[-1].end], dtype="datetime64[us]")
    return np.concatenate([readings.measured_at, honed, ends])


def _rows(
    session: Session, stretch: Sequence[Unit], fresh: StoredReadings | None, fresh_file: int | None
) -> StoredReadings | None:
    start, end = stretch[0].start - MARGIN, stretch[-1].end + MARGIN
    stored = session.readings_between(start, end, not_file=fresh_file)
    if fresh is None:
        return stored
    when = fresh.readings.measured_at
    here = np.flatnonzero((when >= start) & (when < end))
    if not len(here):
        return stored
    together = here[-1] - here[0] == len(here) - 1  # those of a slice are not copied
    new = fresh.select(slice(here[0], here[-1] + 1) if together else here)
    if stored is None:
        return new
    return joined([stored, new])


def _stretches(units: Sequence[Unit], others: Sequence[np.datetime64] | Times) -> Iterator[list[Unit]]:
    """Yield runs of units of one version with none of the others between, a bounded number at a time.

    Each run costs some calls of numpy and of the store, however much it holds: a weekend ends none.
    """
    before = np.searchsorted(np.asarray(others, dtype="datetime64[us]"), [unit.start for unit in units])
    for _, alike in groupby(zip(units, before.tolist(), strict=True), key=lambda of: (of[0].version, of[1])):
        run = [unit for unit, _ in alike]
        for i in range(0, len(run), RUN_AT_ONCE):
            yield run[i : i + RUN_AT_ONCE]


__all__ = ["Judged", "Touched", "announce", "judge", "raise_signals", "watch_again"]
