"""Signals as they are put together from what detectors called, what was announced and what was answered."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon import lengths
from cellmon.monitor.judge.calls import SHARE_OF, detector_words
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.naming import Named
from cellmon.monitor.judge.outlines import Outline, outline_of
from cellmon.monitor.judge.signals import named_groups
from cellmon.monitor.judge.told import is_kept, told_groups, told_outlines
from cellmon.monitor.signal_register import STANDING, Register
from cellmon.monitor.signals import Change, Response, Signal
from cellmon.monitor.view import View
from cellmon.monitor.wording import signal_words
from cellmon.records import Stream
from cellmon.shifts import to_utc
from cellmon.store import Announcement, Decision
from cellmon.words import say, to_say, voice

WITHDRAWN = to_say("Later rows, events or limits frozen since leave nothing to be signalled there.")


def register(view: View) -> Register:
    """Return every signal without its age, in its order; `View.register` keeps it.

    Only what is outlined, answered or gone otherwise than in the state before is made and put anew.
    """
    known, rests = _carried(view), _rests_on(view, view.outlines, view.gone)
    changes: dict[str, Signal | None] = {id_: None for id_ in known.rests if id_ not in rests}
    changes |= _told(view, {id_: now for id_, now in rests.items() if known.rests.get(id_) != now})
    found = known.register.changed(changes)
    view.carried[_name()] = (view.rules.now.version, _Carried(rests=rests, register=found))
    return found


Rests = tuple[Outline | Announcement, Decision | None, str | None]
"""What is said of a signal rests on its outline, its answer and, of like parts, on the one that runs."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Carried:
    """The register of a state, and what each signal of it rests on."""

    rests: Mapping[str, Rests] = field(default_factory=dict)
    register: Register = field(default_factory=Register)


def _carried(view: View) -> _Carried:
    """Return what was made before, in the words and lengths of now and under the sheet in force."""
    return view.carry(_name(), view.rules.now.version, _Carried)


def _name() -> str:
    return f"register {voice()} {lengths.shown()}"


def _rests_on(view: View, outlines: Iterable[Outline], gone: Iterable[Announcement] = ()) -> dict[str, Rests]:
    answers = view.answers
    found: dict[str, Rests] = {one.id: (one, answers.get(one.id), None) for one in gone}
    return found | {one.id: (one, answers.get(one.id), _running(view, one)) for one in outlines}


def _running(view: View, told: Outline) -> str | None:
    return None if told.stream.like is None else view.part_of(told.stream).number


def _told(view: View, rests: Mapping[str, Rests]) -> dict[str, Signal]:
    """Make signals of what they rest on; those that were made of the same before are not made again."""
    known, found = _carried(view), dict[str, Signal]()
    for id_, now in rests.items():
        if known.rests.get(id_) == now:
            found[id_] = known.register.signals[id_]
        else:
            told, answer, _ = now
            make = _signal if isinstance(told, Outline) else _withdrawn
            found[id_] = make(view, told, answer)  # type: ignore[arg-type]
    return found


def signals_since(view: View, start: np.datetime64 | None) -> tuple[Signal, ...]:
    """Build the signals raised from a moment on that were not withdrawn, newest first, without causes.

    Those raised before are not put together: what comes again after an answer comes later than it.
    """
    if start is None or not is_kept(view.session, view.rules, until=view.as_of):
        return tuple(s for s in view.signals if start is None or to_utc(s.raised_at) >= start)
    told = (o for o in told_outlines(view.session, start=start, until=view.as_of) if o.lead.at >= start)
    found = Register().changed(_told(view, _rests_on(view, told)))
    return tuple(view.aged(found.pile(STANDING)))


def outlines(view: View) -> Sequence[Outline]:
    """Return the signals that stand in outline: as kept, where that holds; `View.outlines` keeps it."""
    if view.named is not None:
        return list(map(outline_of, view.named.groups))
    return told_outlines(view.session, until=view.as_of)


def groups_of(view: View, names: Collection[str]) -> dict[str, Group]:
    """Return those of some names among the signals that stand, with all their calls, by name."""
    if view.named is not None:
        return {group.id: group for group in view.named.groups if group.id in names}
    return {group.id: group for group in told_groups(view.session, among=names, until=view.as_of)}


def gone(view: View) -> list[Announcement]:
    """Return what was announced by now and is no signal any more; `View.gone` keeps it."""
    found = view.named.gone if view.named is not None else _gone(view)
    return [one for one in found if np.datetime64(one.body["at"], "us") <= view.as_of]


def named(view: View) -> Named | None:
    """Return all signals, put together from every call; None where those that are kept hold."""
    if is_kept(view.session, view.rules, until=view.as_of):
        return None
    return named_groups(view.session, view.rules, until=view.as_of)


def _gone(view: View) -> list[Announcement]:
    """Return what was announced and is not kept; what is gone is read once."""
    read: dict[str, Announcement] = view.carry("gone", None, dict)
    gone = view.session.announced_untold()
    read.update((one.id, one) for one in view.session.announced_as(set(gone).difference(read)))
    return [read[id_] for id_ in gone]


def answers_given(view: View) -> Mapping[str, Decision]:
    """Return the last answer to each signal; an acknowledgement never hides an answer.

    `View.answers` keeps them; of decisions only those added since the state before are read.
    """
    known: int
    found: dict[str, Decision]
    known, found = view.carried.get("answers", (0, {}))
    newest = view.session.newest_decision()
    if newest != known:
        found = dict(found)
        for decision in view.session.decisions("respond", after=known):
            before = found.get(decision.subject)
            if before is None or not decision.body["seen"] or before.body["seen"]:
                found[decision.subject] = decision
        view.carried["answers"] = (newest, found)
    return found


def _signal(view: View, told: Outline, answer: Decision | None) -> Signal:
    lead, spread = told.lead, told.kind == "spread"
    size = None if spread or not np.isfinite(told.size) else round(told.size, 3)
    unit = _unit(view, told)
    response = None if answer is None else _response(view, answer)
    return Signal(
        id=told.id,
        stream=told.stream,
        streams=told.streams,
        raised_at=view.local(lead.at),
        part=lead.part,
        last_at=view.local(told.last_at),
        last_part=told.last_part,
        over=told.over,
        kind=told.kind,
        detector=detector_words(told.detector),
        size_um=size if unit == "µm" else None,
        size=size,
        unit=unit,
        ratio=round(told.size, 3) if spread else None,
        state="answered" if response is not None and not response.seen else "open",
        words=signal_words(view.name(told.stream), lead, kind=told.kind, size=told.size, unit=unit),
        age_s=0.0,
        change=Change(
            at=view.local(lead.change_at),
            part=lead.change_part,
            earliest_at=view.local(lead.earliest_at),
            earliest_part=lead.earliest_part,
            latest_at=view.local(lead.latest_at),
            latest_part=lead.latest_part,
        ),
        reaction=_reaction(view, told.stream),
        owner=response.by if response else None,
        response=response,
    )


def _reaction(view: View, stream: Stream) -> str | None:
    """Return what the sheet wants done about a feature that moved."""
    return getattr(view.part_of(stream).features.get(stream.feature), "reaction", None)


def _unit(view: View, told: Outline) -> str:
    if told.kind == "routing":
        return say("bores")
    return "%" if told.detector.startswith(SHARE_OF) else view.unit(told.stream)


def _withdrawn(view: View, announced: Announcement, answer: Decision | None) -> Signal:
    body: Mapping[str, Any] = announced.body
    stream = Stream(**json.loads(announced.stream))
    at, last = (np.datetime64(body[name], "us") for name in ("at", "last_at"))
    kind = body.get("kind", body.get("chart", "level"))
    size = body.get("size")
    response = None if answer is None else _response(view, answer)
    return Signal(
        id=announced.id,
        stream=stream,
        streams=(stream,),
        raised_at=view.local(at),
        part=body["part"],
        last_at=view.local(last),
        last_part=body["last_part"],
        over=True,
        kind=kind,
        detector=detector_words(body.get("detector", "")),
        size_um=None if kind == "spread" or size is None else round(size, 3),
        ratio=size if kind == "spread" else None,
        state="withdrawn",
        words=say("{stream}: what was signalled here was withdrawn", stream=view.name(stream)),
        age_s=0.0,
        owner=response.by if response else None,
        response=response,
        why_not=dict.fromkeys(("state", "change", "causes"), say(WITHDRAWN)),
    )


def _response(view: View, decision: Decision) -> Response:
    return Response(
        cause=decision.body["cause"],
        action=decision.body["action"],
        by=decision.by,
        at=view.local(decision.at),
        seen=bool(decision.body["seen"]),
    )
