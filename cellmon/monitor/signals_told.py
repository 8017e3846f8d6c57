"""Signals as they are put together from what detectors called, what was announced and what was answered."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from cellmon import lengths
from cellmon.monitor.judge.calls import SHARE_OF, detector_words
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.naming import Named
from cellmon.monitor.judge.outlines import Outline, outline_of
from cellmon.monitor.judge.signals import named_groups
from cellmon.monitor.judge.told import is_kept, told_groups, told_outlines
from cellmon.monitor.signals import Change, Response, Signal, newest_first, seconds
from cellmon.monitor.view import View
from cellmon.monitor.wording import signal_words
from cellmon.records import Stream
from cellmon.shifts import to_utc
from cellmon.store import Announcement, Decision, Session
from cellmon.words import say, to_say, voice

WITHDRAWN = to_say("Later rows, events or limits frozen since leave nothing to be signalled there.")

MICRO = 1_000_000


def standing_signals(view: View) -> tuple[Signal, ...]:
    """Build the signals that stand, newest first, without causes; `View.signals` keeps them."""
    return _standing_of(view, view.outlines)


def _standing_of(view: View, outlines: Iterable[Outline]) -> tuple[Signal, ...]:
    return _reopened(newest_first(standing_each(view, outlines, answers_given(view.session))))


def withdrawn_signals(view: View) -> tuple[Signal, ...]:
    """Build what was announced and is no signal any more, newest first; `View.withdrawn` keeps it."""
    answers, known = answers_given(view.session), _known(view, "withdrawn signals")
    found = []
    for announced in view.gone:
        answer = answers.get(announced.id)
        key = (announced.id, None if answer is None else answer.id)
        if key not in known:
            known[key] = _withdrawn(view, announced, answer)
        found.append(known[key].aged(seconds(np.datetime64(announced.body["at"], "us"), view.as_of)))
    return newest_first(found)


def signals_since(view: View, start: np.datetime64 | None) -> tuple[Signal, ...]:
    """Build the signals raised from a moment on that were not withdrawn, newest first, without causes.

    Those raised before are not put together: what comes again after an answer comes later than it.
    """
    if start is None or not is_kept(view.session, view.rules, until=view.as_of):
        return tuple(s for s in view.signals if start is None or to_utc(s.raised_at) >= start)
    found = told_outlines(view.session, start=start, until=view.as_of)
    return _standing_of(view, (one for one in found if one.lead.at >= start))


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


def _reopened(signals: tuple[Signal, ...]) -> tuple[Signal, ...]:
    """Say of an answered signal whether the same came again afterwards and was not answered itself."""
    if all(signal.response is None for signal in signals):
        return signals
    found, came = [], dict[tuple[Stream, str], datetime]()
    for signal in signals:
        answer, last = signal.response, came.get((signal.stream, signal.kind))
        again = answer is not None and last is not None and last > answer.at
        found.append(replace(signal, state="reopened") if again and signal.state == "answered" else signal)
        if signal.state == "open":  # they come newest first
            came.setdefault((signal.stream, signal.kind), signal.raised_at)
    return tuple(found)


def answers_given(session: Session) -> dict[str, Decision]:
    """Return the last answer to each signal; an acknowledgement never hides an answer."""
    found: dict[str, Decision] = {}
    for decision in session.decisions("respond"):
        before = found.get(decision.subject)
        if before is None or not decision.body["seen"] or before.body["seen"]:
            found[decision.subject] = decision
    return found


def standing_each(
    view: View, outlines: Iterable[Outline], answers: Mapping[str, Decision]
) -> Iterator[Signal]:
    """Yield signals without causes, and without whether the same came again since."""
    told = list(outlines)
    raised = np.array([one.lead.at for one in told], dtype="datetime64[us]")
    ages = ((view.as_of - raised).astype(np.int64) / MICRO).tolist()
    found = ageless_each(view, told, answers)
    return (one.aged(age_s) for one, age_s in zip(found, ages, strict=True))


def ageless_each(
    view: View, outlines: Iterable[Outline], answers: Mapping[str, Decision]
) -> Iterator[Signal]:
    """Yield the same at an age of some time: where neither calls nor answers were added, the same things."""
    known = _known(view, "signals")
    for one in outlines:
        answer = answers.get(one.id)
        answered = None if answer is None else answer.id
        before = known.get(one.id)
        if before is not None and before[0] is one and before[1] == answered:
            yield before[2]
            continue
        found = _signal(view, one, answer)
        if all(stream.like is None for stream in one.streams):  # like parts react as the one that runs
            known[one.id] = (one, answered, found)
        yield found


def _known(view: View, what: str) -> dict[Any, Any]:
    """Return what was said before of some signals, in the words and lengths of now."""
    return view.carry(f"{what} {voice()} {lengths.shown()}", view.rules.now.version, dict)


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
        age_s=seconds(lead.at, view.as_of),
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
        age_s=seconds(at, view.as_of),
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
