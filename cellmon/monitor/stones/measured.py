"""Measured thickness of stones as rounds of each set, beside the bores it had honed by then."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.honed import Honed
from cellmon.monitor.stones.log import LoggedOf, Stay, StoneLog
from cellmon.records import StoneMeasurements, Times, Whole, absent
from cellmon.stones.evenness import Swap, swapped
from cellmon.stones.wear import Thickness
from cellmon.words import say, to_say

Floats = NDArray[np.float64]

APART = np.timedelta64(4, "h")
"""Readings of one set farther apart are two rounds, whatever their number."""
POSITIONS = ("top", "middle", "bottom")
SAME_BORES = 1.0
"""Rounds with fewer bores between, and near in time, are repeats of each other."""

FAR = 10.0
"""So many times the median of its set: another unit, or a slip of the finger; practice, no source."""
MOST_SAID = 3


@dataclass(frozen=True, kw_only=True)
class StoneNow:
    """One stone at its last measurement; µm, None where a place was not measured."""

    stone: str
    holder: str | None
    way_up: str | None
    places_um: Mapping[str, float | None]


@dataclass(frozen=True, kw_only=True, eq=False)
class Rounds:
    """All rounds of one set.

    `at` has shape (rounds,); stones and places name the axes of `thickness`; `repeats_um` are differences
    of two readings of one place with no bores between.
    """

    at: Times
    thickness: Thickness
    stones: tuple[str, ...]
    places: tuple[str, ...]
    last: tuple[StoneNow, ...]
    repeats_um: Floats
    asked: tuple[str, ...]
    said: tuple[str, ...]

    def says(self, other: Rounds) -> bool:
        """Return whether others say the same: of the same measurements, with the same bores by then."""
        alike = self.thickness.um is other.thickness.um
        return alike and np.array_equal(self.thickness.bores, other.thickness.bores)

    def swap(self, *, reading_um: float) -> Swap | None:
        """Return how stones may have changed place at the last round."""
        um = self.thickness.um
        return swapped(um[-2], um[-1], reading_um=reading_um) if len(um) > 1 else None


def rounds_of(
    rows: Mapping[str, StoneMeasurements],
    log: StoneLog,
    honed: Honed,
    *,
    per_set: Mapping[str, int],
    before: Mapping[str, float],
    grids: Callable[[Callable[[], Grids]], Grids] = lambda work: work(),
    each: Callable[[Mapping[str, Any], Callable[[str], Rounds]], dict[str, Rounds]] | None = None,
    before_now: Mapping[str, Rounds] = MappingProxyType({}),
) -> dict[str, Rounds]:
    """Return the rounds of every set that was measured, given its rows in order of time.

    `per_set`: how many stones its kind has; `before`: bores it had honed when it was received; `grids`
    returns what the rows alone say, `each` the rounds of each set, worked out now or as they were, which
    are `before_now` and stay the same ones where they say the same.
    """
    laid = grids(lambda: _grids(rows, per_set))

    def work(name: str) -> Rounds:
        begun, grid, known = before.get(name, 0.0), laid[name], before_now.get(name)
        found = _rounds(grid, bores_at(log.stays.get(name, ()), honed, grid.moments, before=begun))
        return known if known is not None and found.says(known) else found

    if each is None:
        return {name: work(name) for name in laid}
    counts = {name: _counts_of(log.logged_of(name), honed, grid.moments) for name, grid in laid.items()}
    return each({name: (grid, before.get(name), *counts[name]) for name, grid in laid.items()}, work)


def _counts_of(logged: LoggedOf, honed: Honed, moments: Times) -> tuple[Any, ...]:
    """Return what the bores of a set by some moments rest on, the last of which is the newest."""
    runs = logged.is_fitted and _counted(logged.stays[-1], honed) > 0
    return (logged, runs, honed.stamp(max(moments[-1], logged.last)))


def _grids(rows: Mapping[str, StoneMeasurements], per_set: Mapping[str, int]) -> Grids:
    laid = {name: _grid(rows[name], most=per_set.get(name)) for name in sorted(rows)}
    return {name: grid for name, grid in laid.items() if grid is not None}


def bores_at(stays: Sequence[Stay], honed: Honed, moments: Times, *, before: float = 0.0) -> Floats:
    """Return the bores a set had honed by each moment; `before` those it had when it was received."""
    found, total, filled = np.zeros(len(moments)), before, np.zeros(len(moments), dtype=bool)
    parts: list[_Part] = []
    for stay in stays:
        begun = total if not stay.before else max(stay.before, total)
        inside = (moments >= stay.start) & ~filled
        if stay.end is not None:
            inside &= moments <= stay.end
        total = begun + _gained(stay, honed, begun)
        earlier = (moments < stay.start) & ~filled
        found[earlier], filled[earlier] = begun, True
        if inside.any():
            parts.append(_Part(stay=stay, moments=np.flatnonzero(inside), begun=begun, gained=total - begun))
        filled |= inside
    found[~filled] = total
    for one, counted in zip(parts, _counted_by(parts, honed, moments), strict=True):
        found[one.moments] = one.begun + _within(one, honed, moments[one.moments], counted)
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Part:
    """What of some moments lies in one stay."""

    stay: Stay
    moments: Whole
    begun: float
    gained: float


def _counted_by(parts: Sequence[_Part], honed: Honed, moments: Times) -> list[Floats]:
    """Return what the spindle of each stay had honed when it began and by each moment in it, all at once."""
    found: list[Floats] = [np.zeros(0)] * len(parts)
    for spindle in dict.fromkeys(one.stay.spindle for one in parts):
        mine = [k for k, one in enumerate(parts) if one.stay.spindle == spindle]
        asked = [np.concatenate(([parts[k].stay.start], moments[parts[k].moments])) for k in mine]
        sizes = [len(one) for one in asked]
        at = honed.upto(spindle, np.concatenate(asked), asked=np.repeat(np.arange(len(mine)), sizes))
        for k, counted in zip(mine, np.split(at, np.cumsum(sizes)[:-1]), strict=True):
            found[k] = counted
    return found


def _gained(stay: Stay, honed: Honed, begun: float) -> float:
    """Return the bores of one stay: counted where the store has any of it, else as the log says."""
    counted = _counted(stay, honed)
    logged = None if stay.after is None else stay.after - begun
    if counted <= 0 and logged is not None:
        return max(logged, 0.0)
    return counted


def _counted(stay: Stay, honed: Honed) -> float:
    end = honed.view.as_of if stay.end is None else stay.end
    return honed.between(stay.spindle, stay.start, end)


def _within(one: _Part, honed: Honed, moments: Times, counted: Floats) -> Floats:
    """Return the bores of a stay by some moments in it."""
    stay = one.stay
    if _counted(stay, honed) > 0:
        return np.asarray(np.minimum(counted[1:] - counted[0], one.gained), dtype=np.float64)
    end = honed.view.as_of if stay.end is None else stay.end
    length = max((end - stay.start) / np.timedelta64(1, "us"), 1.0)
    share = (moments - stay.start) / np.timedelta64(1, "us") / length
    return np.asarray(np.clip(share, 0.0, 1.0) * one.gained, dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """The measurements of one set laid out in rounds, whatever it had honed by then."""

    moments: Times
    """Every moment at which it was measured, ascending."""
    begins: Whole
    """Which of them each round begins with."""
    at: Times
    um: Floats
    """Means, shape (rounds, stones, places)."""
    cell: Whole
    """The place of each reading in `um`, laid out flat."""
    read_um: Floats
    stones: tuple[str, ...]
    places: tuple[str, ...]
    last: tuple[StoneNow, ...]
    asked: tuple[str, ...]
    said: tuple[str, ...]


Grids = Mapping[str, Grid]


def _grid(rows: StoneMeasurements, *, most: int | None) -> Grid | None:
    moments, back = np.unique(rows.at, return_inverse=True)
    said: list[str] = []
    stones = _stones(rows, most, said)
    keep = np.isin(rows.stone.astype(str), stones) & np.isfinite(rows.thickness_mm)
    keep &= _alike(rows, said)
    keep &= _stone_like(rows, said)
    rows, back = rows.select(keep), back[keep]
    if not len(rows):
        return None
    group = _group(rows)
    places = tuple(p for p in POSITIONS if (rows.position == p).any())
    shape = (int(group[-1]) + 1, len(stones), len(places))
    place_of_stone, place_of = ({name: k for k, name in enumerate(names)} for names in (stones, places))
    s = np.array([place_of_stone[str(x)] for x in rows.stone.tolist()])
    p = np.array([place_of[x] for x in rows.position.tolist()])
    um = rows.thickness_mm * 1000
    cell = np.ravel_multi_index((group, s, p), shape)
    count = np.bincount(cell, minlength=int(np.prod(shape)))
    with np.errstate(invalid="ignore"):
        mean = np.bincount(cell, um, minlength=len(count)) / np.where(count > 0, count, np.nan)
    first = np.searchsorted(group, np.arange(shape[0]))
    grid = mean.reshape(shape)
    return Grid(
        moments=moments,
        begins=back[first],
        at=rows.at[first],
        um=grid,
        cell=cell,
        read_um=um,
        stones=stones,
        places=places,
        last=_last(rows, stones, places, grid[-1]),
        asked=tuple(_moved(rows, group)),
        said=tuple(said),
    )


def _rounds(grid: Grid, bores: Floats) -> Rounds:
    """Return the rounds of a set, from the bores it had honed by each moment it was measured."""
    honed = np.maximum.accumulate(bores[grid.begins])
    still = (np.diff(honed) < SAME_BORES) & (np.diff(grid.at) <= APART)
    return Rounds(
        at=grid.at,
        thickness=Thickness(bores=honed, um=grid.um),
        stones=grid.stones,
        places=grid.places,
        last=grid.last,
        repeats_um=_repeats(grid.cell, grid.read_um, grid.um, still=still),
        asked=grid.asked,
        said=grid.said,
    )


def _stones(rows: StoneMeasurements, most: int | None, said: list[str]) -> tuple[str, ...]:
    """Return the stones of a set in the order they were measured first; more than it has are left out."""
    every = tuple(map(str, dict.fromkeys(rows.stone.tolist())))
    if most is None or len(every) <= most:
        return tuple(sorted(every, key=lambda x: (len(x), x)))
    times = {x: int((rows.stone == x).sum()) for x in every}
    kept = sorted(every, key=lambda x: (-times[x], every.index(x)))[:most]
    left = [x for x in every if x not in kept]
    said.append(
        say(
            "a set of its kind has {most} stones: stone {left} is not known here and left out",
            most=most,
            left=", ".join(left),
        )
    )
    return tuple(sorted(kept, key=lambda x: (len(x), x)))


def _alike(rows: StoneMeasurements, said: list[str]) -> np.ndarray:
    """Return which rows were measured as the first was: with or without the holder."""
    said_as = {word: str(word or "").strip().lower() for word in dict.fromkeys(rows.with_holder.tolist())}
    how = np.array([said_as[word] for word in rows.with_holder.tolist()], dtype=object)
    alike = how == (how[0] if len(how) else "")
    if not alike.all():
        said.append(
            say("measured with and without the holder: only readings taken as the first one are compared")
        )
    return np.asarray(alike, dtype=bool)


def _stone_like(rows: StoneMeasurements, said: list[str]) -> np.ndarray:
    """Return which readings a stone can have: above 0, and not far beyond all others of its set."""
    mm = rows.thickness_mm
    there = np.isfinite(mm)
    usual = float(np.median(mm[there & (mm > 0)])) if (there & (mm > 0)).any() else 0.0
    odd = np.flatnonzero(there & ((mm <= 0) | (mm > FAR * usual)))
    for i in odd[:MOST_SAID]:
        said.append(
            say(
                "stone {stone} {position} read {mm} mm: no thickness, left out",
                stone=rows.stone[i],
                position=rows.position[i],
                mm=f"{mm[i]:g}",
            )
        )
    if len(odd) > MOST_SAID:
        more = len(odd) - MOST_SAID
        said.append(say("{more} more readings that are no thickness: left out", more=more))
    like: np.ndarray = ~np.isin(np.arange(len(mm)), odd)
    return like


def _group(rows: StoneMeasurements) -> np.ndarray:
    """Return the round of each row: a new one where its number changes or time has passed."""
    number = np.nan_to_num(rows.round, nan=-1.0)
    new = (np.diff(rows.at) > APART) | (np.diff(number) != 0)
    return np.concatenate(([0], np.cumsum(new)))


def _repeats(cell: np.ndarray, um: Floats, grid: Floats, *, still: np.ndarray) -> Floats:
    """Return differences of readings of one place: in one round, and between rounds with nothing honed."""
    order = np.lexsort((np.arange(len(cell)), cell))
    same = cell[order][1:] == cell[order][:-1]
    within = np.diff(um[order])[same]
    rounds = np.flatnonzero(still)
    between = (grid[rounds + 1] - grid[rounds]).ravel()
    found = np.concatenate((within, between[np.isfinite(between)]))
    return np.asarray(found, dtype=np.float64)


def _last(
    rows: StoneMeasurements, stones: Sequence[str], places: Sequence[str], um: Floats
) -> tuple[StoneNow, ...]:
    found = []
    for i, stone in enumerate(stones):
        mine = np.flatnonzero(rows.stone == stone)
        cells = {p: float(v) if np.isfinite(v) else None for p, v in zip(places, um[i], strict=True)}
        found.append(
            StoneNow(
                stone=stone,
                holder=rows.holder[mine[-1]] if len(mine) else None,
                way_up=rows.way_up[mine[-1]] if len(mine) else None,
                places_um=cells,
            )
        )
    return tuple(found)


MOVED = {
    "holder": to_say(
        "stone {stone} was in holder {before} and is now in holder {now} (round {round}): is it back where "
        "it came from?"
    ),
    "way_up": to_say(
        "stone {stone} was with way up {before} and is now with way up {now} (round {round}): is it back "
        "where it came from?"
    ),
}


def _moved(rows: StoneMeasurements, group: np.ndarray) -> list[str]:
    """Ask about stones that the log itself shows in another holder or the other way up than before."""
    asked = []
    for name, words in MOVED.items():
        told = getattr(rows, name)
        known = ~absent(told)
        for stone in dict.fromkeys(rows.stone.tolist()):
            mine = (rows.stone == stone) & known
            seen = told[mine]
            if len(seen) > 1 and seen[-1] != seen[0]:
                k = int(np.flatnonzero(seen != seen[0])[0])
                round_ = int(group[mine][k]) + 1
                asked.append(say(words, stone=stone, before=seen[0], now=seen[-1], round=round_))
    return asked
