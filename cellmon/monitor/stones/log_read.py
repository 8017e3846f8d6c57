"""Reading the log of stone sets: what was fitted, dressed and removed, what is assumed, what contradicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.monitor.stones.log import ENDS, STONE_EVENTS, Dressing, Stay, StoneLog
from cellmon.records import EventKind, Events
from cellmon.sheet import Sheet
from cellmon.shifts import to_local
from cellmon.words import say, say_many


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
    bare: dict[str, list[np.datetime64]] = field(default_factory=dict)
    """Dressings of a spindle where no set was fitted."""

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
            since = _since(reader, mine, i)
            _dressed(reader, mine.spindle[i], at, name, since)
    return StoneLog(
        stays={name: tuple(stays) for name, stays in reader.stays.items()},
        kinds=reader.kinds,
        dressings=tuple(reader.dressings),
        assumed={name: tuple(words) for name, words in reader.assumed.items()},
        notes=(*reader.notes, *_dressed_bare(reader)),
    )


def _since(reader: _Reader, events: Events, i: int) -> float:
    """Return the bores honed since a dressing when it was logged; below 0 there are none."""
    value = float(events.value[i])
    if value < 0:
        reader.notes.append(
            say(
                "stones dressed on {spindle} {at} with {bores} bores since: taken as none",
                spindle=events.spindle[i],
                at=reader.minute(events.at[i]),
                bores=f"{value:g}",
            )
        )
    return max(value, 0.0) if np.isfinite(value) else 0.0


def _rank(events: Events) -> np.ndarray:
    """Return the order of events of one moment: removed, fitted, dressed."""
    ranks = {EventKind.STONES_REMOVED: 0, EventKind.STONES_FITTED: 1, EventKind.STONES_DRESSED: 2}
    return np.array([ranks[e] for e in events.event.tolist()], dtype=np.int64)


def _fitted(reader: _Reader, events: Events, i: int, at: np.datetime64, name: str | None) -> None:
    spindle = events.spindle[i] or "?"
    if name is None:
        name = f"unnamed on {spindle} {reader.minute(at)}"
        reader.say(
            name, say("stones were fitted to {spindle} without the name of their set", spindle=spindle)
        )
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
            say(
                "fitted to {spindle} {at} while on {other}: taken as removed from there",
                spindle=spindle,
                at=reader.minute(at),
                other=elsewhere[0],
            ),
        )
        reader.close(elsewhere, replace(reader.open[elsewhere], end=at))
    if there is not None:
        reader.say(
            there.stone_set,
            say(
                "never logged as removed from {spindle}: taken as removed when {other} came, {at}",
                spindle=spindle,
                other=name,
                at=reader.minute(at),
            ),
        )
        reader.close(place, replace(there, end=at))
    earlier = reader.stays.get(name)
    if earlier and earlier[-1].why in ENDS:
        reader.say(
            name,
            say(
                "removed as {why} and fitted again {at}: taken as still in use",
                why=say(str(earlier[-1].why)),
                at=reader.minute(at),
            ),
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
    known = {"spindle": place[0], "at": reader.minute(at)}
    if before is None or before == 0:
        reader.say(
            there.stone_set,
            say(
                "logged as fitted to {spindle} again {at} without having been removed: the first time counts",
                **known,
            ),
        )
        return
    reader.say(
        there.stone_set,
        say(
            "logged as fitted to {spindle} again {at} without having been removed: taken as still there, "
            "with {bores} bores by then",
            **known,
            bores=f"{before:.0f}",
        ),
    )
    reader.close(place, replace(there, end=at, after=before))
    stay = Stay(stone_set=there.stone_set, spindle=place[0], start=at, before=before)
    reader.open[place] = stay
    reader.stays[there.stone_set].append(stay)


def _removed(reader: _Reader, events: Events, i: int, at: np.datetime64, name: str | None) -> None:
    spindle, why = events.spindle[i] or "?", _why(events.note[i])
    if name is None:
        on = [stay for (where, _), stay in reader.open.items() if where == spindle]
        if len(on) != 1:
            reader.notes.append(_not_removed(spindle, reader.minute(at), len(on)))
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
                say(
                    "logged as removed {at}, when it was on no spindle: only the reason is kept",
                    at=reader.minute(at),
                ),
            )
            earlier[-1] = replace(last, why=why or last.why)
        else:
            reader.say(
                name,
                say(
                    "removed {at} and never logged as fitted: its bores before are not known",
                    at=reader.minute(at),
                ),
            )
            stay = Stay(stone_set=name, spindle=spindle, start=at, end=at, before=after, after=after, why=why)
            reader.stays[name] = [stay]
        return
    if place[0] != spindle:
        reader.say(
            name,
            say(
                "fitted to {fitted}, logged as removed from {spindle} {at}: taken as the same",
                fitted=place[0],
                spindle=spindle,
                at=reader.minute(at),
            ),
        )
    reader.close(place, replace(reader.open[place], end=at, after=after, why=why))


def _dressed(reader: _Reader, spindle: str | None, at: np.datetime64, name: str | None, since: float) -> None:
    if spindle is None:
        place = None if name is None else reader.place_of(name)
        if place is None:
            reader.notes.append(
                say("stones dressed {at} on a spindle that is not named: passed over", at=reader.minute(at))
            )
            return
        spindle = place[0]
    on = [stay.stone_set for (where, _), stay in reader.open.items() if where == spindle]
    if name is not None and name not in on:
        reader.say(name, _dressed_elsewhere(spindle, reader.minute(at), on))
    elif not on:
        reader.bare.setdefault(spindle, []).append(at)
    known = name or (on[0] if len(on) == 1 else None)
    reader.dressings.append(Dressing(spindle=spindle, at=at, stone_set=known, since=since))


def _dressed_bare(reader: _Reader) -> list[str]:
    """Say which spindles were dressed while no set was logged as fitted there."""
    said = []
    for spindle, at in reader.bare.items():
        first, last = reader.minute(at[0]), reader.minute(at[-1])
        said.append(
            say_many(
                "stones dressed on {spindle} {first}, where no set is logged as fitted: of no set known",
                "stones dressed on {spindle} {count} times, {first} to {last}, where no set is logged as "
                "fitted: of no set known",
                len(at),
                spindle=spindle,
                first=first,
                last=last,
            )
        )
    return said


def _why(note: str | None) -> str | None:
    word = (note or "").split(":")[0].strip().lower()
    return word or None


def _not_removed(spindle: str, at: str, fitted: int) -> str:
    if not fitted:
        return say(
            "stones removed from {spindle} {at}, but no set is fitted there: passed over",
            spindle=spindle,
            at=at,
        )
    return say(
        "stones removed from {spindle} {at}, but {count} sets are fitted there and none is named: passed "
        "over",
        spindle=spindle,
        at=at,
        count=fitted,
    )


def _dressed_elsewhere(spindle: str, at: str, fitted: Sequence[str]) -> str:
    known = {"spindle": spindle, "at": at}
    if not fitted:
        return say("logged as dressed on {spindle} {at}, where no set was fitted", **known)
    return say("logged as dressed on {spindle} {at}, where {other} was fitted", **known, other=fitted[0])
