"""Bores that each spindle honed up to a moment, by unit of judging; all parts count.

The newest weeks are counted bore by bore. Of older units the bores stand as `counted` has them, and are taken
as even in time inside a unit: a shift that is long over keeps its bores whatever comes later.

A bore of a larger part wears stones more: it counts by its area, and by the stock taken where the sheet
says it (`stock_um` of a part), against the first part of the sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.counted import (
    LONGEST,
    Lately,
    LongOver,
    Made,
    OneByOne,
    Unit,
    lately,
    long_over,
    one_by_one,
)
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.view import View
from cellmon.records import Times, Whole
from cellmon.sheet import Part, Sheet

Floats = NDArray[np.float64]

LATEST = np.datetime64(2**62, "us")


def weights(sheet: Sheet) -> dict[str, float]:
    """Return what a bore of each part counts: its area times its stock, against the sheet's first part."""
    first = sheet.parts[0]
    found = {}
    for part in sheet.parts:
        found[part.number] = _area(part, first) * _stock(part, first)
    for part in sheet.parts:
        found.setdefault(sheet.charted_as(part.number), found[part.number])
    return found


def _area(part: Part, first: Part) -> float:
    length = 1.0 if part.length_mm is None or first.length_mm is None else part.length_mm / first.length_mm
    return length * part.diameter.nominal / first.diameter.nominal


def _stock(part: Part, first: Part) -> float:
    return 1.0 if part.stock_um is None or first.stock_um is None else part.stock_um / first.stock_um


@dataclass(frozen=True, kw_only=True, eq=False)
class Honed:
    """Counts of every spindle."""

    view: View
    weight: Mapping[str, float]
    over: LongOver
    lately: Lately
    made: Mapping[str, Made]
    _between: dict[tuple[str, np.datetime64, np.datetime64], float] = field(default_factory=dict)

    @classmethod
    def of(cls, view: View) -> Honed:
        """Read the counts up to the moment of the view."""
        weight = weights(view.sheet)
        over, newest = long_over(view, weight), lately(view, weight)
        spindles = {name for unit in newest.units.values() for name in unit}
        made = {name: _made(over, newest, name) for name in sorted({*over.made, *spindles})}
        return cls(view=view, weight=weight, over=over, lately=newest, made=made)

    def stamp(self, until: np.datetime64) -> tuple[object, ...]:
        """Return what all counts up to a moment rest on: it is the same as long as they are."""
        if until < self._counted_since:
            return (self.over,)
        lately = int(np.searchsorted(self.lately.start, until, side="right"))
        return (self.over, *self.lately.stamps[:lately])

    def count(self, stays: Iterable[Stay]) -> None:
        """Count the bores of many stays together, as `between` does of each."""
        by_spindle: dict[str, list[tuple[np.datetime64, np.datetime64]]] = {}
        for stay in stays:
            end = self.view.as_of if stay.end is None else stay.end
            by_spindle.setdefault(stay.spindle, []).append((stay.start, end))
        for spindle, spans in by_spindle.items():
            moments = np.array(spans, dtype="datetime64[us]").ravel()
            at = self.upto(spindle, moments, asked=np.arange(len(moments)) // 2).reshape(-1, 2)
            for (start, end), (first, last) in zip(spans, at, strict=True):
                self._between[spindle, start, end] = float(last - first)

    def upto(self, spindle: str, moments: Times, *, asked: Whole | None = None) -> Floats:
        """Return the bores a spindle had honed by each moment, since the store begins.

        A unit in which a moment lies is counted closer for all that are asked together: `asked` numbers
        those that are, all of them without it.
        """
        made = self.made.get(spindle)
        if made is None or not len(made.start):
            return np.zeros(len(moments))
        unit = np.searchsorted(made.start, moments, side="right") - 1
        found, there = np.zeros(len(moments)), unit >= 0
        together = np.zeros(len(moments), dtype=np.int64) if asked is None else asked
        inside = self._inside(spindle, made, unit[there], moments[there], together[there])
        found[there] = made.before[unit[there]] + inside
        return found

    def between(self, spindle: str, start: np.datetime64, end: np.datetime64) -> float:
        """Return the bores a spindle honed between two moments; asked of each stay again and again."""
        if (spindle, start, end) not in self._between:
            at = self.upto(spindle, np.array([start, end], dtype="datetime64[us]"))
            self._between[spindle, start, end] = float(at[1] - at[0])
        return self._between[spindle, start, end]

    def _inside(self, spindle: str, made: Made, unit: Whole, moments: Times, asked: Whole) -> Floats:
        """Return the bores of the unit that holds each moment, made in it by then."""
        groups, which = np.unique(asked * len(made.start) + unit, return_inverse=True)
        units = groups % len(made.start)
        first: Times = np.full(len(units), LATEST)
        np.minimum.at(first, which, moments)
        start, end, bores = made.start[units], made.end[units], made.bores[units]
        over = (first >= end) & (end <= self.view.as_of)
        length = np.maximum(end - start, np.timedelta64(1, "us"))
        share = np.clip((moments - start[which]) / length[which], 0.0, 1.0)
        found = np.where(over[which], 1.0, share) * bores[which]
        exact = ~over & ((end - start > LONGEST) | (start >= self._counted_since))
        for k in np.flatnonzero(exact):
            one, here = self._one_by_one(spindle, start[k]), which == k
            at = np.searchsorted(one.at, np.minimum(moments[here], self.view.as_of), side="right")
            found[here] = np.concatenate(([0.0], np.cumsum(one.weight)))[at]
        return np.asarray(found, dtype=np.float64)

    @cached_property
    def _counted_since(self) -> np.datetime64:
        return self.lately.start[0] if len(self.lately.start) else LATEST

    def _one_by_one(self, spindle: str, start: np.datetime64) -> OneByOne:
        """Return when each bore of a unit was honed first, and what it counts."""
        if start not in self._units:
            self._units[start] = one_by_one(self.view, start, self.weight)
        return self._units[start].get(spindle, NONE)

    @cached_property
    def _units(self) -> dict[np.datetime64, Unit]:
        return dict(self.lately.units)


NONE = OneByOne(at=np.array([], dtype="datetime64[us]"), weight=np.zeros(0))


def _made(over: LongOver, newest: Lately, spindle: str) -> Made:
    """Return the units of one spindle, the older ones before those counted bore by bore."""
    mine = [i for i, unit in enumerate(newest.units.values()) if spindle in unit]
    start, end = newest.start[mine], newest.end[mine]
    bores = np.array([newest.units[at][spindle].total for at in start], dtype=np.float64)
    before = over.made.get(spindle)
    if before is None:
        return Made.of(start, end, bores)
    return Made.of(
        np.concatenate((before.start, start)),
        np.concatenate((before.end, end)),
        np.concatenate((before.bores, bores)),
    )
