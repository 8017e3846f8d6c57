"""What was logged around the bores: stones, dressings, routing, gauge checks, and people's corrections."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cellmon.records import EventKind, Events, Flags, GaugeChecks, Kind, Numbers, Texts, Times, Whole
from cellmon.sheet import Sheet
from cellmon.store import Decision, Session

CHECKS_REACH = np.timedelta64(2, "D")


@dataclass(frozen=True, kw_only=True, eq=False)
class Suspect:
    """A time during which a gauge is not to be believed, and what it read too large, micrometres."""

    gauge: str
    after: np.datetime64
    until: np.datetime64
    by_um: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Context:
    """Facts beside the readings, for one stretch of time."""

    start: np.datetime64
    events: Events
    suspect: tuple[Suspect, ...]
    corrections: Mapping[str, Decision]
    bores_before: Mapping[str, int]
    """Charted bores of each spindle between its last dressing and the start of the stretch."""

    @classmethod
    def of(cls, session: Session, sheet: Sheet, start: np.datetime64, end: np.datetime64) -> Context:
        """Load what bears on [start, end); what lies long before counts only by its last event."""
        before = session.latest_events(start)
        within = session.rows(Kind.EVENTS, start=start, end=end)
        events = Events.concat([before, within]) if len(before) else within
        limit = sheet.checks.as_found_limit_um if sheet.checks else None
        suspect: tuple[Suspect, ...] = ()
        if limit is not None:
            checks = session.rows(Kind.GAUGE_CHECKS, start=start - CHECKS_REACH, end=end + CHECKS_REACH)
            suspect = suspect_times(checks, limit_um=limit)
        corrections = {d.subject: d for d in session.decisions("correct")}
        found = cls(start=start, events=events, suspect=suspect, corrections=corrections, bores_before={})
        counted = {
            spindle: session.count_bores_since(spindle, found._last_reset(spindle), start)
            for spindle in _names(events.spindle)
        }
        return replace(found, bores_before=counted)

    def _last_reset(self, spindle: str) -> np.datetime64 | None:
        resets = self.of_kind(spindle, EventKind.STONES_FITTED, EventKind.STONES_DRESSED)
        earlier = resets.at[resets.at <= self.start]
        return earlier.max() if len(earlier) else None

    def of_kind(self, spindle: str, *kinds: EventKind) -> Events:
        """Return one spindle's events of some kinds, in order of time."""
        here = (self.events.spindle == spindle) & np.isin(self.events.event.astype(str), list(kinds))
        found = self.events.select(here)
        return found.select(np.argsort(found.at, kind="stable"))

    def count_before(self, spindle: Texts, when: Times, *kinds: EventKind) -> Whole:
        """Return, for each bore, how many such events its spindle had seen by then."""
        counts = np.zeros(len(when), dtype=np.int64)
        for name in _names(spindle):
            here = spindle == name
            counts[here] = np.searchsorted(self.of_kind(name, *kinds).at, when[here], side="right")
        return counts

    def set_fitted(self, spindle: Texts, when: Times) -> Texts:
        """Return, for each bore, the stone set the events say was fitted; None where they do not."""
        fitted = np.full(len(when), None, dtype=object)
        for name in _names(spindle):
            here = np.flatnonzero(spindle == name)
            events = self.of_kind(name, EventKind.STONES_FITTED, EventKind.STONES_REMOVED)
            index = np.searchsorted(events.at, when[here], side="right") - 1
            on = events.event == EventKind.STONES_FITTED
            sets = events.stone_set.copy()
            sets[~on] = None
            fitted[here[index >= 0]] = sets[index[index >= 0]]
        return fitted

    def since_dress(self, spindle: Texts, order: NDArray[np.int64], when: Times) -> Numbers:
        """Return, for each bore, how many its spindle had honed since dressing or fitting, itself included.

        `order` sorts the bores as they were made; nan where no dressing or fitting is known.
        """
        counts = np.full(len(when), np.nan)
        for name in _names(spindle):
            rows = order[(spindle == name)[order]]
            resets = self.of_kind(name, EventKind.STONES_FITTED, EventKind.STONES_DRESSED)
            if not len(resets):
                continue
            index = np.searchsorted(resets.at, when[rows], side="right")
            position = np.arange(1, len(rows) + 1, dtype=np.float64)
            base = np.zeros(len(rows))
            changed = np.concatenate(([True], index[1:] != index[:-1]))
            base[changed] = position[changed] - 1
            base = np.maximum.accumulate(base)
            at_start = np.searchsorted(resets.at, self.start, side="right")
            carried = np.where(index == at_start, self.bores_before.get(name, 0), 0)
            counts[rows] = np.where(index > 0, position - base + carried, np.nan)
        return counts

    def allowed(self, sheet: Sheet, spindle: Texts, bore: Texts, when: Times) -> Flags:
        """Return, for each bore, whether the routing in force let its spindle hone it."""
        fine = np.ones(len(when), dtype=bool)
        if not sheet.spindles:
            return fine
        for name in _names(spindle):
            if name == "hand":
                continue
            here = np.flatnonzero(spindle == name)
            usual = set(sheet.spindle(name).bores) if name in sheet.spindle_ids else set()
            reroutes = self.of_kind(name, EventKind.REROUTED)
            index = np.searchsorted(reroutes.at, when[here], side="right") - 1
            routes = [bores_named(text) or usual for text in reroutes.bores]
            for route in np.unique(index):
                rows = here[index == route]
                allowed = usual if route < 0 else routes[route]
                fine[rows] = np.isin(bore[rows].astype(str), list(allowed))
        return fine


def bores_named(text: str | None) -> set[str]:
    """Return the bores that a `rerouted` event lists, separated by blanks, commas or plus signs."""
    if not text:
        return set()
    return set(text.replace(",", " ").replace("+", " ").replace(";", " ").split())


def suspect_times(checks: GaugeChecks, *, limit_um: float) -> tuple[Suspect, ...]:
    """Return when a gauge is suspect: from the last good check before a bad one until it is put right."""
    found = []
    for gauge in _names(checks.gauge):
        mine = checks.select(checks.gauge == gauge)
        mine = mine.select(np.argsort(mine.at, kind="stable"))
        off = np.round((mine.reading_mm - mine.master_mm) * 1000.0, 4)
        good = np.abs(off) <= limit_um
        for i in np.flatnonzero(~good):
            earlier = np.flatnonzero(good[:i])
            later = np.flatnonzero(good[i + 1 :])
            found.append(
                Suspect(
                    gauge=gauge,
                    after=mine.at[earlier[-1]] if len(earlier) else mine.at[i] - CHECKS_REACH,
                    until=mine.at[i + 1 + later[0]] if len(later) else mine.at[i],
                    by_um=round(float(off[i]), 3),
                )
            )
    return tuple(found)


def _names(texts: Texts) -> list[str]:
    return sorted({name for name in texts.tolist() if name is not None})
