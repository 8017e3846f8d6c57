"""How many bores each stone set honed, and whether it has ended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.charts.differences import LEAST_LIVES, life_ratio
from cellmon.monitor.answers import Estimate
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind, Texts, Times

CHANGES = (EventKind.STONES_FITTED, EventKind.STONES_REMOVED)
A_MOMENT = np.timedelta64(1, "us")
SOON = np.timedelta64(1, "h")
"""A set of which a bore was measured so soon after its fitting was seen from its first bores on."""


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
    return tuple(_life(view, name, int(before.get(name, 0))) for name in stone_sets)


def why_no_ratio(first: Sequence[StoneLife], second: Sequence[StoneLife]) -> str | None:
    """Return why lives are not compared, None where they are."""
    if not first or not second:
        return "no stone set is known of one side"
    if {one.stone_set for one in first} & {one.stone_set for one in second}:
        return "the same stones ran on both sides"
    not_whole = [one.stone_set for one in (*first, *second) if not one.whole]
    if not_whole:
        return (
            f"{', '.join(not_whole)} not seen from fitting to end, so only 'at least' is known of "
            f"{'them' if len(not_whole) > 1 else 'it'}"
        )
    if min(len(first), len(second)) < LEAST_LIVES:
        return (
            "one ended set on a side does not tell how sets differ among themselves; two of each are needed"
        )
    return None


def lives_against(first: tuple[StoneLife, ...], second: tuple[StoneLife, ...], *, confidence: float) -> Lives:
    """Return the stone sets of both sides, with the ratio of their lives where it can be told."""
    why, ratio = why_no_ratio(first, second), None
    told = "; ".join(dict.fromkeys(one.words for one in (*first, *second))) or "not known"
    if why is None:
        found = life_ratio([o.bores for o in first], [o.bores for o in second], confidence=confidence)
        ratio = Estimate(value=found.value, low=found.low, high=found.high, confidence=confidence)
        much = f"{found.value:.2f} times as long ({found.low:.2f} to {found.high:.2f})"
        told = f"the second stones lasted {much}: {told}"
    tail = f". No interval: {why}." if why else "."
    return Lives(first=first, second=second, ratio=ratio, sentence=f"Stone life: {told}{tail}")


def _life(view: View, name: str, before: int) -> StoneLife:
    spans = spans_of(view, name)
    logged = len(spans.begins) > 0
    start, end = (spans.begins.min(), spans.ends.max()) if logged else (None, view.as_of)
    bores = view.session.bores(start=start, end=end, charted=True)
    on_it = bores.select(bores.stone_set == name)
    unseen = "its fitting is not logged"
    if start is not None:
        soon = len(on_it) > 0 and on_it.measured_at.min() - start <= SOON
        seen = soon or bool((view.session.shift_starts()[:1] <= start).any())
        unseen = "" if seen else "it was fitted before the first bores here"
    open_ = [unseen] * bool(unseen) + ["it is still on the spindle"] * (logged and spans.running)
    count = len(on_it) + before
    return StoneLife(
        stone_set=name,
        spindle=", ".join(sorted({str(s) for s in on_it.spindle.tolist()})) or None,
        fitted_at=view.local(start) if start is not None else None,
        ended_at=view.local(end) if logged and not spans.running else None,
        bores=count,
        whole=not open_,
        words=f"{name} honed {'at least ' * bool(open_)}{count:,} bores" + "".join(f", {w}" for w in open_),
    )


def _changes(view: View) -> Events:
    """Return every fitting and removal of stones up to the view's moment, oldest first."""
    events: Events = view.session.rows(Kind.EVENTS, end=view.as_of + A_MOMENT)
    return events.select(np.isin(events.event.astype(str), CHANGES))
