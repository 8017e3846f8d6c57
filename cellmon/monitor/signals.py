"""What was detected, since when, and what was answered."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Episodes
from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.store import Announcement, Decision, Session


@dataclass(frozen=True, kw_only=True)
class Change:
    """When a stream changed, with the earliest and latest plausible part."""

    at: datetime
    part: str
    earliest_part: str
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
class Signal:
    """One signal: consecutive points of one chart beyond the same limit.

    `size_um` is how far the farthest of them lies from the centre (a range: how wide the widest is).
    `words` is a sentence.
    """

    id: str
    stream: Stream
    raised_at: datetime
    part: str
    last_at: datetime
    last_part: str
    points: int
    kind: str
    detector: str
    size_um: float
    state: str
    words: str
    age_s: float
    change: Change | None = None
    causes: tuple[Mapping[str, str], ...] = ()
    owner: str | None = None
    response: Response | None = None
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Signals(Answer):
    """Every signal, newest first."""

    signals: tuple[Signal, ...]


DETECTORS = {"mean": "X-bar, 3 sigma", "range": "R, 3 sigma"}
KINDS = {"mean": "level", "range": "spread"}
WITHDRAWN = "Later rows, or limits frozen since, put the point back inside its limit."
NO_CAUSES = "comes with diagnosis"


def signals(view: View) -> Signals:
    """Answer with every signal, newest first."""
    return Signals(**view.head(), signals=all_signals(view))


def all_signals(view: View, stream: Stream | None = None) -> tuple[Signal, ...]:
    """Return the signals of one stream or of all, newest first, withdrawn ones among them."""
    standing = view.session.episodes(stream, end=view.as_of)
    announced = {a.id: a for a in view.session.announced()}
    answers = _responses(view.session)
    found = [_standing(view, standing, i, announced, answers) for i in range(len(standing))]
    gone = set(announced) - set(standing.id.tolist())
    for name in gone:
        withdrawn = announced[name]
        of = Stream(**json.loads(withdrawn.stream))
        if stream in (None, of) and np.datetime64(withdrawn.body["at"], "us") <= view.as_of:
            found.append(_withdrawn(view, withdrawn, of, answers.get(name)))
    return tuple(sorted(found, key=lambda s: (s.raised_at, s.id), reverse=True))


def _responses(session: Session) -> dict[str, Decision]:
    """Return the last answer to each signal; an acknowledgement never hides an answer."""
    found: dict[str, Decision] = {}
    for decision in session.decisions("respond"):
        before = found.get(decision.subject)
        if before is None or not decision.body["seen"] or before.body["seen"]:
            found[decision.subject] = decision
    return found


def _standing(
    view: View,
    episodes: Episodes,
    i: int,
    announced: dict[str, Announcement],
    answers: dict[str, Decision],
) -> Signal:
    body: dict[str, Any] = {
        "chart": episodes.chart[i],
        "side": int(episodes.side[i]),
        "at": episodes.at[i],
        "last_at": episodes.last_at[i],
        "part": episodes.part[i],
        "last_part": episodes.last_part[i],
        "points": int(episodes.points[i]),
        "size": float(episodes.size[i]),
    }
    name = str(episodes.id[i])
    raised = announced.get(name)
    first = np.datetime64(raised.body["at"], "us") if raised else episodes.at[i]
    return _signal(view, name, episodes.stream_of(i), body, first, answers.get(name), withdrawn=False)


def _withdrawn(view: View, announced: Announcement, stream: Stream, answer: Decision | None) -> Signal:
    body = dict(announced.body)
    body["at"], body["last_at"] = (np.datetime64(body[n], "us") for n in ("at", "last_at"))
    return _signal(view, announced.id, stream, body, body["at"], answer, withdrawn=True)


def _signal(
    view: View,
    name: str,
    stream: Stream,
    body: dict[str, Any],
    raised: np.datetime64,
    answer: Decision | None,
    *,
    withdrawn: bool,
) -> Signal:
    response = None if answer is None else _response(view, answer)
    answered = response is not None and not response.seen
    state = "withdrawn" if withdrawn else ("answered" if answered else "open")
    why_not = {"causes": NO_CAUSES, "change": "comes with change points"}
    if withdrawn:
        why_not["state"] = WITHDRAWN
    return Signal(
        id=name,
        stream=stream,
        raised_at=view.local(raised),
        part=body["part"],
        last_at=view.local(body["last_at"]),
        last_part=body["last_part"],
        points=body["points"],
        kind=KINDS[body["chart"]],
        detector=DETECTORS[body["chart"]],
        size_um=body["size"],
        state=state,
        words=_words(stream, body),
        age_s=float((view.as_of - raised) / np.timedelta64(1, "s")),
        owner=response.by if response else None,
        response=response,
        why_not=why_not,
    )


def _response(view: View, decision: Decision) -> Response:
    return Response(
        cause=decision.body["cause"],
        action=decision.body["action"],
        by=decision.by,
        at=view.local(decision.at),
        seen=bool(decision.body["seen"]),
    )


def _words(stream: Stream, body: dict[str, Any]) -> str:
    points = body["points"]
    many = f", {points} subgroups in a row" if points > 1 else ""
    if body["chart"] == "range":
        way = "wider" if body["side"] > 0 else "narrower"
        return f"{stream}: spread {way} than its limit (range {body['size']:.1f} µm){many}"
    way = "above" if body["side"] > 0 else "below"
    return f"{stream}: {abs(body['size']):.1f} µm {way} its centre{many}"


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
        raise NotFound(f"no signal {signal}; `cellmon signals` lists them")
    if not seen and not (cause and action):
        raise WrongUsage("an answer needs a cause and an action; `--seen` alone acknowledges")
    body = {"cause": cause, "action": action, "seen": seen and not (cause and action)}
    session.decide(at=at, by=by, why=cause or "seen", kind="respond", subject=signal, body=body)
