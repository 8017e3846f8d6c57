"""What was detected, since when, why it may be, and what was answered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.monitor.answers import Answer
from cellmon.monitor.explain import causes_of
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.meanwhile import must_have_known
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.shifts import to_utc
from cellmon.store import Session
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.diagnosis import Cause


MICRO = 1_000_000


@dataclass(frozen=True, kw_only=True)
class Change:
    """When a stream changed, with the earliest and latest plausible moment and part."""

    at: datetime
    part: str
    earliest_at: datetime
    earliest_part: str
    latest_at: datetime
    latest_part: str

    @cached_property
    def began(self) -> np.datetime64:
        """The earliest plausible moment in UTC; kept from age to age of its signal."""
        return to_utc(self.earliest_at)


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

    @cached_property
    def called_until(self) -> np.datetime64:
        """When it was called, or was over, in UTC; kept from age to age."""
        return to_utc(self.last_at if self.over else self.raised_at)

    @cached_property
    def raised_us(self) -> int:
        """When it was raised, microseconds since 1970 UTC; kept from age to age."""
        return int(to_utc(self.raised_at).astype("datetime64[us]").astype(np.int64))

    @cached_property
    def last_us(self) -> int:
        """When it was called last, as `raised_us`."""
        return int(to_utc(self.last_at).astype("datetime64[us]").astype(np.int64))

    def at_moment(self, at_us: int) -> Signal:
        """Return the signal at its age at a moment, microseconds since 1970 UTC; else it is as it was."""
        age_s = (at_us - self.raised_us) / MICRO
        body = vars(self) | {"called_until": self.called_until, "age_s": age_s}
        found = object.__new__(Signal)
        object.__setattr__(
            found, "__dict__", body
        )  # `replace` takes ten times as long, and years hold thousands
        return found


@dataclass(frozen=True, kw_only=True)
class Signals(Answer):
    """Every signal, newest first."""

    signals: tuple[Signal, ...]
    caution: str


WAITING = ("open", "reopened")


def signals(view: View, *, why: int | None = None, named: str | None = None) -> Signals:
    """Answer with every signal, newest first.

    Of all it is asked why; or only of so many of the newest, of those that wait, that stand and of all, and
    of one that is named.
    """
    from cellmon.diagnosis.evidence import CAUTION

    every = tuple(view.every_signal)
    if why is not None:
        newest = (*view.waiting[:why], *view.signals[:why], *every[:why])
        wanted = {s.id for s in newest} | {named}
        asked = {s.id: s for s in explained(view, (s for s in every if s.id in wanted))}
    found = explained(view, every) if why is None else tuple(asked.get(s.id, s) for s in every)
    return Signals(**view.head(), signals=found, caution=say(CAUTION))


def explained(view: View, signals: Iterable[Signal]) -> tuple[Signal, ...]:
    """Return signals with the causes that may explain them.

    To ask why takes most of the time, so it is asked of those of which it is shown.
    """
    from cellmon.monitor.signals_told import groups_of

    asked = list(signals)
    groups = groups_of(view, {s.id for s in asked}) if asked else {}
    return tuple(_with_causes(view, groups[s.id], s) if s.id in groups else s for s in asked)


def _with_causes(view: View, group: Group, signal: Signal) -> Signal:
    causes = causes_of(view, group)
    why_not = {} if causes else {"causes": say("no row of the table of causes fits what moved")}
    return replace(signal, causes=tuple(map(_likely, causes)), why_not=why_not)


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


def respond(
    session: Session,
    rules: Rules,
    signal: str,
    *,
    by: str,
    cause: str | None,
    action: str | None,
    seen: bool,
    at: np.datetime64,
    knew: int | None = None,
) -> None:
    """Journal an answer, or an acknowledgement with `seen`, which never hides an answer.

    Raises
    ------
    NotFound
        When no such signal was ever announced.
    WrongUsage
        When an answer lacks its cause or its action.
    DecidedAlready
        When somebody answered after the decision numbered `knew`.
    """
    if not session.announced_of([signal]):
        raise NotFound(say("no signal {signal}; `cellmon signals` lists them", signal=signal))
    if not seen and not (cause and action):
        raise WrongUsage(say("an answer needs a cause and an action; `--seen` alone acknowledges"))
    if not seen:
        answers = (one for one in session.decisions("respond", subject=signal) if not one.body["seen"])
        must_have_known(rules, answers, knew, signal)
    body = {"cause": cause, "action": action, "seen": seen and not (cause and action)}
    session.decide(at=at, by=by, why=cause or say("seen"), kind="respond", subject=signal, body=body)
