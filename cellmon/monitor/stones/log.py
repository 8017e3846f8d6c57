"""The log of stone sets: who was fitted where and when, dressed and removed, and what was assumed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.records import EventKind, Events
from cellmon.sheet import Sheet
from cellmon.shifts import to_local

WORN, CHIPPED = "worn", "chipped"
ENDS = (WORN, CHIPPED)
"""Reasons of removal that end a set's life; after any other it may come back."""
STONE_EVENTS = (EventKind.STONES_FITTED, EventKind.STONES_DRESSED, EventKind.STONES_REMOVED)


@dataclass(frozen=True, kw_only=True)
class Stay:
    """One time a set was on a spindle, from fitting to removal; `end` None: it is still there."""

    stone_set: str
    spindle: str
    start: np.datetime64
    end: np.datetime64 | None = None
    before: float | None = None
    """Bores honed before, as logged; None where nothing was logged."""
    after: float | None = None
    """Bores honed by the removal, as logged."""
    why: str | None = None
    by: str | None = None


@dataclass(frozen=True, kw_only=True)
class Dressing:
    """One dressing; `since` bores had been honed after it already when it was logged."""

    spindle: str
    at: np.datetime64
    stone_set: str | None
    since: float


@dataclass(frozen=True, kw_only=True)
class StoneLog:
    """All stays of every set in order of time, the dressings, and what had to be assumed, by set."""

    stays: Mapping[str, tuple[Stay, ...]]
    kinds: Mapping[str, str]
    dressings: tuple[Dressing, ...]
    assumed: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]
    """What belongs to no set."""

    def fitted(self) -> Iterable[Stay]:
        """Yield the stay of every set that is on a spindle."""
        for stays in self.stays.values():
            if stays[-1].end is None:
                yield stays[-1]


@dataclass(kw_only=True)
class _Reader:
    """Reads events one by one; what is fitted stands by spindle and stage."""

    sheet: Sheet
    zone: ZoneInfo
    kinds: dict[str, str]
    open: dict[tuple[str, str], Stay] = field(default_factory=dict)
    stays: dict[str, list[Stay]] = field(default_factory=dict)
    dressings: list[Dressing] = field(default_factory=list)
    assumed: dict[str, list[str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def say(self, stone_set: str, words: str) -> None:
        """Keep what was assumed of a set, once."""
        kept = self.assumed.setdefault(stone_set, [])
        if words not in kept:
            kept.append(words)

    def minute(self, at: np.datetime64) -> str:
        """Return a moment as people of the cell read it."""
        return to_local(at, self.zone).isoformat(sep=" ", timespec="minutes")

    def stage(self, stone_set: str) -> str:
        """Return the stage of a set's kind; finish where the kind is not in the sheet."""
        kind = self.kinds.get(stone_set)
        return next((k.stage for k in self.sheet.stone_kinds if k.id == kind), "finish")

    def close(self, place: tuple[str, str], end: Stay) -> None:
        """End the stay at a place."""
        del self.open[place]
        self.stays[end.stone_set][-1] = end

    def place_of(self, stone_set: str) -> tuple[str, str] | None:
        """Return where a set is fitted."""
        return next((place for place, stay in self.open.items() if stay.stone_set == stone_set), None)


def read_log(events: Events, kinds: Mapping[str, str], sheet: Sheet) -> StoneLog:
    """Read the log of stone events, whatever their order, and say what is missing or contradicts.

    Parameters
    ----------
    events : Events
        Of any kind; those of stones are read.
    kinds : mapping
        Kind of each set, as received; what an event says comes first where both speak.
    sheet : Sheet
        In force: its kinds and spindles.
    """
    reader = _Reader(sheet=sheet, zone=ZoneInfo(sheet.cell.timezone), kinds=dict(kinds))
    mine = events.select(np.isin(events.event.astype(str), STONE_EVENTS))
    order = np.lexsort((_rank(mine), mine.at))
    for i in order:
        at, name = mine.at[i], mine.stone_set[i]
        if mine.event[i] == EventKind.STONES_FITTED:
            _fitted(reader, mine, i, at, name)
        elif mine.event[i] == EventKind.STONES_REMOVED:
            _removed(reader, mine, i, at, name)
        else:
            since = float(mine.value[i]) if np.isfinite(mine.value[i]) else 0.0
            _dressed(reader, mine.spindle[i], at, name, since)
    return StoneLog(
        stays={name: tuple(stays) for name, stays in reader.stays.items()},
        kinds=reader.kinds,
        dressings=tuple(reader.dressings),
        assumed={name: tuple(words) for name, words in reader.assumed.items()},
        notes=tuple(reader.notes),
    )


def _rank(events: Events) -> np.ndarray:
    """Return the order of events of one moment: removed, fitted, dressed."""
    ranks = {EventKind.STONES_REMOVED: 0, EventKind.STONES_FITTED: 1, EventKind.STONES_DRESSED: 2}
    return np.array([ranks[EventKind(e)] for e in events.event], dtype=np.int64)


def _fitted(reader: _Reader, events: Events, i: int, at: np.datetime64, name: str | None) -> None:
    spindle = events.spindle[i] or "?"
    if name is None:
        name = f"unnamed on {spindle} {reader.minute(at)}"
        reader.say(name, f"stones were fitted to {spindle} without the name of their set")
    if events.kind[i]:
        reader.kinds[name] = events.kind[i]
    before = float(events.value[i]) if np.isfinite(events.value[i]) else None
    place = (spindle, reader.stage(name))
    there, elsewhere = reader.open.get(place), reader.place_of(name)
    if there is not None and there.stone_set == name:
        return _again(reader, place, there, at, before)
    if elsewhere is not None:
        reader.say(
            name,
            f"fitted to {spindle} {reader.minute(at)} while on {elsewhere[0]}: taken as removed from there",
        )
        reader.close(elsewhere, replace(reader.open[elsewhere], end=at))
    if there is not None:
        reader.say(
            there.stone_set,
            f"never logged as removed from {spindle}: taken as removed when {name} came, {reader.minute(at)}",
        )
        reader.close(place, replace(there, end=at))
    earlier = reader.stays.get(name)
    if earlier and earlier[-1].why in ENDS:
        reader.say(
            name, f"removed as {earlier[-1].why} and fitted again {reader.minute(at)}: taken as still in use"
        )
        earlier[-1] = replace(earlier[-1], why=None)
    stay = Stay(stone_set=name, spindle=spindle, start=at, before=before, by=events.by[i])
    reader.open[place] = stay
    reader.stays.setdefault(name, []).append(stay)
    return None


def _again(
    reader: _Reader, place: tuple[str, str], there: Stay, at: np.datetime64, before: float | None
) -> None:
    """Take a set that is fitted where it is already: one more stay if bores are named, else nothing."""
    words = f"logged as fitted to {place[0]} again {reader.minute(at)} without having been removed"
    if before is None or before == 0:
        reader.say(there.stone_set, f"{words}: the first time counts")
        return
    reader.say(there.stone_set, f"{words}: taken as still there, with {before:.0f} bores by then")
    reader.close(place, replace(there, end=at, after=before))
    stay = Stay(stone_set=there.stone_set, spindle=place[0], start=at, before=before)
    reader.open[place] = stay
    reader.stays[there.stone_set].append(stay)


def _removed(reader: _Reader, events: Events, i: int, at: np.datetime64, name: str | None) -> None:
    spindle, why = events.spindle[i] or "?", _why(events.note[i])
    if name is None:
        on = [stay for (where, _), stay in reader.open.items() if where == spindle]
        if len(on) != 1:
            reader.notes.append(
                f"stones removed from {spindle} {reader.minute(at)}, but {_which(len(on))}: passed over"
            )
            return
        name = on[0].stone_set
    after = float(events.value[i]) if np.isfinite(events.value[i]) else None
    place = reader.place_of(name)
    if place is None:
        earlier = reader.stays.get(name)
        if earlier:
            last = earlier[-1]
            reader.say(
                name,
                f"logged as removed {reader.minute(at)}, when it was on no spindle: only the reason is kept",
            )
            earlier[-1] = replace(last, why=why or last.why)
        else:
            reader.say(
                name,
                f"removed {reader.minute(at)} and never logged as fitted: its bores before are not known",
            )
            stay = Stay(stone_set=name, spindle=spindle, start=at, end=at, before=after, after=after, why=why)
            reader.stays[name] = [stay]
        return
    if place[0] != spindle:
        reader.say(
            name,
            f"fitted to {place[0]}, logged as removed from {spindle} {reader.minute(at)}: taken as the same",
        )
    reader.close(place, replace(reader.open[place], end=at, after=after, why=why))


def _dressed(reader: _Reader, spindle: str | None, at: np.datetime64, name: str | None, since: float) -> None:
    if spindle is None:
        place = None if name is None else reader.place_of(name)
        if place is None:
            reader.notes.append(
                f"stones dressed {reader.minute(at)} on a spindle that is not named: passed over"
            )
            return
        spindle = place[0]
    on = [stay.stone_set for (where, _), stay in reader.open.items() if where == spindle]
    if name is not None and on and name not in on:
        reader.say(name, f"logged as dressed on {spindle} {reader.minute(at)}, where {on[0]} was fitted")
    known = name or (on[0] if len(on) == 1 else None)
    reader.dressings.append(Dressing(spindle=spindle, at=at, stone_set=known, since=since))


def _why(note: str | None) -> str | None:
    word = (note or "").split(":")[0].strip().lower()
    return word or None


def _which(count: int) -> str:
    return "no set is fitted there" if count == 0 else f"{count} sets are fitted there and none is named"
