"""What is odd about a stone entry typed by hand, asked before it is kept, and what would be assumed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cellmon.local import number
from cellmon.monitor.stones.log import ENDS, STONE_EVENTS, StoneLog
from cellmon.monitor.stones.log_read import read_log
from cellmon.monitor.stones.now import stones_now
from cellmon.monitor.stones.odd import contradicts
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind, StoneSets
from cellmon.words import say

REASONS = ("worn", "chipped", "trial", "other")
"""Why a set is taken off; the first two end its life."""
AHEAD = np.timedelta64(5, "m")
"""Clocks differ: what is dated later than this is asked about."""


def asked_of_events(view: View, new: Events, *, at: np.datetime64) -> tuple[str, ...]:
    """Return the questions that stone events raise, and what the log would assume with them.

    Parameters
    ----------
    new : Events
        Not yet in the store.
    at : datetime64
        The moment they are typed.
    """
    new = new.select(np.isin(new.event.astype(str), STONE_EVENTS))
    if not len(new):
        return ()
    every: Events = view.session.rows(Kind.EVENTS)
    sets: StoneSets = view.session.rows(Kind.STONE_SETS)
    kinds = {name: kind for name, kind in zip(sets.stone_set, sets.kind, strict=True) if kind}
    before = read_log(every, kinds, view.sheet)
    after = read_log(Events.concat([every, new]), kinds, view.sheet)
    found = [*_assumed(before, after)]
    for i in range(len(new)):
        found += _of_time(view, every, new, i, at)
        found += _of_set(view, new, i, before, received=set(sets.stone_set.tolist()))
        found += _of_figures(new, i)
        found += _of_bores(view, new, i)
    return tuple(dict.fromkeys(found))


def _assumed(before: StoneLog, after: StoneLog) -> Iterator[str]:
    """Yield what the log says with the entries that it did not say without them."""
    for name, words in after.assumed.items():
        for one in words:
            if one not in before.assumed.get(name, ()):
                yield say("{stone_set}: {words}.", stone_set=name, words=one)
    for one in after.notes:
        if one not in before.notes:
            yield f"{one[:1].upper()}{one[1:]}."


def _of_time(view: View, every: Events, new: Events, i: int, at: np.datetime64) -> Iterator[str]:
    if new.at[i] > at + AHEAD:
        yield ahead_words(view, new.at[i])
    same = (every.spindle == new.spindle[i]) & np.isin(every.event.astype(str), STONE_EVENTS)
    later = every.select(same & (every.at > new.at[i]))
    if len(later) and new.event[i] != EventKind.STONES_DRESSED:
        last = int(np.argmax(later.at))
        yield say(
            "{spindle} has a later entry already, {event} {when}: is the time right?",
            spindle=new.spindle[i],
            event=str(later.event[last]),
            when=minute(view, later.at[last]),
        )


def _of_set(view: View, new: Events, i: int, before: StoneLog, *, received: set[str]) -> Iterator[str]:
    """Ask about the name and the kind of a set that is fitted."""
    name, kind, fitted = new.stone_set[i], new.kind[i], new.event[i] == EventKind.STONES_FITTED
    known = {one.id: one for one in view.sheet.stone_kinds}
    if fitted and name and received and name not in received and name not in before.stays:
        yield say("{stone_set} was never received: is the name right?", stone_set=name)
    if kind and known and kind not in known:
        yield say("The sheet has no stones called {kind}; it has {kinds}.", kind=kind, kinds=", ".join(known))
    told = before.kinds.get(name) if name else None
    if kind and told and kind != told:
        yield say(
            "{stone_set} was logged as {told} before, now as {kind}.", stone_set=name, told=told, kind=kind
        )
    stages = next((s.stages for s in view.sheet.spindles if s.id == new.spindle[i]), ())
    mine = known.get(kind or told or "")
    if fitted and mine is not None and stages and mine.stage not in stages:
        yield say(
            "{kind} is of the stage {stage}, which {spindle} does not run by the sheet.",
            kind=mine.id,
            stage=mine.stage,
            spindle=new.spindle[i],
        )


def _of_figures(new: Events, i: int) -> Iterator[str]:
    """Ask about bores below 0 and about a removal whose reason does not say whether a life ended."""
    if new.value[i] < 0:
        yield say("{bores} bores: a count below 0 is taken as none.", bores=f"{new.value[i]:g}")
    if new.event[i] != EventKind.STONES_REMOVED:
        return
    why = (new.note[i] or "").split(":")[0].strip().lower()
    if not why:
        yield say("No reason is given: worn or chipped ends a life; without one the set may come back.")
    elif why not in REASONS:
        yield say(
            "The reason '{why}' is none of {reasons}: the set is taken as one that may come back.",
            why=why,
            reasons=", ".join(REASONS),
        )


def _of_bores(view: View, new: Events, i: int) -> Iterator[str]:
    """Ask about bores honed before that are not those the log has of a set."""
    name, said = new.stone_set[i], float(new.value[i])
    if new.event[i] != EventKind.STONES_FITTED or name is None or not said > 0:
        return
    now = stones_now(view)
    if not now.stays(name):
        return
    counted = now.bores(name, new.at[i] - np.timedelta64(1, "us"))
    if contradicts(said, counted):
        yield say(
            "{stone_set}: {said} bores before, where the log has {counted}.",
            stone_set=name,
            said=number(said),
            counted=number(counted),
        )


def ahead_words(view: View, moment: np.datetime64) -> str:
    """Return the question about an entry dated later than now."""
    return say("It is dated {when}, which is still to come: is the time right?", when=minute(view, moment))


def minute(view: View, moment: np.datetime64) -> str:
    """Return a moment as people of the cell read it."""
    return view.local(moment).replace(tzinfo=None).isoformat(sep=" ", timespec="minutes")


__all__ = ["ENDS", "REASONS", "ahead_words", "asked_of_events", "minute"]
