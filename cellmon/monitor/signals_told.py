"""Signals as they are put together from what detectors called, what was announced and what was answered."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from typing import Any

import numpy as np

from cellmon.monitor.judge.calls import SHARE_OF, detector_words
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.naming import Named
from cellmon.monitor.judge.outlines import Outline
from cellmon.monitor.judge.signals import named_groups
from cellmon.monitor.judge.told import is_kept, told_groups
from cellmon.monitor.signals import Change, Response, Signal
from cellmon.monitor.view import View
from cellmon.monitor.wording import signal_words
from cellmon.records import Stream
from cellmon.store import Announcement, Decision
from cellmon.words import say, to_say

WITHDRAWN = to_say("Later rows, events or limits frozen since leave nothing to be signalled there.")


def groups_of(view: View, names: Collection[str]) -> dict[str, Group]:
    """Return those of some names among the signals that stand, with all their calls, by name."""
    if view.named is not None:
        return {group.id: group for group in view.named.groups if group.id in names}
    return {group.id: group for group in told_groups(view.session, among=names, until=view.as_of)}


def named(view: View) -> Named | None:
    """Return all signals, put together from every call; None where those that are kept hold."""
    if is_kept(view.session, view.rules, until=view.as_of):
        return None
    return named_groups(view.session, view.rules, until=view.as_of)


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


def signal_of(view: View, told: Outline, answer: Decision | None) -> Signal:
    """Return a signal as its outline and the last answer tell it."""
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


def withdrawn_of(view: View, announced: Announcement, answer: Decision | None) -> Signal:
    """Return what was announced and is no signal any more."""
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
