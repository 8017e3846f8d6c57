"""What is odd about thickness typed by hand: it grows, beats a new stone, is of another set or holder."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from cellmon import lengths
from cellmon.local import number, significant
from cellmon.monitor.stones.asked import AHEAD, ahead_words, minute
from cellmon.monitor.stones.log import ENDS, StoneLog
from cellmon.monitor.stones.measured import rounds_of
from cellmon.monitor.stones.now import StonesNow, stones_now
from cellmon.monitor.stones.odd import UNKNOWN_REPEATABILITY_UM
from cellmon.monitor.stones.sets import swap_words
from cellmon.monitor.view import View
from cellmon.records import StoneMeasurements, no_rows
from cellmon.sheet import StoneKind
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say

TWELVE_OF_A_SET = 3.0
"""Standard deviations of a difference: one set of 12 unmoved places in sixty is asked about."""
OVER_NEW = 0.02
"""Of the new thickness: makers' sizes spread by less; practice, no source."""
FAR_FROM_THE_OTHERS = 0.10
"""Of the depth a set wears: a place that lost so much more than the others chipped or was misread."""
AS_INCH = 0.3
"""So near a thickness that is likely, relative; a stone wears by more between two measurements seldom."""
MM_PER_INCH = UM_PER[LengthUnit.INCH] / UM_PER[LengthUnit.MM]
NO = ("", "no", "n", "0", "false")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Typed:
    """The new readings of one set at one time, beside what is known of the set."""

    view: View
    now: StonesNow
    name: str
    rows: StoneMeasurements
    old: StoneMeasurements
    """Of the same set, earlier, in order of time."""
    kind: StoneKind | None


def asked_of_sizes(view: View, new: StoneMeasurements, *, at: np.datetime64) -> tuple[str, ...]:
    """Return the questions that typed thickness raises; `at` is the moment it is typed."""
    now = stones_now(view)
    every = view.session.measured_sets()
    found: list[str] = []
    for name in dict.fromkeys(new.stone_set.tolist()):
        rows = new.select(new.stone_set == name)
        known = every.get(name, no_rows(StoneMeasurements))
        old = known.select(known.at < rows.at.min())
        typed = _Typed(view=view, now=now, name=name, rows=rows, old=old, kind=now.kind_of(name))
        found += [*_of_set(typed, at), *_of_stones(typed), *_in_inch(typed)]
        found += [*_of_sizes(typed), *_of_rounds(typed, known)]
    return tuple(dict.fromkeys(found))


def _of_set(typed: _Typed, at: np.datetime64) -> Iterator[str]:
    view, name, now = typed.view, typed.name, typed.now
    if typed.rows.at.max() > at + AHEAD:
        yield ahead_words(view, typed.rows.at.max())
    if name not in now.received and name not in now.log.stays:
        yield say("No set {stone_set} was received or fitted: is the name right?", stone_set=name)
    stays = now.stays(name)
    ended = stays[-1].end if stays and stays[-1].why in ENDS else None
    if ended is not None and ended < typed.rows.at.min():
        yield say(
            "{stone_set} was removed as {why} {when}: is it this set that was measured?",
            stone_set=name,
            why=stays[-1].why,
            when=minute(view, ended),
        )


def _of_stones(typed: _Typed) -> Iterator[str]:
    """Ask about two stones in one holder."""
    held: dict[str, list[str]] = {}
    for stone, holder in zip(typed.rows.stone, typed.rows.holder, strict=True):
        if holder is not None and stone not in held.setdefault(holder, []):
            held[holder].append(stone)
    for holder, stones in held.items():
        if len(stones) > 1:
            yield say(
                "{stone_set}: stones {stones} are all in holder {holder}.",
                stone_set=typed.name,
                stones=", ".join(stones),
                holder=holder,
            )


def _in_inch(typed: _Typed) -> Iterator[str]:
    """Ask about thickness that fits in inch: as the place before or the others, or as a new stone."""
    rows, last = typed.rows, _last_mm(typed.old)
    for i in range(len(rows)):
        mm, place = float(rows.thickness_mm[i]), (rows.stone[i], rows.position[i])
        likely = last[place].mm if place in last else float(np.median(rows.thickness_mm))
        new = likely if typed.kind is None else typed.kind.new_thickness_mm
        if any(abs(mm * MM_PER_INCH / size - 1) < AS_INCH for size in (likely, new)):
            yield say(
                "{stone_set}, stone {stone}, {place}: {value} fits as inch, and mm is asked. Type {mm}?",
                stone_set=typed.name,
                stone=place[0],
                place=place[1],
                value=significant(mm),
                mm=number(mm * MM_PER_INCH, 3),
            )


def _of_sizes(typed: _Typed) -> Iterator[str]:
    rows, kind, name = typed.rows, typed.kind, typed.name
    last = _last_mm(typed.old)
    lost: dict[int, float] = {}
    for i in range(len(rows)):
        mm, place = float(rows.thickness_mm[i]), (rows.stone[i], rows.position[i])
        whole = str(rows.with_holder[i] or "").strip().lower() not in NO
        if kind is not None and not whole and mm > kind.new_thickness_mm * (1 + OVER_NEW):
            yield _over_new(name, *place, mm=mm, new_mm=kind.new_thickness_mm)
        elif place in last:
            before = last[place]
            lost[i] = 1000 * (before.mm - mm)
            if -lost[i] > _clear_um(typed):
                yield say(
                    "{stone_set}, stone {stone}, {place}: {mm} mm, and {before} mm {when}. "
                    "Stones do not grow: another stone or place, or measured otherwise?",
                    stone_set=name,
                    stone=place[0],
                    place=place[1],
                    mm=number(mm, 3),
                    before=number(before.mm, 3),
                    when=minute(typed.view, before.at),
                )
    yield from _far(typed, lost)


def _over_new(name: str, stone: str, place: str, *, mm: float, new_mm: float) -> str:
    """Ask about a stone thicker than a new one; in um, it may be."""
    if mm > 100 * new_mm:
        return say(
            "{stone_set}, stone {stone}, {place}: {mm} mm, and a new stone has {new} mm. Was it typed in um?",
            stone_set=name,
            stone=stone,
            place=place,
            mm=significant(mm),
            new=significant(new_mm),
        )
    return say(
        "{stone_set}, stone {stone}, {place}: {mm} mm is thicker than a new stone, {new} mm.",
        stone_set=name,
        stone=stone,
        place=place,
        mm=number(mm, 3),
        new=significant(new_mm),
    )


def _far(typed: _Typed, lost: dict[int, float]) -> Iterator[str]:
    """Ask about places that lost far more than the others of the round."""
    if typed.kind is None or len(lost) < 4:
        return
    usual = float(np.median(list(lost.values())))
    depth = 1000 * (typed.kind.new_thickness_mm - typed.kind.least_thickness_mm)
    for i, um in lost.items():
        if um - usual > FAR_FROM_THE_OTHERS * depth:
            yield say(
                "{stone_set}, stone {stone}, {place}: {um} less than at the last measurement, the others "
                "about {usual}. Chipped, or misread?",
                stone_set=typed.name,
                stone=typed.rows.stone[i],
                place=typed.rows.position[i],
                um=lengths.said(um, 0),
                usual=lengths.said(usual, 0),
            )


def _of_rounds(typed: _Typed, known: StoneMeasurements) -> Iterator[str]:
    """Ask about stones in other holders, the other way up, exchanged, or too many."""
    empty = StoneLog(stays={}, kinds={}, dressings=(), assumed={}, notes=())
    per_set = {} if typed.kind is None else {typed.name: typed.kind.stones_per_set}
    said: set[str] = set()
    for rows in (known, StoneMeasurements.concat([known, typed.rows])):
        if not len(rows):
            continue
        in_order = {typed.name: rows.select(np.argsort(rows.at, kind="stable"))}
        found = rounds_of(in_order, empty, typed.now.honed, per_set=per_set, before={}).get(typed.name)
        if found is None:
            continue
        kind = None if typed.kind is None else typed.now.kinds.get(typed.kind.id)
        swap = None if kind is None else found.swap(reading_um=kind.reading_um)
        words = [*found.asked, *found.said, *(() if swap is None else (swap_words(swap, found.stones),))]
        if rows is not known:
            yield from (
                say("{stone_set}: {words}", stone_set=typed.name, words=one)
                for one in words
                if one not in said
            )
        said |= set(words)


@dataclass(frozen=True, kw_only=True)
class _Last:
    mm: float
    at: np.datetime64


def _last_mm(old: StoneMeasurements) -> dict[tuple[str, str], _Last]:
    """Return the newest reading of each place."""
    return {
        (old.stone[i], old.position[i]): _Last(mm=float(old.thickness_mm[i]), at=old.at[i])
        for i in range(len(old))
        if np.isfinite(old.thickness_mm[i])
    }


def _clear_um(typed: _Typed) -> float:
    """Return by how much a place must grow to be asked about: more than readings repeat to."""
    known = None if typed.kind is None else typed.now.kinds.get(typed.kind.id)
    sd = UNKNOWN_REPEATABILITY_UM if known is None or known.reading is None else known.reading_um
    return TWELVE_OF_A_SET * float(np.sqrt(2)) * sd
