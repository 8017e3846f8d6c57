"""What a signal tells of by itself: the call that says it best, and where each feature moved beside it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cellmon.judged import OFFSETS
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.evidence import Moved
from cellmon.monitor.judge.groups import Group
from cellmon.records import Stream

SURE = 3.5
"""Standard errors from which a stream is told to have moved beside a call."""
LIKELY = 1.3
"""Deviates from which a spread is told to have grown beside another that surely did."""
LEAST_SHIFT = 0.6
"""Standard deviations of a bore below which it is told to have stayed."""
LEAST_OF_LARGEST = 0.4
STRADDLES = np.timedelta64(30, "m")
"""The subgroup in which a stream changed may have begun so long before what changed it."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where one feature moved."""

    scope: str
    spindle: str | None
    bores: tuple[str, ...]
    fixture: str | None
    size: float
    """Sigmas of a bore; for a spread the ratio."""
    size_um: float


@dataclass(frozen=True, kw_only=True)
class Best:
    """The call that says a signal best, and where each feature's level and spread moved beside it."""

    call: Called
    places: Mapping[tuple[str, str], Place]

    @property
    def stream(self) -> Stream:
        """The stream that is told of: the bore, the spindle or the cell that moved."""
        place = self._place
        return self.call.stream if place is None else _stream_of(self.call.stream, place)

    @property
    def size(self) -> float:
        """How far it moved: a ratio where a spread grew, else in the unit of the feature."""
        place = self._place
        if place is None:
            return self.call.size
        return place.size if self.call.family == "spread" else place.size_um

    @property
    def _place(self) -> Place | None:
        return self.places.get((self.call.stream.feature, self.call.family))


def best_told(group: Group) -> Best:
    """Return what says a signal best."""
    main = _main_call(group)
    places = _places(main)
    wide = _rather_wide(group, main, places)
    return Best(call=main, places=places) if wide is None else Best(call=wide, places=_places(wide))


def _main_call(group: Group) -> Called:
    """Return the call that says it best: the clearest that soon told of a level, else the first.

    A step inside a subgroup widens it, and its first bores look wild, before the level is seen to move.
    """
    seen = [c for c in group.calls if c.stream.feature != OFFSETS]
    if 0 < len(seen) < len(group.calls):  # what was given answers what was seen
        group = replace(group, lead=seen[0], others=tuple(seen[1:]))
    if group.lead.family not in ("spread", "single"):
        return group.lead
    soon = SOON if group.lead.family == "single" else STRADDLES
    levels = [c for c in group.calls if c.family == "level" and c.at <= group.lead.at + soon]
    best = max(levels, key=_in_sigmas, default=None)
    least = group.lead.size / 2 if group.lead.family == "spread" else CLEAR
    if best is not None and _in_sigmas(best) >= max(CLEAR, least):
        return best
    wide = [c for c in group.calls if c.family == "spread" and c.at <= group.lead.at + SOON]
    return wide[0] if wide else group.lead


def _rather_wide(group: Group, main: Called, places: Mapping[tuple[str, str], Place]) -> Called | None:
    """Return the call of a spread, where the bores after the change scatter more than their level moved."""
    feature = main.stream.feature
    level, spread = places.get((feature, "level")), places.get((feature, "spread"))
    if main.family != "level" or spread is None or spread.size < WIDE:
        return None
    if level is not None and abs(level.size) >= spread.size:
        return None
    return next((c for c in group.calls if c.family == "spread" and c.stream.feature == feature), None)


WIDE = 1.5
"""Times the usual spread."""


def _in_sigmas(call: Called) -> float:
    return abs(call.size / call.sigma)


SOON = np.timedelta64(2, "h")
CLEAR = 1.0
"""Standard deviations of a bore from which a level that moved says more than a spread."""


def _places(main: Called) -> dict[tuple[str, str], Place]:
    """Return where each feature's level and spread moved beside a call."""
    place = main.stream.spindle
    told = [m for m in main.moved if m.bore is not None or m.spindle is None or place in (None, m.spindle)]
    found = {}
    for feature in dict.fromkeys(m.feature for m in told):
        mine = [m for m in told if m.feature == feature]
        level = _place([(m, m.shift) for m in mine if _shifted(m)], mine)
        if level is not None:
            found[feature, "level"] = level
        wide = _widened(mine)
        spread = _place([(m, m.ratio or 1.0) for m in wide], mine)
        if spread is not None and not (feature == OFFSETS and level is not None):
            found[feature, "spread"] = spread
    return found


def _shifted(m: Moved) -> bool:
    return abs(m.shift) > SURE * m.error and abs(m.shift) > LEAST_SHIFT


def _widened(every: Sequence[Moved]) -> list[Moved]:
    """Return what grew wider: surely, or likely beside another bore of the same spindle that surely did."""
    surely = [m for m in every if _wider(m, SURE)]
    spindles = {m.spindle for m in surely}
    return [m for m in every if m in surely or (m.spindle in spindles and _wider(m, LIKELY))]


def _wider(m: Moved, deviates: float) -> bool:
    """Return whether a spread grew beyond what chance gives, so many normal deviates far."""
    if m.ratio is None or m.df < 4:
        return False
    return bool(m.ratio**2 > (1 - 2 / (9 * m.df) + deviates * np.sqrt(2 / (9 * m.df))) ** 3)


def _place(moved: Sequence[tuple[Moved, float]], every: Sequence[Moved]) -> Place | None:
    """Return the place that holds what moved; small moves beside a large one are left out."""
    if not moved:
        return None
    first, largest = max(moved, key=lambda m: abs(m[1]))
    same = [
        (m, size) for m, size in moved if size * largest > 0 and abs(size) >= LEAST_OF_LARGEST * abs(largest)
    ]
    bores = tuple(sorted({m.bore for m, _ in same if m.bore}))
    scope = _scope(first, bores, {m.spindle for m, _ in same}, every)
    fixtures, used = {m.fixture for m, _ in same}, {m.fixture for m in every if m.bore in bores}
    fixture = next(iter(fixtures)) if len(fixtures) == 1 and len(used) > 1 else None
    return Place(
        scope="fixture" if scope == "bore" and fixture is not None else scope,
        spindle=None if scope == "all" else first.spindle,
        bores=(first.bore,) if scope == "bore" and first.bore else bores,
        fixture=fixture,
        size=float(np.mean([size for _, size in same])),
        size_um=float(np.mean([size * m.sd for m, size in same])),
    )


def _scope(
    first: Moved, bores: Collection[str], spindles: Collection[str | None], every: Sequence[Moved]
) -> str:
    """Return whether some bores that moved are all, a spindle's, or one; `first` moved farthest."""
    if first.bore is None:
        return "all" if first.spindle is None or len(spindles) > 1 else "spindle"
    everyone = {m.bore for m in every}
    if len(everyone) > 1 and (set(bores) == everyone or len(bores) >= max(3, len(everyone) - 1)):
        return "all"
    of_spindle = {m.bore for m in every if m.spindle == first.spindle}
    whole = len(spindles) == 1 and len(bores) > 1 and set(bores) == of_spindle
    return "spindle" if whole else "bore"


def _stream_of(stream: Stream, place: Place) -> Stream:
    bore = place.bores[0] if place.scope in ("bore", "fixture") else None
    return Stream(
        part_number=stream.part_number,
        spindle=place.spindle,
        bore=bore,
        feature=stream.feature,
        fixture=place.fixture,
    )
