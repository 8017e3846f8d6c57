"""Bores of every unit of judging: the newest weeks one by one, what is over longer by counts of its units."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.view import View
from cellmon.records import Kind, Times
from cellmon.store.counts import UnitStored
from cellmon.store.honed import HonedInUnits

Floats = NDArray[np.float64]

LONGEST = np.timedelta64(36, "h")
"""A unit that is longer is no shift: its bores are counted one by one."""
WEEKS = np.timedelta64(4, "W")
"""Units of the week that runs and of so many before it are counted to the bore."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Made:
    """Bores of one spindle by unit of judging, in order of time; counted by their weight."""

    start: Times
    end: Times
    before: Floats
    """Bores before each unit."""
    bores: Floats

    @classmethod
    def of(cls, start: Times, end: Times, bores: Floats) -> Made:
        """Return units with the bores before each."""
        return cls(start=start, end=end, before=np.concatenate(([0.0], np.cumsum(bores)))[:-1], bores=bores)


@dataclass(frozen=True, kw_only=True, eq=False)
class OneByOne:
    """The bores of one spindle in one unit, in order of time."""

    at: Times
    weight: Floats

    @cached_property
    def total(self) -> float:
        """What they count together."""
        return float(self.weight.sum())


Unit = Mapping[str, OneByOne]
"""What each spindle made in one unit."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LongOver:
    """Units that began before the weeks counted bore by bore, by spindle."""

    made: Mapping[str, Made]
    newest_event: int
    """Number of the event added last when they were counted."""
    measured_upto: tuple[int, int]
    """Numbers of the readings and traces that had been added last."""
    size: tuple[int, ...]
    """How the units were stored."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lately:
    """Units counted bore by bore, oldest first; a stamp of each tells apart all that is stored up to it."""

    start: Times
    end: Times
    units: Mapping[np.datetime64, Unit]
    stamps: tuple[bytes, ...]


def counted_since(moment: np.datetime64) -> np.datetime64:
    """Return from when on units are counted to the bore, for answers of a moment."""
    return np.datetime64(moment.astype("datetime64[W]") - WEEKS, "us")


@dataclass(frozen=True, kw_only=True)
class StoredUnit:
    """A unit of judging as it is stored; `stored` are words that are others where it is stored anew."""

    start: np.datetime64
    end: np.datetime64
    stored: str


def stored_units(view: View, *, since: np.datetime64) -> list[StoredUnit]:
    """Return the units that began at a moment or later, oldest first."""
    return _as_stored(view, view.session.units_since(since))


def units_holding(view: View, start: np.datetime64, end: np.datetime64) -> list[StoredUnit]:
    """Return the units that may hold bores measured between two moments, oldest first."""
    return _as_stored(view, view.session.units_holding(start, end))


def _as_stored(view: View, units: Iterable[UnitStored]) -> list[StoredUnit]:
    newest = (view.newest_row_of(Kind.EVENTS), view.session.newest_decision())
    basis = repr((*newest, view.rules.now.version))
    return [
        StoredUnit(start=one.start, end=one.end, stored=f"{one.start} {one.end} {one.size} {basis}")
        for one in units
    ]


def lately(view: View, weight: Mapping[str, float]) -> Lately:
    """Return the units of the newest weeks; those that stand as they stood are not read again."""
    since = counted_since(view.as_of)
    stored = [one for one in view.units_stored if since <= one.start <= view.as_of]
    basis = repr(sorted(weight.items()))
    stored_as = {one.start: f"{one.stored} {basis}" for one in stored}
    units = view.carry_each("bores one by one", stored_as, lambda start: one_by_one(view, start, weight))
    return Lately(
        start=np.array([one.start for one in stored], dtype="datetime64[us]"),
        end=np.array([one.end for one in stored], dtype="datetime64[us]"),
        units=units,
        stamps=tuple(_upto_each(stored_as.values())),
    )


def _upto_each(texts: Iterable[str]) -> Iterator[bytes]:
    """Yield a digest of all texts up to each."""
    digest = blake2b(digest_size=16)
    for text in texts:
        digest.update(text.encode())
        yield digest.digest()


def one_by_one(view: View, start: np.datetime64, weight: Mapping[str, float]) -> Unit:
    """Return when each bore of a unit was honed first, and what it counts, by spindle."""
    found = {}
    alike = set(weight.values()) == {1.0}
    for spindle, first in view.session.first_honed(start).items():
        counts = np.ones(len(first.at))
        if not alike:
            counts = np.array([weight.get(n, 1.0) for n in first.part_number.tolist()], dtype=np.float64)
        found[spindle or ""] = OneByOne(at=first.at, weight=counts)
    return found


def long_over(view: View, weight: Mapping[str, float]) -> LongOver:
    """Return the units before those weeks: counted once, until one of them may be another."""
    since, name = counted_since(view.as_of), "bores of units long over"
    rested_on, known = view.carried.get(name, (None, None))
    before: LongOver | None = known if rested_on is not None and rested_on[0] == since else None
    newest, upto = view.newest_row_of(Kind.EVENTS), view.session.measured_upto()
    size = None
    if before is not None:
        # what is logged of a moment changes bores made after it alone, give or take a clock
        if not _is_before(view.session.oldest_added(Kind.EVENTS, after=before.newest_event), since):
            newest = before.newest_event
        if not _is_before(view.session.oldest_measured(after=before.measured_upto), since):
            size, upto = before.size, before.measured_upto
    if size is None:
        size = view.session.size_of_units(before=since)
    rests_on = (
        since,
        size,
        newest,
        view.session.newest_decision(),
        view.rules.now.version,
        tuple(weight.items()),
    )

    def count() -> LongOver:
        made = _made(view.session.honed_in_units(before=since), weight)
        return LongOver(made=made, newest_event=newest, measured_upto=upto, size=size)

    return view.carry(name, rests_on, count)


def _is_before(added: np.datetime64 | None, since: np.datetime64) -> bool:
    return added is not None and bool(added < since)


def _made(rows: HonedInUnits, weight: Mapping[str, float]) -> dict[str, Made]:
    """Return what each spindle made in the units in which it made anything."""
    counts = rows.bores * np.array([weight.get(n, 1.0) for n in rows.part_number.tolist()], dtype=np.float64)
    found = {}
    for spindle in dict.fromkeys(rows.spindle.tolist()):
        mine = np.flatnonzero(rows.spindle == spindle)
        start, first, unit = np.unique(rows.start[mine], return_index=True, return_inverse=True)
        bores = np.bincount(unit, counts[mine]).astype(np.float64)
        found[spindle] = Made.of(start, rows.end[mine[first]], bores)
    return found
