"""One shift as it is handed to the next: what moved, what was answered, what is open, held and due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.decided import Decided, decided_in
from cellmon.monitor.dressings import NoPlan
from cellmon.monitor.flags import flags
from cellmon.monitor.hold import hold
from cellmon.monitor.now import since_dress
from cellmon.monitor.shifts import shifts
from cellmon.monitor.signals import Signal, explained
from cellmon.monitor.state import SpindleState, spindle_state, spindles_known
from cellmon.monitor.status import waiting
from cellmon.monitor.stream_events import event_words
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind, Verdict
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say, to_say

ON_STONES = (
    EventKind.STONES_FITTED,
    EventKind.STONES_DRESSED,
    EventKind.STONES_REMOVED,
    EventKind.SETUP_CHANGED,
    EventKind.REROUTED,
    EventKind.GAUGE_ZEROED,
)
"""Events told one by one; offsets come by the hundred and are counted."""


@dataclass(frozen=True, kw_only=True)
class BoresMade:
    """What one spindle made of one bore in the shift, by the verdicts of its charted measurements."""

    spindle: str
    bore: str
    part_number: str
    made: int
    conform: int
    undecided: int
    do_not_conform: int
    doubted: int


@dataclass(frozen=True, kw_only=True)
class OnHold:
    """A hold list that still has parts nobody decided on."""

    signal: str
    words: str
    from_part: str
    to_part: str
    waiting: int
    """Blocks without a disposition."""
    decided: int


@dataclass(frozen=True, kw_only=True)
class StonesNow:
    """What is on a spindle, and what is planned for it."""

    spindle: str
    stone_set: str | None
    bores_since_dress: int | None
    dress_in_bores: int | None
    """Bores of the spindle until its next planned dressing; below 0: so many past it."""
    why_not: str | None


@dataclass(frozen=True, kw_only=True)
class Happened:
    """An event of the shift."""

    at: datetime
    where: str
    words: str
    by: str | None


@dataclass(frozen=True, kw_only=True)
class Handover(Answer):
    """A shift for the one that follows; open, held, due and stones as of the moment of the answer."""

    cell: str
    sentence: str
    shift: ShiftOf | None
    spindles: tuple[SpindleState, ...]
    made: tuple[BoresMade, ...]
    moved: tuple[Signal, ...]
    answered: tuple[Signal, ...]
    decided: tuple[Decided, ...]
    open: tuple[Signal, ...]
    holds: tuple[OnHold, ...]
    stones: tuple[StonesNow, ...]
    happened: tuple[Happened, ...]
    offsets: int
    doubts_open: int
    caution: str


CAUTION = to_say(
    "Advice only: the machine's manual, the site's procedures and a qualified person come first. Spindle "
    "stopped and locked out before hands go near it."
)


def handover(view: View, *, shift: str | None = None) -> Handover:
    """Answer with one shift (DATE/NAME; the newest by default) as it is handed over; refusals as `shifts`."""
    told = shifts(view, feature=None, shift=shift)
    every = view.signals
    chosen = told.shift
    events = _events(view, chosen)
    plain = np.isin(events.event.astype(str), list(ON_STONES))
    return Handover(
        **view.head(),
        cell=view.sheet.cell.name,
        sentence=told.sentence,
        shift=chosen,
        spindles=tuple(spindle_state(view, s) for s in spindles_known(view)),
        made=_made(view, chosen),
        moved=explained(view, (s for s in every if _inside(chosen, s.raised_at))),
        answered=explained(view, (s for s in every if s.response and _inside(chosen, s.response.at))),
        decided=decided_in(view, chosen),
        open=explained(view, waiting(every)),
        holds=_holds(view, waiting(every) + [s for s in every if _inside(chosen, s.raised_at)]),
        stones=tuple(_stones(view, s) for s in spindles_known(view)),
        happened=_happened(view, events.select(plain)),
        offsets=int((events.event == EventKind.FEED_OFFSET).sum()),
        doubts_open=sum(f.state == "open" for f in flags(view).flags),
        caution=say(CAUTION),
    )


def _inside(shift: ShiftOf | None, at: datetime) -> bool:
    return shift is not None and shift.starts <= at < shift.ends


def _events(view: View, shift: ShiftOf | None) -> Events:
    start = view.as_of if shift is None else to_utc(shift.starts)
    end = view.as_of if shift is None else min(to_utc(shift.ends), view.as_of)
    found: Events = view.session.rows(Kind.EVENTS, start=start, end=end)
    return found.select(np.argsort(found.at, kind="stable"))


def _made(view: View, shift: ShiftOf | None) -> tuple[BoresMade, ...]:
    if shift is None:
        return ()
    bores = view.session.bores(start=to_utc(shift.starts), end=view.as_of, charted=True)
    bores = bores.select(bores.shift_start == to_utc(shift.starts))
    keys = sorted(set(zip(bores.spindle, bores.bore, bores.part_number, strict=True)))
    return tuple(_made_of(bores, *key) for key in keys)


def _made_of(every: Bores, spindle: str, bore: str, number: str) -> BoresMade:
    mine = (every.spindle == spindle) & (every.bore == bore) & (every.part_number == number)
    bores = every.select(mine)
    verdicts = [bores.verdict_of(i) for i in range(len(bores))]
    return BoresMade(
        spindle=spindle,
        bore=bore,
        part_number=number,
        made=len(bores),
        conform=verdicts.count(Verdict.CONFORMS),
        undecided=verdicts.count(Verdict.UNDECIDED),
        do_not_conform=verdicts.count(Verdict.DOES_NOT_CONFORM),
        doubted=int((bores.flags != 0).sum()),
    )


def _holds(view: View, signals: Sequence[Signal]) -> tuple[OnHold, ...]:
    """Return the hold lists of some signals on which a block still waits."""
    found = []
    for signal in {s.id: s for s in signals}.values():
        listed = hold(view, signal.id)
        if listed.from_part is None or listed.to_part is None:
            continue
        decided = {p.part for p in listed.parts if p.disposition is not None}
        waiting_parts = {p.part for p in listed.parts} - decided
        if waiting_parts:
            found.append(
                OnHold(
                    signal=signal.id,
                    words=signal.words,
                    from_part=listed.from_part,
                    to_part=listed.to_part,
                    waiting=len(waiting_parts),
                    decided=len(decided),
                )
            )
    return tuple(found)


def _stones(view: View, spindle: str) -> StonesNow:
    last = view.session.bores(spindle=spindle, charted=True, last=1, end=view.as_of)
    plan = view.dressing_plan(spindle)
    known = not isinstance(plan, NoPlan)
    return StonesNow(
        spindle=spindle,
        stone_set=last.stone_set[0] if len(last) else None,
        bores_since_dress=since_dress(view, spindle),
        dress_in_bores=None if isinstance(plan, NoPlan) else round(plan.in_bores),
        why_not=None if known or not isinstance(plan, NoPlan) else plan.why_not,
    )


def _happened(view: View, events: Events) -> tuple[Happened, ...]:
    return tuple(
        Happened(
            at=view.local(events.at[i]),
            where=events.spindle[i] or events.gauge[i] or "",
            words=event_words(events, i),
            by=events.by[i],
        )
        for i in range(len(events))
    )
