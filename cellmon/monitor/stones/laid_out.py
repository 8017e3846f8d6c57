"""What was measured of a stone set, laid out as rounds, stones and places, whatever it had honed by then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.records import StoneMeasurements, Times, Whole, absent
from cellmon.words import say, to_say

Floats = NDArray[np.float64]

APART = np.timedelta64(4, "h")
"""Readings of one set farther apart are two rounds, whatever their number."""
POSITIONS = ("top", "middle", "bottom")
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


def laid_out(rows: Mapping[str, StoneMeasurements], per_set: Mapping[str, int]) -> Grids:
    """Return the measurements of each set, given its rows in order of time; `per_set` stones are of one.

    Sets of which no reading is that of a stone are left out.
    """
    laid = {name: _grid(rows[name], most=per_set.get(name)) for name in sorted(rows)}
    return {name: grid for name, grid in laid.items() if grid is not None}


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
