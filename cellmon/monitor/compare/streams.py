"""One stream on both sides of a comparison: level and spread, the second against the first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from cellmon import lengths, local
from cellmon.charts.alike import Between, spread_inside
from cellmon.charts.differences import (
    Groups,
    Stretches,
    Tilt,
    common_since,
    groups_of,
    level_difference,
    spread_difference,
    stretches_of,
)
from cellmon.drift.slope import common_slope
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import FEATURE_COLUMNS, SIZE_COLUMNS
from cellmon.monitor.answers import Estimate
from cellmon.monitor.compare.bores import SideBores, numbered
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.view import View
from cellmon.records import Flags, Numbers, Stream, Texts
from cellmon.words import say

FORM = ("taper", "barrel", "ovality", "size_range")
"""Compared beside the features of the sheet."""
CLEAR = 2.5
"""Standard errors from which a form is believed to move with wear; of the size it is always reckoned with."""
LEAST_BORES = 20
"""Of each side, in one stream."""


@dataclass(frozen=True, kw_only=True)
class SideFigures:
    """One stream on one side."""

    bores: int
    stretches: int
    """Shifts between two dressings, or parts of them, that count once each for the level."""
    cut: bool
    """Whether they are parts, as there are fewer than four."""
    mean_um: float
    sd_within_um: float | None


@dataclass(frozen=True, kw_only=True)
class ComparedStream:
    """One stream of both sides; the second against the first. No bore: all of them, as positions differ."""

    stream: Stream
    first: SideFigures
    second: SideFigures
    level_um: Estimate | None
    """How far the second level lies above the first."""
    spread_ratio: Estimate | None
    """How many times as wide the second scatters inside small groups of bores."""
    differs: tuple[str, ...]
    """Of `level` and `spread`, what the intervals leave no doubt of."""
    at_bores_since_dressing: float | None
    """Where both levels are compared; None: means as they are."""
    slope_um_per_100_bores: float | None
    """Along which they were carried there."""
    words: str
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """The bores of both sides that have one feature; `column` of `Bores` holds it."""

    stream: Stream
    column: str
    first: SideBores
    second: SideBores


def pairs(view: View, first: SideBores, second: SideBores, feature: str | None) -> Iterator[Pair]:
    """Yield each stream that both sides have; of all positions together where none is common."""
    parts = [_charted(view, side) for side in (first, second)]
    places = [
        set(zip(p, s.bores.spindle, s.bores.bore, strict=True))
        for p, s in zip(parts, (first, second), strict=True)
    ]
    common = sorted(places[0] & places[1])
    keys: list[tuple[str, str | None, str | None]] = [*common]
    if not common:
        keys = [(number, None, None) for number in sorted(set(parts[0]) & set(parts[1]))]
    for number, spindle, bore in keys:
        sides = [
            side.select(_at(side, charted, number, spindle, bore))
            for side, charted in zip((first, second), parts, strict=True)
        ]
        for name, column in _columns(view, number):
            there = [np.isfinite(getattr(side.bores, column)) for side in sides]
            if feature in (None, name) and all(rows.any() for rows in there):
                stream = Stream(part_number=number, spindle=spindle, bore=bore, feature=name)
                one, two = (side.select(rows) for side, rows in zip(sides, there, strict=True))
                yield Pair(stream=stream, column=column, first=one, second=two)


def _charted(view: View, side: SideBores) -> Texts:
    """Return the part number under which each bore is charted."""
    number = side.bores.part_number
    known = {n: view.sheet.charted_as(n) for n in set(number.tolist())}
    found: Texts = np.empty(len(number), dtype=object)
    found[:] = [known[n] for n in number.tolist()]
    return found


def _at(side: SideBores, charted: Texts, number: str, spindle: str | None, bore: str | None) -> Flags:
    rows: Flags = charted == number
    for column, wanted in (("spindle", spindle), ("bore", bore)):
        if wanted is not None:
            rows = rows & (getattr(side.bores, column) == wanted)
    return rows


def _columns(view: View, number: str) -> Iterator[tuple[str, str]]:
    """Yield each feature of a part that its bores have, and the column that holds it."""
    part = view.sheet.charted_part(number)
    charted = [name for name in part.charted if name in (*FEATURE_COLUMNS, SIZE)]
    for name in dict.fromkeys((*charted, *FORM)):
        yield name, SIZE_COLUMNS.get(part.diameter.size, "average") if name == SIZE else name


def compared(pair: Pair, *, size: int, confidence: float) -> ComparedStream:
    """Return one stream of both sides; `size` bores in a row tell of the spread."""
    one, two = (_Figures.of(side, pair.column, max(size, 2)) for side in (pair.first, pair.second))
    tilt = _tilt(pair.stream, one, two)
    why_not: dict[str, str] = {}
    level = spread = None
    try:
        if min(one.n, two.n) < LEAST_BORES:
            what = say("undoubted bores of each side")
            raise NotEnoughData(what, need=LEAST_BORES, got=min(one.n, two.n))
        level = level_difference(one.stretches, two.stretches, confidence=confidence, tilt=tilt)
    except NotEnoughData as few:
        why_not["level_um"], tilt = str(few), None
    try:
        spread = spread_difference(one.groups, two.groups, confidence=confidence)
    except (NotEnoughData, NoSpread) as refused:
        why_not["spread_ratio"] = str(refused)
    differs = tuple(_clear((("level", level, 0.0), ("spread", spread, 1.0))))
    return ComparedStream(
        stream=pair.stream,
        first=one.shown(),
        second=two.shown(),
        level_um=_estimate(level, confidence),
        spread_ratio=_estimate(spread, confidence),
        differs=differs,
        at_bores_since_dressing=common_since(one.stretches, two.stretches) if tilt else None,
        slope_um_per_100_bores=100 * tilt.slope_um if tilt else None,
        words=_words(level, spread, differs),
        why_not=why_not,
    )


def _clear(found: Sequence[tuple[str, Between | None, float]]) -> Iterator[str]:
    for name, one, nothing in found:
        if one is not None and not one.low <= nothing <= one.high:
            yield name


@dataclass(frozen=True, kw_only=True, eq=False)
class _Figures:
    n: int
    mean: float
    stretches: Stretches
    groups: Groups

    @classmethod
    def of(cls, side: SideBores, column: str, size: int) -> _Figures:
        """Return what one side says of one column; `size` bores make a group."""
        values: Numbers = getattr(side.bores, column)
        # of several positions together, a group still holds one of them
        inside = numbered(side.stretch, side.bores.spindle.astype(str), side.bores.bore.astype(str))
        return cls(
            n=len(values),
            mean=float(values.mean()),
            stretches=stretches_of(values, side.stretch, side.since, least=size),
            groups=groups_of(values, inside, side.since, size=size),
        )

    def shown(self) -> SideFigures:
        """Return the figures that an answer carries."""
        try:
            sd = spread_inside(self.groups.sd, self.groups.n).sd
        except (NotEnoughData, NoSpread):
            sd = None
        return SideFigures(
            bores=self.n,
            stretches=len(self.stretches.n),
            cut=self.stretches.cut,
            mean_um=self.mean,
            sd_within_um=sd,
        )


def _tilt(stream: Stream, one: _Figures, two: _Figures) -> Tilt | None:
    """Return how a level moves between dressings; None where that is not known, or not clear of a form."""
    groups, stretches = (one.groups, two.groups), (one.stretches, two.stretches)
    since = np.concatenate([g.since for g in groups])
    known = np.concatenate([since, *(s.since for s in stretches)])
    if not np.isfinite(known).all() or not all(len(s.n) for s in stretches):
        return None
    number = np.concatenate([2 * groups[0].stretch, 2 * groups[1].stretch + 1])
    try:
        found = common_slope(np.concatenate([g.mean for g in groups]), since, number)
    except NotEnoughData:
        return None
    if stream.feature != SIZE and abs(found.um) <= CLEAR * found.error_um:
        return None
    return Tilt(slope_um=found.um, error_um=found.error_um)


def _estimate(found: Between | None, confidence: float) -> Estimate | None:
    return None if found is None else Estimate.of(found, confidence=confidence)


def _words(level: Between | None, spread: Between | None, differs: Sequence[str]) -> str:
    said = []
    if "level" in differs and level is not None:
        low, high = sorted((abs(level.low), abs(level.high)))
        by = {
            "by": lengths.said(abs(level.value), 2),
            "low": lengths.bare(low, 2),
            "high": lengths.bare(high, 2),
        }
        if level.value > 0:
            said.append(say("{by} higher ({low} to {high})", **by))
        else:
            said.append(say("{by} lower ({low} to {high})", **by))
    if "spread" in differs and spread is not None:
        ends = (spread.low, spread.high)
        # what differs does not read as if it did not
        digits = 3 if any("1.00" in f"{end:.2f}" for end in ends) else 2
        said.append(
            say(
                "scatters {times} times as wide ({low} to {high})",
                times=local.number(spread.value, 2),
                low=local.number(ends[0], digits),
                high=local.number(ends[1], digits),
            )
        )
    if said:
        return ", ".join(said)
    if level is None:
        return say("cannot be told") if spread is None else say("no difference shown")
    most = lengths.said(max(-level.low, level.high), 2)
    return say("no difference shown; up to {most} is not excluded", most=most)
