"""Judging: from stored rows to bores, subgroups, doubts and signals. The one write path.

`judge` replaces what was derived in the units it is given. Take, correct, adopt and rebuild call it;
nothing that answers does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.judged import Bores, Doubts, StoredReadings, Subgroups
from cellmon.monitor.judge.bores import charted, judged_bores
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.signals import raise_signals
from cellmon.monitor.judge.subgroups import count_streams, cut_subgroups
from cellmon.monitor.rules import Rules, SheetInForce, Unit
from cellmon.records import Readings, Times, no_rows
from cellmon.store import Session, joined

MARGIN = np.timedelta64(6, "m")
"""Readings of one bore lie within 3 minutes; so far beyond a unit's edges rows are looked at."""
UNITS_AT_ONCE = 400


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
    cut = [no_rows(Subgroups)]
    for stretch in _stretches(units):
        version = rules.at(stretch[0].start)
        stored = _rows(session, stretch, fresh, fresh_file)
        if stored is None or newest is None:
            continue
        context = Context.of(session, version.sheet, _moments(stored.readings))
        judged, doubted = _judge_stretch(session, version, stretch, stored, context)
        session.add_bores(judged)
        session.add(doubted)
        subgroups = cut_subgroups(judged, version.sheet, context, newest=newest, units=stretch)
        session.add_subgroups(subgroups)
        session.add_counts(count_streams(judged, subgroups))
        cut.append(subgroups)
        bores, doubts = bores + len(judged), doubts + len(doubted)
    raised = raise_signals(session, Subgroups.concat(cut), starts, at=at) if starts else 0
    return Judged(bores=bores, doubts=doubts, new_signals=raised)


def _judge_stretch(
    session: Session,
    version: SheetInForce,
    stretch: Sequence[Unit],
    stored: StoredReadings,
    context: Context,
) -> tuple[Bores, Doubts]:
    bores, doubts = judged_bores(stored, version, stretch, context)
    return charted(bores, version.sheet, session.charted_elsewhere(bores)), doubts


def _moments(readings: Readings) -> Times:
    honed = readings.honed_at[~np.isnat(readings.honed_at)]
    return np.concatenate([readings.measured_at, honed])


def _rows(
    session: Session, stretch: Sequence[Unit], fresh: StoredReadings | None, fresh_file: int | None
) -> StoredReadings | None:
    start, end = stretch[0].start - MARGIN, stretch[-1].end + MARGIN
    stored = session.readings_between(start, end, not_file=fresh_file)
    if fresh is None:
        return stored
    when = fresh.readings.measured_at
    here = (when >= start) & (when < end)
    if not here.any():
        return stored
    new = StoredReadings(readings=fresh.readings.select(here), late=fresh.late[here])
    if stored is None:
        return new
    return joined([stored, new])


def _stretches(units: Sequence[Unit]) -> Iterator[list[Unit]]:
    """Yield runs of units that follow one another under one version, a bounded number at a time."""
    run: list[Unit] = []
    for unit in units:
        follows = run and run[-1].end == unit.start and run[-1].version == unit.version
        if run and (not follows or len(run) >= UNITS_AT_ONCE):
            yield run
            run = []
        run.append(unit)
    if run:
        yield run
