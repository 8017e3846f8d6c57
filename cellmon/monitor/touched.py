"""Which moments new facts may change the judgement of."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cellmon.judged import StoredReadings
from cellmon.monitor.judge.context import CHECKS_REACH, is_good
from cellmon.monitor.judge.inputs import CHANGES
from cellmon.monitor.judge.process import LEAST_BORES, SETTLING
from cellmon.monitor.rules import Rules
from cellmon.records import Batch, EventKind, Events, GaugeChecks, Kind, Readings, Times, TracePoints
from cellmon.store import Session

UNTIL_NEXT = {
    EventKind.STONES_FITTED: EventKind.STONES_FITTED,
    EventKind.STONES_REMOVED: EventKind.STONES_FITTED,
    EventKind.STONES_DRESSED: EventKind.STONES_DRESSED,
    EventKind.REROUTED: EventKind.REROUTED,
}
"""What an event changes lasts until the next one of this kind on its spindle."""
WITHIN = np.timedelta64(3, "m")
END = np.datetime64("9999", "us")
CLOCKS_APART = np.timedelta64(1, "D")
"""A bore may seem measured before it was honed, by so much at most."""
Span = tuple[np.datetime64, np.datetime64]


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
    """Return when the bores were measured that new plain rows touch; call once they are stored."""
    spans: list[Span] = []
    own = np.zeros(0, dtype="datetime64[us]")
    if isinstance(batch, Events):
        first = list(_first_offsets(session, batch))
        settling = [(at, at + SETTLING) for at in batch.at[np.isin(batch.event.astype(str), CHANGES)]]
        spans = [*_event_spans(session, batch), *first, *settling]
        ends = [np.array([end]) for _, end in (*first, *settling) if end < END]
        own = np.concatenate([_offsets_in_blocks(session, rules, batch), *ends])
    elif isinstance(batch, TracePoints):
        own = _of_traced_blocks(session, rules, batch)
    elif isinstance(batch, GaugeChecks):
        spans = list(_check_spans(session, rules, batch))
    if not spans:
        return own
    bores = session.bores(start=min(start for start, _ in spans) - CLOCKS_APART)
    touched = np.zeros(len(bores), dtype=bool)
    for when in (bores.measured_at, bores.honed_at):
        for start, end in spans:
            touched |= (when >= start) & (when <= end)
    return np.concatenate([own, bores.measured_at[touched]])


def _of_traced_blocks(session: Session, rules: Rules, batch: TracePoints) -> Times:
    """Return when the traced blocks were measured, where a size from traces decides on a bore."""
    parts = [p for version in rules.versions for p in version.sheet.parts]
    if not any(p.sized_by_trace and p.diameter.judge == "size" for p in parts):
        return np.zeros(0, dtype="datetime64[us]")
    found = [session.bores(part=part).measured_at for part in dict.fromkeys(batch.part.tolist())]
    return np.concatenate(found)


def _event_spans(session: Session, batch: Events) -> Iterator[Span]:
    every = session.rows(Kind.EVENTS, start=batch.at.min())
    for i in range(len(batch)):
        if batch.event[i] == EventKind.GAUGE_ZEROED:
            yield batch.at[i], batch.at[i] + CHECKS_REACH
        until = UNTIL_NEXT.get(EventKind(batch.event[i]))
        if until is None:
            continue
        later = (every.at > batch.at[i]) & (every.spindle == batch.spindle[i]) & (every.event == until)
        yield batch.at[i], every.at[later].min() if later.any() else END


def _offsets_in_blocks(session: Session, rules: Rules, batch: Events) -> Times:
    """Return the units in which offsets were given, where a spindle made bores enough for a block of them."""
    given = batch.select(batch.event == EventKind.FEED_OFFSET)
    found = np.zeros(0, dtype="datetime64[us]")
    for unit in rules.units(given.at):
        made = session.bores(start=unit.start, end=unit.end, charted=True).spindle
        mine = set(given.spindle[(given.at >= unit.start) & (given.at < unit.end)].tolist())
        if any((made == spindle).sum() >= LEAST_BORES for spindle in mine):
            found = np.append(found, unit.start)
    return found


def _first_offsets(session: Session, batch: Events) -> Iterator[Span]:
    """Yield from a spindle's first offset to the one that was its first before: between, blocks are told."""
    given = batch.select(batch.event == EventKind.FEED_OFFSET)
    for spindle in sorted(set(given.spindle.tolist()) - {None}):
        mine = given.at[given.spindle == spindle]
        first = mine.min()
        before = session.latest_events(first)
        if ((before.event == EventKind.FEED_OFFSET) & (before.spindle == spindle)).any():
            continue
        every = session.rows(Kind.EVENTS, start=first)
        known = every.at[(every.event == EventKind.FEED_OFFSET) & (every.spindle == spindle)]
        known = known[~np.isin(known, mine)]
        yield first, known.min() if len(known) else END


def _check_spans(session: Session, rules: Rules, batch: GaugeChecks) -> Iterator[Span]:
    """Yield from the last good check before a new one to the next good one after it.

    A good check between good ones changes nothing and yields nothing.
    """
    reach = 2 * CHECKS_REACH  # so far a check's neighbours can matter to a bore
    every = session.rows(Kind.GAUGE_CHECKS, start=batch.at.min() - reach, end=batch.at.max() + reach)
    for i in range(len(batch)):
        checks = rules.at(batch.at[i]).sheet.checks
        if checks is None or checks.as_found_limit_um is None:
            continue
        others = every.select((every.gauge == batch.gauge[i]) & (every.at != batch.at[i]))
        good = others.at[is_good(others, limit_um=checks.as_found_limit_um)]
        before, after = good[good < batch.at[i]], good[good > batch.at[i]]
        start = before.max() if len(before) else batch.at[i] - reach
        end = after.min() if len(after) else batch.at[i] + reach
        between = ((others.at > start) & (others.at < end)).any()
        if between or not is_good(batch, limit_um=checks.as_found_limit_um)[i]:
            yield start, end
