"""Bores that each spindle honed up to a moment, from counts of each unit of judging; all parts count.

The counts are of bores with a complete measurement. The newest units are counted bore by bore, and what
they have beside complete ones is added to the older in proportion.

A bore of a larger part wears stones more: it counts by its area, and by the stock taken where the sheet
says it (`stock_um` of a part), against the first part of the sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.log import Stay
from cellmon.monitor.view import View
from cellmon.records import Times, Whole
from cellmon.sheet import Part, Sheet

Floats = NDArray[np.float64]

LATEST = np.datetime64(2**62, "us")
LONGEST = np.timedelta64(36, "h")
"""A unit that is longer is no shift: its bores are counted one by one."""
EXACT = 60
"""The newest units are counted to the bore; inside older ones bores are taken as even in time."""
SAMPLED = 12
"""Newest units that tell how many bores have no complete measurement."""


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
class Made:
    """Bores of one spindle by unit of judging, in order of time; counted by their weight."""

    start: Times
    end: Times
    before: Floats
    """Bores before each unit."""
    bores: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Honed:
    """Counts of every spindle."""

    view: View
    weight: Mapping[str, float]
    made: Mapping[str, Made]
    _moments: dict[tuple[str, np.datetime64], _OneByOne] = field(default_factory=dict)
    _between: dict[tuple[str, np.datetime64, np.datetime64], float] = field(default_factory=dict)

    @classmethod
    def of(cls, view: View, stays: Iterable[Stay] = ()) -> Honed:
        """Read the counts up to the moment of the view, and what was honed in each of some stays."""
        weight = weights(view.sheet)
        rows: dict[str, dict[tuple[np.datetime64, np.datetime64], float]] = {}
        for row in view.session.made_by_unit():
            if row.start > view.as_of:
                continue
            mine = rows.setdefault(row.spindle, {})
            span = (row.start, row.end)
            mine[span] = mine.get(span, 0.0) + row.bores * weight.get(row.part_number, 1.0)
        found = cls(view=view, weight=weight, made={name: _made(units) for name, units in rows.items()})
        made = {name: found.completed(name, made) for name, made in found.made.items()}
        counted = replace(found, made=made, _between={})
        counted._count(stays)
        return counted

    def _count(self, stays: Iterable[Stay]) -> None:
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

    def completed(self, spindle: str, made: Made) -> Made:
        """Return counts with the bores that have no complete measurement, as the newest units have them."""
        short = made.end - made.start <= LONGEST
        newest = np.flatnonzero(short)[-SAMPLED:]
        counted = float(made.bores[newest].sum())
        if counted <= 0:
            return made
        honed = sum(float(self._one_by_one(spindle, made.start[u]).weight.sum()) for u in newest)
        bores = made.bores * (honed / counted)
        for u in newest:
            bores[u] = float(self._one_by_one(spindle, made.start[u]).weight.sum())
        return replace(made, bores=bores, before=np.concatenate(([0.0], np.cumsum(bores)))[:-1])

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
        exact = ~over & ((end - start > LONGEST) | (len(made.start) - units <= EXACT))
        for k in np.flatnonzero(exact):
            one, here = self._one_by_one(spindle, start[k]), which == k
            at = np.searchsorted(one.at, np.minimum(moments[here], self.view.as_of), side="right")
            found[here] = np.concatenate(([0.0], np.cumsum(one.weight)))[at]
        return np.asarray(found, dtype=np.float64)

    def _one_by_one(self, spindle: str, start: np.datetime64) -> _OneByOne:
        """Return when each bore of a unit was honed first, and what it counts."""
        if (spindle, start) not in self._moments:
            first = self.view.session.first_honed(start).get(spindle)
            numbers = [] if first is None else first.part_number.tolist()
            weight = np.array([self.weight.get(n, 1.0) for n in numbers], dtype=np.float64)
            at = np.array([], dtype="datetime64[us]") if first is None else first.at
            self._moments[spindle, start] = _OneByOne(at=at, weight=weight)
        return self._moments[spindle, start]


@dataclass(frozen=True, kw_only=True, eq=False)
class _OneByOne:
    """The bores of one spindle in one unit, in order of time."""

    at: Times
    weight: Floats


def _made(units: Mapping[tuple[np.datetime64, np.datetime64], float]) -> Made:
    spans = sorted(units)
    bores = np.array([units[span] for span in spans], dtype=np.float64)
    return Made(
        start=np.array([start for start, _ in spans], dtype="datetime64[us]"),
        end=np.array([end for _, end in spans], dtype="datetime64[us]"),
        before=np.concatenate(([0.0], np.cumsum(bores)))[:-1],
        bores=bores,
    )
