"""Which moments new facts may change the judgement of."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cellmon.judged import StoredReadings
from cellmon.monitor.rules import Rules
from cellmon.records import Batch, EventKind, Events, GaugeChecks, Kind, Readings, Times
from cellmon.store import Session

UNTIL_NEXT = {
    EventKind.STONES_FITTED: (EventKind.STONES_FITTED, EventKind.STONES_DRESSED),
    EventKind.STONES_REMOVED: (EventKind.STONES_FITTED,),
    EventKind.STONES_DRESSED: (EventKind.STONES_FITTED, EventKind.STONES_DRESSED),
    EventKind.REROUTED: (EventKind.REROUTED,),
}
"""What an event changes lasts until the next one of these on its spindle."""
WITHIN = np.timedelta64(3, "m")


def touched_by_readings(
    batch: Readings, stored: StoredReadings | None, *, newest_before: np.datetime64 | None
) -> Times:
    """Return moments that new readings touch: their own, other measurements of the same bores, and
    the stretch that was the newest until they came."""
    when = [batch.measured_at, batch.measured_at - WITHIN]
    if stored is not None:
        when.append(stored.readings.measured_at)
    if newest_before is not None:
        when.append(np.array([newest_before]))
    return np.concatenate(when)


def touched_by_rows(session: Session, rules: Rules, batch: Batch) -> Times:
    """Return moments that new plain rows touch; call once they are stored."""
    newest = session.newest_reading()
    if newest is None:
        return np.zeros(0, dtype="datetime64[us]")
    spans: Iterator[tuple[np.datetime64, np.datetime64]]
    if isinstance(batch, Events):
        spans = _event_spans(session, batch, newest)
    elif isinstance(batch, GaugeChecks):
        spans = _check_spans(session, batch, newest)
    else:
        spans = iter(())
    found = [_edges(rules, start, min(end, newest)) for start, end in spans if start <= newest]
    return np.concatenate(found) if found else np.zeros(0, dtype="datetime64[us]")


def _edges(rules: Rules, start: np.datetime64, end: np.datetime64) -> Times:
    """Return a moment in every unit between start and end."""
    end = max(start, end)
    edges = rules.at(start).calendar.edges(start, end)
    return np.concatenate([np.array([start, end]), edges[(edges > start) & (edges <= end)]])


def _event_spans(
    session: Session, batch: Events, newest: np.datetime64
) -> Iterator[tuple[np.datetime64, np.datetime64]]:
    every = session.rows(Kind.EVENTS, start=batch.at.min())
    for i in range(len(batch)):
        ends = UNTIL_NEXT.get(EventKind(batch.event[i]))
        if ends is None:
            continue
        later = (every.at > batch.at[i]) & (every.spindle == batch.spindle[i])
        later &= np.isin(every.event.astype(str), [e.value for e in ends])
        yield batch.at[i], every.at[later].min() if later.any() else newest


def _check_spans(
    session: Session, batch: GaugeChecks, newest: np.datetime64
) -> Iterator[tuple[np.datetime64, np.datetime64]]:
    reach = np.timedelta64(2, "D")
    every = session.rows(Kind.GAUGE_CHECKS, start=batch.at.min() - reach, end=batch.at.max() + reach)
    for i in range(len(batch)):
        mine = every.at[every.gauge == batch.gauge[i]]
        before, after = mine[mine < batch.at[i]], mine[mine > batch.at[i]]
        yield (
            before.max() if len(before) else batch.at[i] - reach,
            after.min() if len(after) else newest,
        )
