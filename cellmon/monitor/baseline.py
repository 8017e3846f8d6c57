"""Limits: proposed from a window, frozen by a named person with a reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Limit, Subgroups
from cellmon.monitor.alike import LikeParts, like_parts
from cellmon.monitor.answers import Answer, BaselineSummary
from cellmon.monitor.judge import watch_again
from cellmon.monitor.judge.limits import (
    LEAST_SUBGROUPS,
    Known,
    frozen_limits,
    limit_from,
    stream_key,
    wears,
)
from cellmon.monitor.judge.signals import sides
from cellmon.monitor.limits_age import OldLimits, old_limits
from cellmon.monitor.meanwhile import must_have_known
from cellmon.monitor.proposals import (
    LIMITS,
    Proposal,
    ProposalState,
    Proposed,
    all_proposed,
    propose,
    waiting,
    wants_second,
)
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.records import Flags, Stream, stream_names
from cellmon.shifts import to_utc
from cellmon.store import Session
from cellmon.words import say, to_say


@dataclass(frozen=True, kw_only=True)
class StreamBaseline:
    """One stream's limits: what is in force and what its window would give."""

    stream: Stream
    in_force: BaselineSummary | None
    proposed: BaselineSummary | None
    window_from: datetime | None
    window_to: datetime | None
    subgroups: int
    left_out: int
    version: int
    limit: Limit | None = None
    """The proposal whole, as a freeze keeps it."""
    limits_age: OldLimits | None = None
    """What was declared since the bores were made on which frozen limits rest."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Baselines(Answer):
    """Every stream's limits."""

    baselines: tuple[StreamBaseline, ...]
    like_parts: tuple[LikeParts, ...] = ()
    """Whether the parts whose limits are one are alike."""
    waiting: tuple[Proposal, ...] = ()
    """Limits of these streams that were proposed and wait for a second name."""
    decided: int = 0
    """The number of the newest decision that it knows."""


WINDOW_SUBGROUPS = 100
"""A proposal rests on so many subgroups: from then on limits act like known ones (Quesenberry,
Journal of Quality Technology 25, 1993, about 400 / (n - 1), from memory)."""


FEW = 3
"""So many streams are named that were frozen already."""
PAST_SUBGROUPS = 1500
"""How stones wear is learned from so many, which is twenty dressing intervals of most cells."""


def baselines(
    view: View, *, spindle: str | None = None, bore: str | None = None, feature: str | None = None
) -> Baselines:
    """Answer with the limits in force and, for each stream, what a freeze now would make of them.

    The proposal rests on the first subgroups of a stream that was never frozen, on the newest of one
    that was; subgroups with doubted bores, or made while a signal stood, are left out and counted.

    Raises
    ------
    NotFound
        When no stream has these names.
    """
    wanted = {"spindle": spindle, "bore": bore, "feature": feature}
    streams = [*view.streams, *view.pooled]
    chosen = [s for s in streams if all(v in (None, getattr(s, k)) for k, v in wanted.items())]
    if not chosen and any(wanted.values()):
        names = ", ".join(f"{k} {v}" for k, v in wanted.items() if v)
        raise NotFound(say("no stream of {names}", names=names))
    return Baselines(
        **view.head(),
        baselines=tuple(_of_stream(view, stream) for stream in chosen),
        like_parts=like_parts(view),
        decided=view.decided,
        waiting=tuple(one for one in waiting(view, LIMITS) if set(one.streams) & set(chosen)),
    )


def _of_stream(view: View, stream: Stream) -> StreamBaseline:
    limits = view.limits[stream]
    in_force = limits.after(view.as_of)
    known = _known(view, stream, newest=bool(limits.frozen))
    quiet = quiet_subgroups(view, stream, known, in_force)
    here = np.arange(len(known)) < WINDOW_SUBGROUPS
    here = here[::-1] if limits.frozen else here
    kept, past = known.select(quiet & here), known.select(quiet)
    proposed = _proposal(view, stream, kept, past) if len(kept) else None
    why_not = {}
    if view.summary(proposed) is None:
        text = to_say("{count} quiet subgroups; {least} with some spread are needed")
        why_not["proposed"] = say(text, count=len(kept), least=LEAST_SUBGROUPS)
    return StreamBaseline(
        stream=stream,
        in_force=view.summary(in_force),
        proposed=view.summary(proposed),
        window_from=view.local(proposed.window_from) if proposed else None,
        window_to=view.local(proposed.window_to) if proposed else None,
        subgroups=len(kept),
        left_out=int((here & ~quiet).sum()),
        version=len(limits.frozen),
        limit=proposed,
        limits_age=old_limits(view, stream),
        why_not=why_not,
    )


def _known(view: View, stream: Stream, *, newest: bool) -> Subgroups:
    """Return the subgroups a proposal may look at: a stream's first, or its newest."""
    count = PAST_SUBGROUPS if wears(stream) else WINDOW_SUBGROUPS
    first, last = (None, count) if newest else (count, None)
    return view.session.subgroups(stream, end=view.as_of, first=first, last=last)


def _proposal(view: View, stream: Stream, window: Subgroups, past: Subgroups) -> Limit:
    logged = Known.of(view.session, view.sheet, past.honed_first.min(), past.at[-1])
    return limit_from(stream, window, logged, past=past)


def quiet_subgroups(view: View, stream: Stream, window: Subgroups, limit: Limit | None) -> Flags:
    """Return which subgroups are neither doubted, nor too wide, nor made while a large signal stood.

    Plain limits of the mean would not do: where stones wear, they leave out the ends of every interval.
    """
    quiet: Flags = window.flagged == 0
    if limit is not None:
        size = len(window)
        quiet &= sides(window, np.full(size, limit.centre), np.full(size, limit.sigma))[1] <= 0
    for signal in view.register.called_by(stream):
        if signal.change is None or stream not in signal.streams:
            continue
        if limit is None or abs(signal.size_um or limit.sigma) < limit.sigma:
            continue
        start, end = to_utc(signal.change.earliest_at), to_utc(signal.last_at)
        quiet &= (window.at < start) | (window.first_at > end)
    return quiet


def freeze(
    session: Session,
    rules: Rules,
    chosen: Baselines,
    *,
    by: str,
    why: str,
    at: np.datetime64,
    knew: int | None = None,
) -> None:
    """Journal the proposed limits of some streams as frozen; points before keep the limits they had.

    Where the sheet wants a second person they are only proposed, and those in force go on watching.

    Raises
    ------
    WrongUsage
        When none of the streams has a proposal.
    DecidedAlready
        When limits of one of them were frozen, or proposed and wait, after the decision numbered `knew`.
    NotAllowed
        When a second person is wanted, there are accounts, and this name may not decide.
    """
    frozen = [b for b in chosen.baselines if b.proposed is not None and b.limit is not None]
    if not frozen:
        raise WrongUsage(say("none of these streams has enough quiet subgroups to freeze"))
    if knew is not None:
        _must_have_known(session, rules, [one.stream for one in frozen], knew)
    streams = [_change(one) for one in frozen]
    if wants_second(rules.now.sheet, LIMITS):
        propose(session, LIMITS, streams, by=by, why=why, at=at)
        return
    _put_in_force(session, rules, streams, to_utc(chosen.as_of), by=by, why=why, at=at)


def _must_have_known(session: Session, rules: Rules, streams: Sequence[Stream], knew: int) -> None:
    """Refuse streams whose limits somebody froze, or proposed and they wait, unknown to who freezes."""
    keys = {stream_key(stream): stream for stream in streams}
    found = [(one, {one.subject}) for one in session.decisions("freeze", after=knew)]
    waits = (one for one in all_proposed(session) if one.of == LIMITS and one.state is ProposalState.WAITS)
    found += [(one.entry, {stream_key(stream) for stream in one.streams}) for one in waits]
    mine = [(one, about & set(keys)) for one, about in found if one.id > knew and about & set(keys)]
    named = [stream for key, stream in keys.items() if any(key in about for _, about in mine)]
    few = ", ".join(stream_names(named)[:FEW])
    more = say(" and {count} more", count=len(named) - FEW) if len(named) > FEW else ""
    must_have_known(rules, (one for one, _ in mine), knew, say("limits of {streams}", streams=few + more))


def freeze_signed(
    session: Session, rules: Rules, proposed: Proposed, *, by: str, why: str, at: np.datetime64
) -> None:
    """Put limits in force that one person proposed and another signs, from now on as any freeze."""
    entry, newest = proposed.entry, session.newest_row()
    assert newest is not None, "what was proposed rests on rows"
    more = {"proposal": proposed.id, "proposed_by": entry.by, "proposed_why": entry.why}
    streams = entry.body["streams"]
    _put_in_force(session, rules, streams, newest, by=by, why=why, at=at, more=more)


def _change(one: StreamBaseline) -> dict[str, Any]:
    """Return what a freeze would change of a stream, as the journal keeps it."""
    limit, stands = one.limit, one.in_force
    assert limit is not None
    after = {
        "centre": limit.centre,
        "sigma": limit.sigma,
        "n": limit.n,
        "subgroups": limit.subgroups,
        "left_out": one.left_out,
        "size": limit.size,
        "window_from": str(limit.window_from),
        "window_to": str(limit.window_to),
        "learned": limit.learned,
    }
    before = None if stands is None else {"centre": stands.center_um, "sigma": stands.sigma_um, "n": stands.n}
    return {"key": stream_key(one.stream), "before": before, "after": after}


def _put_in_force(
    session: Session,
    rules: Rules,
    streams: Sequence[Mapping[str, Any]],
    newest: np.datetime64,
    *,
    by: str,
    why: str,
    at: np.datetime64,
    more: Mapping[str, Any] | None = None,
) -> None:
    """Journal limits as frozen: first ones from after their window on, later ones from after the newest row.

    Signals of what lies there are found anew.
    """
    frozen_before = {stream_key(stream) for stream in frozen_limits(session)}
    begins = newest
    for one in streams:
        body, key = one["after"], one["key"]
        window_to = np.datetime64(body["window_to"], "us")
        since = (newest if key in frozen_before else window_to) + np.timedelta64(1, "us")
        whole = {**body, "since": str(since), **(more or {})}
        session.decide(at=at, by=by, why=why, kind="freeze", subject=key, body=whole)
        begins = min(begins, since)
    watch_again(session, rules, begins, at=at)
