"""The log of stone sets: which was on which spindle from when to when, and dressed when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cellmon.records import EventKind
from cellmon.words import to_say

WORN, CHIPPED = to_say("worn"), to_say("chipped")
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
class LoggedOf:
    """All that was logged of one set, and the newest moment of it."""

    stays: tuple[Stay, ...]
    dressings: tuple[Dressing, ...]
    last: np.datetime64

    @property
    def is_fitted(self) -> bool:
        """Whether the set is on a spindle."""
        return bool(self.stays) and self.stays[-1].end is None


@dataclass(frozen=True, kw_only=True)
class StoneLog:
    """All stays of every set in order of time, the dressings, and what had to be assumed, by set."""

    stays: Mapping[str, tuple[Stay, ...]]
    kinds: Mapping[str, str]
    dressings: tuple[Dressing, ...]
    assumed: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]
    """What belongs to no set."""

    def dressings_of(self, stone_set: str) -> Sequence[Dressing]:
        """Return the dressings of one set, in order of time."""
        return self._by_set.get(stone_set, ())

    def dressings_on(self, spindle: str) -> Sequence[Dressing]:
        """Return the dressings of one spindle, in order of time."""
        return self._by_spindle.get(spindle, ())

    def last_dressed(self, stay: Stay) -> Dressing | None:
        """Return when the stones of a stay were dressed last; None where not since they were new."""
        new = self.stays[stay.stone_set][0].start
        for one in reversed(self.dressings_on(stay.spindle)):
            if one.at < new:
                return None
            if one.stone_set in (None, stay.stone_set):
                return one
        return None

    def logged_of(self, stone_set: str) -> LoggedOf:
        """Return all that was logged of one set."""
        if stone_set not in self._logged:
            stays, dressings = self.stays.get(stone_set, ()), tuple(self.dressings_of(stone_set))
            moments = (*(s.end or s.start for s in stays), *(d.at for d in dressings))
            last = max(moments, default=np.datetime64(0, "us"))
            self._logged[stone_set] = LoggedOf(stays=stays, dressings=dressings, last=last)
        return self._logged[stone_set]

    @cached_property
    def _logged(self) -> dict[str, LoggedOf]:
        return {}

    @cached_property
    def _by_set(self) -> Mapping[str | None, Sequence[Dressing]]:
        found: dict[str | None, list[Dressing]] = {}
        for one in self.dressings:
            found.setdefault(one.stone_set, []).append(one)
        return found

    @cached_property
    def _by_spindle(self) -> Mapping[str, Sequence[Dressing]]:
        found: dict[str, list[Dressing]] = {}
        for one in self.dressings:
            found.setdefault(one.spindle, []).append(one)
        return found

    def every_stay(self) -> Iterable[Stay]:
        """Yield every stay of every set."""
        for stays in self.stays.values():
            yield from stays

    def fitted(self) -> Iterable[Stay]:
        """Yield the stay of every set that is on a spindle."""
        for stays in self.stays.values():
            if stays[-1].end is None:
                yield stays[-1]
