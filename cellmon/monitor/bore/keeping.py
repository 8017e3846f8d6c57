"""A round as a person typed it: looked at first, then kept by the intake that takes files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cellmon import lengths
from cellmon.errors import WrongUsage
from cellmon.monitor.bore import terms_for
from cellmon.monitor.bore.entry import Dial, read_entry
from cellmon.monitor.bore.learning import Story, memory_of, story_of
from cellmon.monitor.bore.rounds import Round, rounds_of
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.view import View
from cellmon.sizing.chance import outlook
from cellmon.sizing.strokes import Strokes
from cellmon.words import say

Floats = NDArray[np.float64]

UNDO_BACK = 3
"""So many of the last rounds can be typed again."""
UNLIKELY = 0.002
"""A round whose size had no more chance than this is asked about."""
ALONE_SD = 6.0
"""A reading so many standard deviations from all others of its bore, beside its shape, is asked about."""


@dataclass(frozen=True, kw_only=True)
class TypedRound:
    """A round as it was typed.

    Attributes
    ----------
    readings : mapping
        What was typed for each place, by (plane, direction) of the sheet.
    number : int or None
        None: the next round; one of the last three: that round typed again, the first kept beside it.
    """

    part: str
    bore: str
    readings: Mapping[tuple[str, str], str]
    strokes: Strokes = field(default_factory=Strokes)
    stones: str = ""
    rpm: float | None = None
    feed_um: float | None = None
    part_temp_c: float | None = None
    by: str = ""
    note: str = ""
    number: int | None = None
    part_number: str | None = None
    strokes_per_min: float | None = None
    master_temp_c: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class LookedRound:
    """What was understood of a typed round, and what is odd about it.

    `um` is by (plane, direction), µm from nominal.
    """

    number: int
    part_number: str
    um: Mapping[tuple[str, str], float]
    asked: tuple[str, ...]


def look_at_round(view: View, typed: TypedRound) -> LookedRound:
    """Say what a typed round would be kept as, and what a person should confirm first.

    Raises
    ------
    WrongUsage
        When a figure cannot be read, a place is missing or unknown, or the round cannot be typed again.
    """
    rounds = rounds_of(view, typed.part, typed.bore)
    own = rounds[0].part_number if rounds else None
    drawing, terms = terms_for(view, typed.bore, typed.part_number or own)
    if own not in (None, drawing.number):
        raise WrongUsage(say("the rounds of this bore are of {part_number}", part_number=own))
    number = _number(typed, rounds)
    before = rounds[:number]
    _strokes_fit(typed, number)
    story = None
    if before:
        memory = memory_of(view, terms, typed.part, typed.bore)
        story = story_of(terms, before, memory, next_stones=typed.stones or None, advised=False)
    expected = None if story is None else outlook(story.known, typed.strokes).expected_um
    um, asked = read_places(terms, typed.readings, expected_um=expected)
    asked += asked_of_shape(terms, um)
    if story is not None:
        asked += _asked_of_step(terms, typed, um, story)
    return LookedRound(number=number, part_number=drawing.number, um=um, asked=tuple(asked))


def rows_of(typed: TypedRound, looked: LookedRound, *, at: np.datetime64) -> list[dict[str, str]]:
    """Return a round as rows of the kind `sizing`, as a file would bring them."""
    shared = {
        "part": typed.part,
        "bore": typed.bore,
        "round": str(looked.number),
        "at": f"{np.datetime_as_string(at, unit='us')}Z",
        "stones": typed.stones,
        "strokes_full": str(typed.strokes.full),
        "strokes_top": str(typed.strokes.top),
        "strokes_bottom": str(typed.strokes.bottom),
        "rpm": _text(typed.rpm),
        "feed_um": _text(typed.feed_um),
        "part_temp_c": _text(typed.part_temp_c),
        "by": typed.by,
        "note": typed.note,
        "part_number": looked.part_number,
        "strokes_per_min": _text(typed.strokes_per_min),
        "master_temp_c": _text(typed.master_temp_c),
    }
    return [
        {**shared, "plane": plane, "direction": direction, "deviation_um": f"{um:.4f}"}
        for (plane, direction), um in looked.um.items()
    ]


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _number(typed: TypedRound, rounds: tuple[Round, ...]) -> int:
    newest = len(rounds)
    number = newest if typed.number is None else typed.number
    if not 0 <= number <= newest:
        raise WrongUsage(say("no round {number}; the next is {newest}", number=number, newest=newest))
    if number < newest - UNDO_BACK:
        raise WrongUsage(say("only the last {count} rounds can be typed again", count=UNDO_BACK))
    return number


def _strokes_fit(typed: TypedRound, number: int) -> None:
    if number == 0 and typed.strokes.total:
        raise WrongUsage(say("round 0 is the bore as received: no strokes before it"))


def read_places(
    terms: Terms, readings: Mapping[tuple[str, str], str], *, expected_um: Floats | None = None
) -> tuple[dict[tuple[str, str], float], list[str]]:
    """Return typed figures by place, µm from nominal, and what is odd about them.

    Parameters
    ----------
    terms : Terms
    readings : mapping
        What was typed for each place, by (plane, direction) of the sheet; all of them, and no other.
    expected_um : ndarray, shape (planes,), optional
        Where each plane was expected, µm from nominal.
    """
    measuring = terms.sheet.measuring
    places = [(plane, direction) for plane in measuring.planes for direction in measuring.directions]
    unknown = [place for place in readings if place not in places]
    missing = [place for place in places if place not in readings]
    if unknown or missing:
        wrong = ", ".join(" ".join(place) for place in (unknown or missing))
        raise WrongUsage(
            say("the sheet measures no {places}", places=wrong)
            if unknown
            else say("no reading for {places}", places=wrong)
        )
    dial, um, asked = Dial.of(terms.sheet, terms.part), {}, []
    for place in places:
        plane = list(measuring.planes).index(place[0])
        near = None if expected_um is None else float(expected_um[plane])
        found = read_entry(readings[place], dial, expected_um=near)
        um[place] = found.um
        asked += [f"{' '.join(place)}: {one}" for one in found.asked]
    return um, asked


def asked_of_shape(terms: Terms, um: Mapping[tuple[str, str], float]) -> list[str]:
    """Ask about one reading that lies alone: dirt, a chord, or a slip of the pen."""
    values = np.array(list(um.values()))
    if len(values) < 4:
        return []
    middle = np.median(values)
    spread = max(1.4826 * float(np.median(np.abs(values - middle))), terms.doubt.reading_um, 2.0)
    far = np.flatnonzero(np.abs(values - middle) > ALONE_SD * spread)
    places = list(um)
    return [
        say(
            "{place} lies {um} from the middle of the others: wipe, measure it again, or confirm.",
            place=" ".join(places[i]),
            um=lengths.said(values[i] - middle, 1, sign=True),
        )
        for i in far
    ]


def _asked_of_step(
    terms: Terms, typed: TypedRound, um: Mapping[tuple[str, str], float], story: Story
) -> list[str]:
    """Ask about a bore that grew smaller, did not change, or changed more than strokes can do."""
    now = np.array(list(um.values())).reshape(story.rounds[-1].um.shape)
    last = story.rounds[-1].um
    asked = []
    if np.array_equal(now, last):
        asked.append(say("Every reading is that of the round before: typed twice?"))
    change = float(np.nanmean(now - last))
    tells = terms.doubt.tells_um(int(np.isfinite(last).sum()))
    if change < -max(tells, 1.0):
        asked.append(
            say(
                "The bore would be {um} smaller than before: the sign, or the wrong box?",
                um=lengths.said(-change, 1),
            )
        )
    elif not typed.strokes.total and change > max(tells, 1.0):
        asked.append(
            say("The bore is {um} larger without a stroke: were strokes made?", um=lengths.said(change, 1))
        )
    elif typed.strokes.total and not _likely(terms, typed, now, story):
        asked.append(
            say(
                "These strokes were not expected to take {um} off: is every figure right?",
                um=lengths.said(change, 1),
            )
        )
    return asked


def _likely(terms: Terms, typed: TypedRound, now: Floats, story: Story) -> bool:
    seen = outlook(story.known, typed.strokes)
    beyond = seen.chance_beyond(np.nanmean(now, axis=1), shared_um=terms.doubt.reading_um)
    return bool((beyond > UNLIKELY).any() and (beyond < 1 - UNLIKELY / 10).any())


def strokes_of(given: str | Mapping[str, int]) -> Strokes:
    """Return strokes as they were typed: `12`, `12/0/3` (full, top, bottom), or by name.

    >>> strokes_of("12/0/3")
    Strokes(full=12, top=0, bottom=3)
    """
    if isinstance(given, str):
        figures = given.replace(" ", "").split("/")
        if len(figures) > 3 or not all(one.isdigit() for one in figures):
            raise WrongUsage(
                say("strokes as 12, or 12/0/3 for full, top and bottom, not {typed}", typed=given)
            )
        given = dict(zip(("full", "top", "bottom"), map(int, figures), strict=False))
    if not set(given) <= {"full", "top", "bottom"} or min([0, *given.values()]) < 0:
        raise WrongUsage(say("strokes by full, top and bottom, none below 0"))
    return Strokes(**{name: int(value) for name, value in given.items()})
