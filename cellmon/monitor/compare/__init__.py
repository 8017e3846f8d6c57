"""Two times, stone sets, spindles or fixtures against each other: level, spread, form, and stone life."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.local import number
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.compare.bores import Side, SideBores, sets_of, shared, side_bores
from cellmon.monitor.compare.lives import Lives, lives_against, lives_of, why_no_ratio
from cellmon.monitor.compare.streams import ComparedStream, compared, pairs
from cellmon.monitor.view import View
from cellmon.words import say, to_say

__all__ = ["ComparedSide", "ComparedStream", "Comparison", "Lives", "Side", "compare"]

CONFIDENCE = 0.95
"""That all intervals of one answer hold together."""
SHOWN = 3
"""Streams that the sentence names."""
BY_STRETCH = to_say(
    "a stretch (one shift between two dressings) counts once for a level, by Welch's interval over them; "
    "spread is that inside small groups of bores in a row, by Fisher's F, with fewer degrees of freedom "
    "where tails are long"
)
CARRIED = to_say(
    "levels that move with wear are carried along their slope between dressings to the same number of bores "
    "since a dressing; offsets that were given are left in"
)
NOT_LOGGED = to_say(
    "the log does not say of all bores when the stones were dressed before them: levels are means as they "
    "are, and one side may be fresher than the other"
)
CUT = to_say(
    "a side has fewer than four stretches, so they were cut into parts: what differs by chance from one "
    "shift or dressing to the next is not in these intervals, and may pass for a difference of the sides"
)
ALL_POSITIONS = to_say(
    "the sides have no bore position in common: all are taken together, and positions differ too"
)
NO_CAUSE = to_say("a difference shown is not its cause: what else changed is for qualified people to judge")


@dataclass(frozen=True, kw_only=True)
class ComparedSide:
    """One side of a comparison."""

    name: str
    first_at: datetime
    last_at: datetime
    bores: int
    doubted: int
    """Left out because they are doubted."""
    stone_sets: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Comparison(Answer):
    """Two sides against each other; all intervals hold together at `confidence`, each alone at `each`."""

    sentence: str
    first: ComparedSide
    second: ComparedSide
    confidence: float
    each: float
    comparisons: int
    streams: tuple[ComparedStream, ...]
    lives: Lives
    notes: tuple[str, ...]


def compare(
    view: View,
    first: Side,
    second: Side,
    *,
    spindle: str | None = None,
    bore: str | None = None,
    feature: str | None = None,
) -> Comparison:
    """Compare two sides in every feature of every bore position they have in common.

    Raises
    ------
    WrongUsage
        When both sides are the same or share bores.
    NotFound
        When the cell knows no such side, or no such stream of it.
    """
    if first == second:
        raise WrongUsage(say("both sides are the same, {side}: there is nothing to compare", side=first.name))
    one, two = side_bores(view, first), side_bores(view, second)
    if both := shared(one, two):
        raise WrongUsage(
            say(
                "{first} and {second} share {bores} bores: give sides that do not overlap",
                first=first.name,
                second=second.name,
                bores=number(both),
            )
        )
    one, two = (_named(side, spindle=spindle, bore=bore) for side in (one, two))
    found = list(pairs(view, one, two, feature))
    if not found:
        raise NotFound(
            say(
                "{first} and {second} have no {feature} in common",
                first=first.name,
                second=second.name,
                feature=feature or say("feature"),
            )
        )
    known = lives_of(view, sets_of(one)), lives_of(view, sets_of(two))
    tests = 2 * len(found) + (why_no_ratio(*known) is None)
    each = 1 - (1 - CONFIDENCE) / tests
    rows = tuple(compared(pair, size=view.sheet.subgroups.size, confidence=each) for pair in found)
    return Comparison(
        **view.head(),
        sentence=_sentence(view, first, second, rows),
        first=_side(view, one),
        second=_side(view, two),
        confidence=CONFIDENCE,
        each=each,
        comparisons=tests,
        streams=rows,
        lives=lives_against(*known, confidence=each),
        notes=tuple(_notes((one, two), rows, tests, each)),
    )


def _named(side: SideBores, *, spindle: str | None, bore: str | None) -> SideBores:
    rows = np.ones(len(side.bores), dtype=bool)
    for column, wanted in (("spindle", spindle), ("bore", bore)):
        if wanted is not None:
            rows &= getattr(side.bores, column) == wanted
    if not rows.any():
        named = ", ".join(f"{k} {v}" for k, v in (("spindle", spindle), ("bore", bore)) if v)
        raise NotFound(say("{side} has no bores of {named}", side=side.side.name, named=named))
    return side.select(rows)


def _sentence(view: View, first: Side, second: Side, rows: Sequence[ComparedStream]) -> str:
    names = say("{second} against {first}", second=second.name, first=first.name)
    told = [r for r in rows if r.level_um is not None or r.spread_ratio is not None]
    if not told:
        why = next((why for r in rows for why in r.why_not.values()), None) or say("no figure is known")
        return say("{names}: cannot be told: {why}.", names=names, why=why)
    apart = sorted((r for r in told if r.differs), key=_how_clear, reverse=True)
    if not apart:
        return say(
            "{names}: no difference is shown in {count} streams; each says how large one may be.",
            names=names,
            count=len(told),
        )
    said = "; ".join(f"{view.name(r.stream)} {r.words}" for r in apart[:SHOWN])
    if len(apart) > SHOWN:
        said = say("{said}; and {rest} more", said=said, rest=len(apart) - SHOWN)
    return say(
        "{names}: {count} of {every} streams differ: {said}.",
        names=names,
        count=len(apart),
        every=len(told),
        said=said,
    )


def _how_clear(row: ComparedStream) -> float:
    """Return by how many half-widths of its interval a row lies from no difference."""
    return max(_half_widths(row.level_um, log=False), _half_widths(row.spread_ratio, log=True))


def _half_widths(found: Estimate | None, *, log: bool) -> float:
    if found is None or found.value is None or found.low is None or found.high is None:
        return 0.0
    value, low, high = np.array([found.value, found.low, found.high])
    if log:
        value, low, high = np.log([value, low, high])
    return float(abs(value) / max((high - low) / 2, 1e-12))


def _side(view: View, side: SideBores) -> ComparedSide:
    return ComparedSide(
        name=side.side.name,
        first_at=view.local(side.bores.measured_at.min()),
        last_at=view.local(side.bores.measured_at.max()),
        bores=len(side.bores),
        doubted=side.doubted,
        stone_sets=sets_of(side),
    )


def _notes(
    sides: Sequence[SideBores], rows: Sequence[ComparedStream], tests: int, each: float
) -> Iterator[str]:
    """Yield what the figures rest on."""
    yield say(
        "{tests} comparisons: each interval is at {each} %, so that all of them hold together at {all} % "
        "(Bonferroni)",
        tests=tests,
        each=number(100 * each, 2),
        all=number(100 * CONFIDENCE),
    )
    yield say(BY_STRETCH)
    if any(r.at_bores_since_dressing is not None for r in rows):
        yield say(CARRIED)
    if any(np.isnan(side.since).any() for side in sides):
        yield say(NOT_LOGGED)
    if any(figures.cut for r in rows for figures in (r.first, r.second)):
        yield say(CUT)
    if any(r.stream.bore is None for r in rows):
        yield say(ALL_POSITIONS)
    yield say(NO_CAUSE)
