"""What was detected, since when, why it may be, and what was answered."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from cellmon import lengths
from cellmon.errors import NotFound, WrongUsage
from cellmon.monitor.answers import Answer
from cellmon.monitor.explain import Explained, explain
from cellmon.monitor.judge.calls import SHARE_OF, detector_words
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.signals import named_groups
from cellmon.monitor.judge.told import is_kept, told_groups
from cellmon.monitor.view import View
from cellmon.monitor.wording import signal_words
from cellmon.records import Stream
from cellmon.shifts import to_utc
from cellmon.store import Announcement, Decision, Session
from cellmon.words import say, to_say, voice

if TYPE_CHECKING:
    from cellmon.diagnosis import Cause


@dataclass(frozen=True, kw_only=True)
class Change:
    """When a stream changed, with the earliest and latest plausible moment and part."""

    at: datetime
    part: str
    earliest_at: datetime
    earliest_part: str
    latest_at: datetime
    latest_part: str


@dataclass(frozen=True, kw_only=True)
class Response:
    """What a person answered to a signal; `seen` alone means acknowledged, not answered."""

    cause: str | None
    action: str | None
    by: str
    at: datetime
    seen: bool


@dataclass(frozen=True, kw_only=True)
class LikelyCause:
    """A cause that may explain a signal; `cause` names its row of the table, `why` the evidence."""

    cause: str
    title: str
    weight: float
    check_first: str
    correction: str
    caution: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Signal:
    """One change, as the first detector that called told of it and others confirmed.

    `size` is how far the level moved, or the figure that lies beyond its limit, in `unit`; `size_um` the same
    where that is micrometres (None for a spread, whose `ratio` says how much wider it is).
    `streams` are all that called, `words` is a sentence, `over` tells that the stream is back.
    """

    id: str
    stream: Stream
    streams: tuple[Stream, ...]
    raised_at: datetime
    part: str
    last_at: datetime
    last_part: str
    over: bool
    kind: str
    detector: str
    size_um: float | None
    ratio: float | None
    state: str
    words: str
    age_s: float
    change: Change | None = None
    causes: tuple[LikelyCause, ...] = ()
    reaction: str | None = None
    owner: str | None = None
    response: Response | None = None
    size: float | None = None
    unit: str = "µm"
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Signals(Answer):
    """Every signal, newest first."""

    signals: tuple[Signal, ...]
    caution: str


@dataclass(frozen=True, kw_only=True)
class Waiting(Answer):
    """The signals that wait for an answer, newest first; of causes only those of each spindle's newest."""

    signals: tuple[Signal, ...]


WITHDRAWN = to_say("Later rows, events or limits frozen since leave nothing to be signalled there.")
WAITING = ("open", "reopened")


def signals(view: View, *, why: int | None = None, named: str | None = None) -> Signals:
    """Answer with every signal, newest first.

    Of all it is asked why; or only of so many that wait, the newest, and of one that is named.
    """
    from cellmon.diagnosis.evidence import CAUTION

    every = all_signals(view)
    if why is None:
        return Signals(**view.head(), signals=explained(view, every), caution=say(CAUTION))
    first = [s for s in every if s.state in WAITING][:why]
    asked = {s.id: s for s in explained(view, [*first, *(s for s in every if s.id == named)])}
    return Signals(**view.head(), signals=tuple(asked.get(s.id, s) for s in every), caution=say(CAUTION))


def waiting_signals(view: View) -> Waiting:
    """Answer with the signals that wait for an answer: what a page says first, without asking why of each."""
    found = [s for s in all_signals(view) if s.state in WAITING]
    newest = {s.stream.spindle: s for s in reversed(found)}.values()
    asked = {s.id: s for s in explained(view, newest)}
    return Waiting(**view.head(), signals=tuple(asked.get(s.id, s) for s in found))


def all_signals(view: View, stream: Stream | None = None) -> tuple[Signal, ...]:
    """Return the signals of one stream or of all, newest first, withdrawn ones among them; without causes.

    To ask why takes most of the time, so `explained` does it for those of which it is shown.
    """
    return view.signals if stream is None else view.signals_of(stream)


def explained(view: View, signals: Iterable[Signal]) -> tuple[Signal, ...]:
    """Return signals with the causes that may explain them."""
    groups = {group.id: group for group in view.told[0]}
    return tuple(_with_causes(view, groups[s.id], s) if s.id in groups else s for s in signals)


def _with_causes(view: View, group: Group, signal: Signal) -> Signal:
    causes = explain(view, group).causes
    why_not = {} if causes else {"causes": say("no row of the table of causes fits what moved")}
    return replace(signal, causes=tuple(map(_likely, causes)), why_not=why_not)


def every_signal(view: View) -> tuple[Signal, ...]:
    """Build every signal of a view, newest first, without causes; `View.signals` keeps them."""
    groups, gone = view.told
    answers = answers_given(view.session)
    found = [standing(view, group, answers.get(group.id)) for group in groups]
    for announced in gone:
        if np.datetime64(announced.body["at"], "us") <= view.as_of:
            found.append(_withdrawn(view, announced, answers.get(announced.id)))
    return _reopened(_newest_first(found))


def signals_since(view: View, start: np.datetime64 | None) -> tuple[Signal, ...]:
    """Build the signals raised from a moment on that were not withdrawn, newest first, without causes.

    Those raised before are not put together: what comes again after an answer comes later than it.
    """
    if start is None or not is_kept(view.session, view.rules, until=view.as_of):
        known = (s for s in view.signals if s.state != "withdrawn")
        return tuple(s for s in known if start is None or to_utc(s.raised_at) >= start)
    groups = [g for g in told_groups(view.session, start=start, until=view.as_of) if g.lead.at >= start]
    answers = answers_given(view.session)
    return _reopened(_newest_first(standing(view, group, answers.get(group.id)) for group in groups))


def _newest_first(signals: Iterable[Signal]) -> tuple[Signal, ...]:
    return tuple(sorted(signals, key=lambda s: (s.raised_at, s.id), reverse=True))


def told(view: View) -> tuple[list[Group], list[Announcement]]:
    """Return every signal, and what was announced and is none any more: as kept, where that still holds.

    `View.told` keeps them.
    """
    if not is_kept(view.session, view.rules, until=view.as_of):
        found = named_groups(view.session, view.rules, until=view.as_of)
        return list(found.groups), list(found.gone)
    groups = list(told_groups(view.session, until=view.as_of))
    there = {group.id for group in groups}
    return groups, [a for a in view.session.announced() if a.id not in there]


def _reopened(signals: tuple[Signal, ...]) -> tuple[Signal, ...]:
    """Say of an answered signal whether the same came again afterwards and was not answered itself."""
    found = []
    for i, signal in enumerate(signals):
        answer = signal.response
        again = answer is not None and any(
            later.raised_at > answer.at
            and later.state == "open"
            and (later.stream, later.kind) == (signal.stream, signal.kind)
            for later in signals[:i]
        )
        found.append(replace(signal, state="reopened") if again and signal.state == "answered" else signal)
    return tuple(found)


def answers_given(session: Session) -> dict[str, Decision]:
    """Return the last answer to each signal; an acknowledgement never hides an answer."""
    found: dict[str, Decision] = {}
    for decision in session.decisions("respond"):
        before = found.get(decision.subject)
        if before is None or not decision.body["seen"] or before.body["seen"]:
            found[decision.subject] = decision
    return found


def standing(view: View, group: Group, answer: Decision | None) -> Signal:
    """Return a signal without causes, and without whether the same came again since.

    A signal that neither calls nor answers were added to is as it was, but for its age.
    """
    known: dict[str, tuple[Group, int | None, Signal]] = view.carry(
        f"signals {voice()} {lengths.shown()}", view.rules.now.version, dict
    )
    answered = None if answer is None else answer.id
    before = known.get(group.id)
    if before is not None and before[0] is group and before[1] == answered:
        return replace(before[2], age_s=_age_s(view, group))
    found = _standing(view, group, answer)
    if all(c.stream.like is None for c in group.calls):  # like parts react as the one that runs
        known[group.id] = (group, answered, found)
    return found


def _age_s(view: View, group: Group) -> float:
    return float((view.as_of - group.lead.at) / np.timedelta64(1, "s"))


def _standing(view: View, group: Group, answer: Decision | None) -> Signal:
    told: Explained = explain(view, group, causes=False)
    lead, last = group.lead, group.last
    spread = told.kind == "spread"
    size = None if spread or not np.isfinite(told.size) else round(told.size, 3)
    unit = _unit(view, told)
    response = None if answer is None else _response(view, answer)
    return Signal(
        id=group.id,
        stream=told.stream,
        streams=tuple(dict.fromkeys(c.stream for c in group.calls)),
        raised_at=view.local(lead.at),
        part=lead.part,
        last_at=view.local(last.last_at),
        last_part=last.last_part,
        over=told.over,
        kind=told.kind,
        detector=detector_words(told.detector),
        size_um=size if unit == "µm" else None,
        size=size,
        unit=unit,
        ratio=round(told.size, 3) if spread else None,
        state="answered" if response is not None and not response.seen else "open",
        words=signal_words(view.name(told.stream), lead, kind=told.kind, size=told.size, unit=unit),
        age_s=_age_s(view, group),
        change=Change(
            at=view.local(lead.change_at),
            part=lead.change_part,
            earliest_at=view.local(lead.earliest_at),
            earliest_part=lead.earliest_part,
            latest_at=view.local(lead.latest_at),
            latest_part=lead.latest_part,
        ),
        reaction=told.reaction,
        owner=response.by if response else None,
        response=response,
    )


def _unit(view: View, told: Explained) -> str:
    if told.kind == "routing":
        return say("bores")
    return "%" if told.detector.startswith(SHARE_OF) else view.unit(told.stream)


def _likely(cause: Cause) -> LikelyCause:
    return LikelyCause(
        cause=cause.id,
        title=cause.title,
        weight=round(cause.weight, 3),
        check_first=cause.check_first,
        correction=cause.correction,
        caution=cause.caution,
        why=cause.why,
    )


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
        age_s=float((view.as_of - at) / np.timedelta64(1, "s")),
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


def respond(
    session: Session,
    signal: str,
    *,
    by: str,
    cause: str | None,
    action: str | None,
    seen: bool,
    at: np.datetime64,
) -> None:
    """Journal an answer, or an acknowledgement with `seen`.

    Raises
    ------
    NotFound
        When no such signal was ever announced.
    WrongUsage
        When an answer lacks its cause or its action.
    """
    if all(a.id != signal for a in session.announced()):
        raise NotFound(say("no signal {signal}; `cellmon signals` lists them", signal=signal))
    if not seen and not (cause and action):
        raise WrongUsage(say("an answer needs a cause and an action; `--seen` alone acknowledges"))
    body = {"cause": cause, "action": action, "seen": seen and not (cause and action)}
    session.decide(at=at, by=by, why=cause or say("seen"), kind="respond", subject=signal, body=body)
