"""Stones in the hand: flat, parallel, matched; where to take material off, and where each belongs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon import lengths
from cellmon.errors import NotFound
from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.records import Kind, Numbers, SizingReadings, StoneMeasurements, StoneSets, Whole
from cellmon.sheet import Sheet
from cellmon.sizing.truing import HandStones, StoneTolerance, hand_stones
from cellmon.words import say, say_many, to_say

PLACES = ("top", "middle", "bottom")
ROUNDS = 2
"""So many rounds with strokes, and the stones are due to be measured again; *common practice, no source*."""
CAUTION = to_say(
    "True stones wet or with extraction, with eye and breathing protection: the dust is abrasive and may "
    "hold cobalt or silica. Read the safety data sheet; never mix stones of different sets, grits or bonds."
)


@dataclass(frozen=True, kw_only=True)
class HandStone:
    """One stone as measured last; µm of thickness by place where not said otherwise."""

    stone: str
    holder: str | None
    """Its own: that of its first measurement."""
    way_up: str | None
    moved: bool
    """It was measured last in another holder or the other way up."""
    thickness_mm: dict[str, float]
    flat_um: float | None
    parallel_um: float
    take_off_um: dict[str, float]
    """What must go so that all is within the sheet's tolerances."""
    to_even_um: dict[str, float]
    """What must go so that every place is as thin as the thinnest of all."""


@dataclass(frozen=True, kw_only=True)
class HandStonesAnswer(Answer):
    """A set of stones in the hand; None: no tolerance is named, or the place was not measured."""

    stone_set: str
    measured_at: datetime
    sentence: str
    caution: str
    flat: bool | None
    parallel: bool | None
    matched: bool | None
    apart_um: float
    stones: tuple[HandStone, ...]
    rounds_since: int
    """Rounds with strokes in any bore since the stones were measured."""
    due: str | None
    """Why they are due to be measured again; None: they are not."""


def stones_in_hand(view: View, stone_set: str | None = None) -> HandStonesAnswer:
    """Answer: is a set flat, parallel and matched by its last measurement, and what is to be taken off.

    Without a name the set that was measured last.

    Raises
    ------
    NotFound
        When no stone of the set was measured at both of its ends, or no stone at all.
    """
    rows: StoneMeasurements = view.session.rows(Kind.STONE_MEASUREMENTS)
    if stone_set is None:
        if not len(rows):
            raise NotFound(say("no stone was measured yet"))
        stone_set = str(rows.stone_set[np.flatnonzero(rows.at == rows.at.max())[-1]])
    mine = np.flatnonzero(rows.stone_set == stone_set)
    latest = {(str(rows.stone[i]), str(rows.position[i])): float(rows.thickness_mm[i]) for i in mine}
    stones = [s for s in dict.fromkeys(str(rows.stone[i]) for i in mine) if _ends(latest, s)]
    if not stones:
        raise NotFound(say("no stone of {name} was measured at its top and bottom", name=stone_set))
    places = [p for p in PLACES if all((s, p) in latest for s in stones)]
    um = np.array([[1000 * latest[s, p] for p in places] for s in stones])
    found = hand_stones(um, _tolerance(view, stone_set))
    since = _rounds_since(view, rows.at[mine].max())
    return HandStonesAnswer(
        **view.head(),
        stone_set=stone_set,
        measured_at=view.local(rows.at[mine].max()),
        sentence=_sentence(found, stones, places),
        caution=say(CAUTION),
        flat=found.flat,
        parallel=found.parallel,
        matched=found.matched,
        apart_um=found.apart_um,
        stones=tuple(_stone(rows, mine, found, um, s, i, places) for i, s in enumerate(stones)),
        rounds_since=since,
        due=_due(since),
    )


def _rounds_since(view: View, at: np.datetime64) -> int:
    rows: SizingReadings = view.session.rows(Kind.SIZING)
    later = rows.select((rows.at > at) & (rows.at <= view.by_hand_until))
    strokes = np.nan_to_num([later.strokes_full, later.strokes_top, later.strokes_bottom])
    made = later.select(np.sum(strokes, axis=0) > 0)
    return len(set(zip(made.part.tolist(), made.bore.tolist(), made.round.tolist(), strict=True)))


def _due(rounds: int) -> str | None:
    if rounds < ROUNDS:
        return None
    return say_many(
        "{count} round was honed since these stones were measured: measure them again.",
        "{count} rounds were honed since these stones were measured: measure them again.",
        rounds,
    )


def _ends(latest: dict[tuple[str, str], float], stone: str) -> bool:
    return (stone, "top") in latest and (stone, "bottom") in latest


def _tolerance(view: View, stone_set: str) -> StoneTolerance:
    """Return the tolerances of the set's kind; the sheet's only kind where it was not received as one."""
    sets: StoneSets = view.session.rows(Kind.STONE_SETS)
    named = {str(sets.stone_set[i]): str(sets.kind[i] or "") for i in range(len(sets))}
    sheet: Sheet = view.sheet
    kinds = [k for k in sheet.stone_kinds if k.id in (named.get(stone_set), stone_set)]
    kinds = kinds or list(sheet.stone_kinds[:1])
    if not kinds:
        return StoneTolerance()
    return StoneTolerance(
        flat_um=kinds[0].flat_um, parallel_um=kinds[0].parallel_um, matched_um=kinds[0].matched_um
    )


def _stone(
    rows: StoneMeasurements,
    mine: Whole,
    found: HandStones,
    um: Numbers,
    stone: str,
    index: int,
    places: list[str],
) -> HandStone:
    own = [i for i in mine if str(rows.stone[i]) == stone]
    holders = [str(rows.holder[i]) for i in own if rows.holder[i]]
    ways = [str(rows.way_up[i]) for i in own if rows.way_up[i]]
    flat = found.flat_um[index]
    return HandStone(
        stone=stone,
        holder=holders[0] if holders else None,
        way_up=ways[0] if ways else None,
        moved=bool((holders and holders[-1] != holders[0]) or (ways and ways[-1] != ways[0])),
        thickness_mm={p: float(um[index, k]) / 1000 for k, p in enumerate(places)},
        flat_um=None if np.isnan(flat) else float(flat),
        parallel_um=float(found.parallel_um[index]),
        take_off_um={p: float(found.take_off_um[index, k]) for k, p in enumerate(places)},
        to_even_um={p: float(found.to_even_um[index, k]) for k, p in enumerate(places)},
    )


def _sentence(found: HandStones, stones: list[str], places: list[str]) -> str:
    if (found.flat, found.parallel, found.matched) == (None, None, None):
        return say(
            "The sheet names no tolerance of flat, parallel or matched: nothing is asked of these stones."
        )
    if found.fit:
        return say("These stones are within what the sheet asks.")
    wrong = [
        word
        for good, word in (
            (found.flat, say("flat")),
            (found.parallel, say("parallel")),
            (found.matched, say("matched")),
        )
        if good is False
    ]
    most = int(np.argmax(found.take_off_um))
    stone, place = divmod(most, found.take_off_um.shape[1])
    return say(
        "Not {wrong}: true them. Most is to come off stone {stone} at its {place}: {um}.",
        wrong=say(", not ").join(wrong),
        stone=stones[stone],
        place=places[place],
        um=lengths.said(found.take_off_um[stone, place], 0),
    )
