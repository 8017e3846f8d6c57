"""How many bores each stone set honed, and whether it has ended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.charts.differences import LEAST_LIVES, life_ratio
from cellmon.local import number
from cellmon.monitor.answers import Estimate
from cellmon.monitor.stones.now import stones_now
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind, Texts, Times
from cellmon.words import say, say_many

CHANGES = (EventKind.STONES_FITTED, EventKind.STONES_REMOVED)
A_MOMENT = np.timedelta64(1, "us")
SOON = np.timedelta64(1, "h")
"""A set of which a bore was measured so soon after its fitting was seen from its first bores on."""
LATE = np.timedelta64(1, "D")
"""So long after a set came off its last bores may be measured."""


@dataclass(frozen=True, kw_only=True)
class StoneLife:
    """The bores that one stone set honed, as far as they were measured."""

    stone_set: str
    spindle: str | None
    fitted_at: datetime | None
    """None where its fitting is not logged."""
    ended_at: datetime | None
    """None while it is on a spindle."""
    bores: int
    """Measured on it, with those it had honed before it was received."""
    whole: bool
    """Whether it was seen from its fitting to its end; else it honed at least so many."""
    words: str


@dataclass(frozen=True, kw_only=True)
class Lives:
    """The stone sets of both sides, and how their lives compare."""

    first: tuple[StoneLife, ...]
    second: tuple[StoneLife, ...]
    ratio: Estimate | None
    """How many times as long the second ones lasted."""
    sentence: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Spans:
    """When a set was on a spindle; arrays of shape (k,). One still there ends at the view's moment."""

    spindle: Texts
    begins: Times
    ends: Times
    running: bool


def known_sets(view: View) -> list[str]:
    """Return the stone sets that the log or the stock knows."""
    fitted = _changes(view).stone_set.tolist()
    stock = view.session.rows(Kind.STONE_SETS).stone_set.tolist()
    return sorted({str(name) for name in (*fitted, *stock) if name})


def fitted_sets(view: View) -> list[str]:
    """Return the stone sets that were fitted by the log, the last fitted last."""
    changes = _changes(view)
    fitted = changes.stone_set[changes.event == EventKind.STONES_FITTED].tolist()
    return list(dict.fromkeys(str(name) for name in reversed(fitted) if name))[::-1]


def spans_of(view: View, stone_set: str) -> Spans:
    """Return when a stone set was on which spindle, none where the log does not say."""
    changes = _changes(view)
    mine = np.flatnonzero((changes.stone_set == stone_set) & (changes.event == EventKind.STONES_FITTED))
    ends, running = [], False
    for i in mine:
        # a removal or other stones end it
        later = (changes.spindle == changes.spindle[i]) & (changes.at > changes.at[i])
        later &= (changes.event == EventKind.STONES_REMOVED) | (changes.stone_set != stone_set)
        running |= not later.any()
        ends.append(changes.at[later].min() if later.any() else view.as_of)
    return Spans(
        spindle=changes.spindle[mine],
        begins=changes.at[mine],
        ends=np.array(ends, dtype="datetime64[us]"),
        running=running,
    )


def lives_of(view: View, stone_sets: Sequence[str]) -> tuple[StoneLife, ...]:
    """Return the life of each of some stone sets."""
    stock = view.session.rows(Kind.STONE_SETS)
    before = {
        str(name): float(bores)
        for name, bores in zip(stock.stone_set.tolist(), stock.bores_before.tolist(), strict=True)
        if np.isfinite(bores)
    }
    logged = _logged(view, stone_sets)
    return tuple(_life(view, name, int(before.get(name, 0)), logged.get(name)) for name in stone_sets)


def _logged(view: View, stone_sets: Sequence[str]) -> dict[str, int]:
    """Return the bores of sets whose log counts them from their first fitting on."""
    if not stone_sets:
        return {}
    now = stones_now(view)
    counted = [n for n in stone_sets if now.stays(n) and now.stays(n)[0].before is not None]
    return {name: round(now.bores(name)) for name in counted}


def why_no_ratio(first: Sequence[StoneLife], second: Sequence[StoneLife]) -> str | None:
    """Return why lives are not compared, None where they are."""
    if not first or not second:
        return say("no stone set is known of one side")
    if {one.stone_set for one in first} & {one.stone_set for one in second}:
        return say("the same stones ran on both sides")
    not_whole = [one.stone_set for one in (*first, *second) if not one.whole]
    if not_whole:
        return say_many(
            "{sets} not seen from fitting to end, so only 'at least' is known of it",
            "{sets} not seen from fitting to end, so only 'at least' is known of them",
            len(not_whole),
            sets=", ".join(not_whole),
        )
    if min(len(first), len(second)) < LEAST_LIVES:
        return say(
            "one ended set on a side does not tell how sets differ among themselves; two of each are needed"
        )
    return None


def lives_against(first: tuple[StoneLife, ...], second: tuple[StoneLife, ...], *, confidence: float) -> Lives:
    """Return the stone sets of both sides, with the ratio of their lives where it can be told."""
    why, ratio = why_no_ratio(first, second), None
    told = "; ".join(dict.fromkeys(one.words for one in (*first, *second))) or say("not known")
    if why is None:
        found = life_ratio([o.bores for o in first], [o.bores for o in second], confidence=confidence)
        ratio = Estimate.of(found, confidence=confidence)
        told = say(
            "the second stones lasted {times} times as long ({low} to {high}): {told}",
            times=number(found.value, 2),
            low=number(found.low, 2),
            high=number(found.high, 2),
            told=told,
        )
    sentence = say("Stone life: {told}.", told=told)
    if why:
        sentence = say("Stone life: {told}. No interval: {why}.", told=told, why=why)
    return Lives(first=first, second=second, ratio=ratio, sentence=sentence)


def _life(view: View, name: str, before: int, logged_bores: int | None) -> StoneLife:
    spans = spans_of(view, name)
    logged = len(spans.begins) > 0
    start, end = (spans.begins.min(), spans.ends.max()) if logged else (None, view.as_of)
    made, spindles = _made(view, name, spans)
    unseen = say("its fitting is not logged")
    if start is not None:
        soon = len(made) > 0 and made.min() - start <= SOON
        seen = soon or bool((view.session.shift_starts()[:1] <= start).any())
        unseen = "" if seen else say("it was fitted before the first bores here")
    count = len(made) + before
    if unseen and logged_bores is not None and logged_bores >= count:
        unseen, count = "", logged_bores  # its own log counts what was not measured here
    open_ = [unseen] * bool(unseen) + [say("it is still on the spindle")] * (logged and spans.running)
    return StoneLife(
        stone_set=name,
        spindle=", ".join(sorted({str(s) for s in spindles.tolist()})) or None,
        fitted_at=view.local(start) if start is not None else None,
        ended_at=view.local(end) if logged and not spans.running else None,
        bores=count,
        whole=not open_,
        words=", ".join([_honed(name, count, at_least=bool(open_)), *open_]),
    )


def _made(view: View, name: str, spans: Spans) -> tuple[Times, Texts]:
    """Return when and by which spindle the bores of a set were made; all are looked through without a log.

    What was honed before the set came off may be measured after it.
    """
    times: list[tuple[np.datetime64 | None, np.datetime64]] = [(None, view.as_of)]
    if len(spans.begins):
        later = [*(spans.begins[1:] - A_MOMENT), view.as_of]
        times = [
            (begin, min(end + LATE, after))
            for begin, end, after in zip(spans.begins, spans.ends, later, strict=True)
        ]
    found = [view.session.made_on(name, start=begin, end=end) for begin, end in times]
    made, spindles = (np.concatenate(column) for column in zip(*found, strict=True))
    return made, spindles


def _honed(name: str, bores: int, *, at_least: bool) -> str:
    if at_least:
        return say("{stone_set} honed at least {bores} bores", stone_set=name, bores=number(bores))
    return say("{stone_set} honed {bores} bores", stone_set=name, bores=number(bores))


def _changes(view: View) -> Events:
    """Return every fitting and removal of stones up to the view's moment, oldest first."""

    def read() -> Events:
        events: Events = view.session.rows(Kind.EVENTS, end=view.as_of + A_MOMENT)
        return events.select(np.isin(events.event.astype(str), CHANGES))

    return view.carry("stones fitted and removed", (view.session.last_change(), view.as_of), read)
