"""What was logged around the bores: stones, dressings, routing, gauge checks, and people's corrections."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from cellmon.records import EventKind, Events, Flags, GaugeChecks, Kind, Texts, Times, Whole
from cellmon.records.alike import numbered
from cellmon.sheet import TRACE_SIZE, Sheet
from cellmon.store import Decision, Session, TracedFigure

CHECKS_REACH = np.timedelta64(2, "D")


@dataclass(frozen=True, kw_only=True, eq=False)
class Suspect:
    """A time during which a gauge is not to be believed, and what it read too large, micrometres."""

    gauge: str
    at: np.datetime64
    """When it was found off."""
    after: np.datetime64
    until: np.datetime64
    by_um: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Context:
    """Facts beside the readings, for one stretch of time."""

    events: Events
    suspect: tuple[Suspect, ...]
    corrections: Mapping[str, Decision]
    traced: Mapping[tuple[str, str], TracedFigure] = field(default_factory=dict)
    """Size of each part and bore from its newest trace, where the sheet lets such a size decide."""

    @classmethod
    def of(cls, session: Session, sheet: Sheet, when: Times) -> Context:
        """Load what bears on bores honed or measured at some moments.

        What lies before all of them counts only by its last event.
        """
        start, end = when.min(), when.max() + np.timedelta64(1, "us")
        before = session.latest_events(start)
        within = session.rows(Kind.EVENTS, start=start, end=end)
        events = Events.concat([before, within]) if len(before) else within
        limit = sheet.checks.as_found_limit_um if sheet.checks else None
        suspect: tuple[Suspect, ...] = ()
        if limit is not None:
            checks = session.rows(Kind.GAUGE_CHECKS, start=start - CHECKS_REACH, end=end + CHECKS_REACH)
            suspect = suspect_times(checks, events, limit_um=limit)
        corrections = {d.subject: d for d in session.decisions("correct")}
        return cls(
            events=events, suspect=suspect, corrections=corrections, traced=sizes_that_decide(session, sheet)
        )

    def of_kind(self, spindle: str, *kinds: EventKind) -> Events:
        """Return one spindle's events of some kinds, in order of time."""
        here = (self.events.spindle == spindle) & np.isin(self.events.event.astype(str), list(kinds))
        found = self.events.select(here)
        return found.select(np.argsort(found.at, kind="stable"))

    def last_before(self, spindle: Texts, when: Times, *kinds: EventKind) -> Times:
        """Return, for each bore, when the last such event of its spindle was; NaT where none is known."""
        last = np.full(len(when), "NaT", dtype="datetime64[us]")
        for name, here in _rows_of_each(spindle):
            at = self.of_kind(name, *kinds).at
            index = np.searchsorted(at, when[here], side="right") - 1
            last[here[index >= 0]] = at[index[index >= 0]]
        return last

    def set_fitted(self, spindle: Texts, when: Times) -> Texts:
        """Return, for each bore, the stone set the events say was fitted; None where they do not."""
        fitted = np.full(len(when), None, dtype=object)
        for name, here in _rows_of_each(spindle):
            events = self.of_kind(name, EventKind.STONES_FITTED, EventKind.STONES_REMOVED)
            on = events.event == EventKind.STONES_FITTED
            events = events.select(np.lexsort((on, events.at)))  # taken off and fitted at once: fitted
            index = np.searchsorted(events.at, when[here], side="right") - 1
            on = events.event == EventKind.STONES_FITTED
            sets = events.stone_set.copy()
            sets[~on] = None
            fitted[here[index >= 0]] = sets[index[index >= 0]]
        return fitted

    def allowed(self, sheet: Sheet, spindle: Texts, bore: Texts, when: Times) -> Flags:
        """Return, for each bore, whether the routing in force let its spindle hone it."""
        fine = np.ones(len(when), dtype=bool)
        if not sheet.spindles:
            return fine
        for name, here in _rows_of_each(spindle):
            if name == "hand":
                continue
            usual = set(sheet.spindle(name).bores) if name in sheet.spindle_ids else set()
            reroutes = self.of_kind(name, EventKind.REROUTED)
            index = np.searchsorted(reroutes.at, when[here], side="right") - 1
            routes = [bores_named(text) or usual for text in reroutes.bores]
            for route in np.unique(index):
                rows = here[index == route]
                allowed = usual if route < 0 else routes[route]
                number, bores = numbered(bore[rows])
                fine[rows] = np.array([*(one in allowed for one in bores), False])[number]
        return fine


def sizes_that_decide(session: Session, sheet: Sheet) -> dict[tuple[str, str], TracedFigure]:
    """Return the size from the newest trace of each bore; empty where two-point sizes decide."""
    if not any(p.sized_by_trace and p.diameter.judge == "size" for p in sheet.parts):
        return {}
    return {(f.of.part, f.of.bore): f for f in session.traced(feature=TRACE_SIZE)}


def bores_named(text: str | None) -> set[str]:
    """Return the bores that a `rerouted` event lists, separated by blanks, commas or plus signs."""
    if not text:
        return set()
    return set(text.replace(",", " ").replace("+", " ").replace(";", " ").split())


def is_good(checks: GaugeChecks, *, limit_um: float) -> Flags:
    """Return which checks found the gauge within its limit."""
    off = np.round((checks.reading_mm - checks.master_mm) * 1000.0, 4)
    good: Flags = np.abs(off) <= limit_um
    return good


def suspect_times(checks: GaugeChecks, events: Events, *, limit_um: float) -> tuple[Suspect, ...]:
    """Return when a gauge is suspect: from the last good check before a bad one until it is put right.

    It is put right by zeroing it, or shown to be by a good check; two days either way at most.
    """
    found = []
    for gauge, rows in _rows_of_each(checks.gauge):
        mine = checks.select(rows)
        mine = mine.select(np.lexsort((mine.reading_mm, mine.at)))
        good = is_good(mine, limit_um=limit_um)
        zeroed = events.at[(events.event == EventKind.GAUGE_ZEROED) & (events.gauge == gauge)]
        for i in np.flatnonzero(~good):
            at = mine.at[i]
            before = mine.at[good & (mine.at < at)]
            after = np.concatenate([mine.at[good & (mine.at > at)], zeroed[zeroed >= at]])
            found.append(
                Suspect(
                    gauge=gauge,
                    at=at,
                    after=np.append(before, at - CHECKS_REACH).max(),
                    until=np.append(after, at + CHECKS_REACH).min(),
                    by_um=round(float((mine.reading_mm[i] - mine.master_mm[i]) * 1000.0), 3),
                )
            )
    return tuple(found)


def _rows_of_each(texts: Texts) -> Iterator[tuple[str, Whole]]:
    """Yield the rows of each text, in the texts' own order; those that say nothing are left out."""
    number, words = numbered(texts, sort=True)
    for i, word in enumerate(words):
        yield word, np.flatnonzero(number == i)
