"""What one person proposes and another signs: frozen limits, statements of capability.

A proposal is an entry of the journal, and so is its signature or refusal. Where the sheet asks for no
second person nothing is proposed: what one person decides stands.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

import numpy as np

from cellmon.errors import NotAllowed, NotFound, WrongUsage
from cellmon.monitor.answers import Answer
from cellmon.monitor.people import known_people
from cellmon.monitor.view import View
from cellmon.people import Role, key_of
from cellmon.records import Stream
from cellmon.sheet import Sheet
from cellmon.store import Decision, Session
from cellmon.words import say, say_many, to_say

PROPOSE, SIGN, REFUSE = "propose", "sign", "refuse"
"""Kinds of entries in the journal."""
ALONE = "state"
"""The kind of an entry by which one person signs figures where no second one is wanted."""
LIMITS, CLAIMS = "limits", "claims"
"""What is proposed, as `second_person` of the sheet names it."""


class ProposalState(StrEnum):
    """What became of a proposal."""

    WAITS = "waits"
    SIGNED = "signed"
    REFUSED = "refused"
    OVERTAKEN = "overtaken"
    """Limits of its streams were frozen since, or another sheet was put in force."""


WORDS = {
    ProposalState.WAITS: to_say("waits for a second name"),
    ProposalState.SIGNED: to_say("signed by {name}"),
    ProposalState.REFUSED: to_say("refused by {name}: {why}"),
    ProposalState.OVERTAKEN: to_say("overtaken: limits or sheet changed since it was proposed"),
}


@dataclass(frozen=True, kw_only=True)
class ProposedChange:
    """What one stream has before and after: of limits `centre` and `sigma`, of capability its figures."""

    stream: Stream
    before: Mapping[str, Any] | None
    after: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """One proposal, and what became of it."""

    id: str
    of: str
    streams: tuple[Stream, ...]
    changes: tuple[ProposedChange, ...]
    by: str
    at: datetime
    why: str
    state: ProposalState
    decided_by: str | None
    decided_at: datetime | None
    decided_why: str | None
    words: str
    """What became of it, in words."""
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Proposals(Answer):
    """Every proposal, oldest first, and what the sheet in force wants a second person for."""

    second_person: tuple[str, ...]
    proposals: tuple[Proposal, ...]


@dataclass(frozen=True, kw_only=True)
class Proposed:
    """A proposal as the journal has it."""

    entry: Decision
    decided: Decision | None
    overtaken: bool

    @property
    def id(self) -> str:
        """Its name: the number of its entry in the journal."""
        return name_of(self.entry)

    @property
    def of(self) -> str:
        """`limits` or `claims`."""
        return self.entry.subject

    @property
    def streams(self) -> tuple[Stream, ...]:
        """The streams whose limits or figures it holds."""
        return tuple(one.stream for one in self.changes)

    @property
    def changes(self) -> tuple[ProposedChange, ...]:
        """What each of them has before and after."""
        return tuple(
            ProposedChange(stream=Stream(**json.loads(one["key"])), before=one["before"], after=one["after"])
            for one in self.entry.body["streams"]
        )

    @property
    def state(self) -> ProposalState:
        """What became of it."""
        if self.decided is not None:
            return ProposalState.SIGNED if self.decided.kind == SIGN else ProposalState.REFUSED
        return ProposalState.OVERTAKEN if self.overtaken else ProposalState.WAITS


def proposals(view: View) -> Proposals:
    """Answer with what was proposed, what waits for a second name, and what was signed or refused."""
    found = tuple(told(view, one) for one in all_proposed(view.session))
    return Proposals(**view.head(), second_person=view.sheet.people.second_person, proposals=found)


def waiting(view: View, of: str) -> tuple[Proposal, ...]:
    """Return the proposals of one kind that wait for a second name."""
    known = all_proposed(view.session)
    return tuple(told(view, one) for one in known if one.of == of and one.state is ProposalState.WAITS)


def told(view: View, one: Proposed) -> Proposal:
    """Return a proposal as people see it."""
    entry, decided = one.entry, one.decided
    return Proposal(
        id=one.id,
        of=one.of,
        streams=one.streams,
        changes=one.changes,
        by=entry.by,
        at=view.local(entry.at),
        why=entry.why,
        state=one.state,
        decided_by=decided.by if decided else None,
        decided_at=view.local(decided.at) if decided else None,
        decided_why=decided.why if decided else None,
        words=_became(one),
        sentence=_sentence(one),
    )


def _became(one: Proposed) -> str:
    decided = one.decided
    names = {"name": decided.by, "why": decided.why.rstrip(".")} if decided else {}
    return say(WORDS[one.state], **names)


def _sentence(one: Proposed) -> str:
    return say(
        "{id}, {what}, proposed by {by}: {state}.",
        id=one.id,
        what=what_of(one.of, len(one.streams)),
        by=one.entry.by,
        state=_became(one),
    )


def what_of(of: str, count: int) -> str:
    """Return what is proposed, in words."""
    if of == LIMITS:
        return say_many("limits of {count} stream", "limits of {count} streams", count)
    return say_many("capability of {count} stream", "capability of {count} streams", count)


def wants_second(sheet: Sheet, of: str) -> bool:
    """Return whether limits, or claims, stand only once a second person has signed."""
    return of in sheet.people.second_person


def name_of(entry: Decision) -> str:
    """Return what a proposal is called."""
    return f"P{entry.id}"


def all_proposed(session: Session) -> list[Proposed]:
    """Return every proposal of the journal, oldest first."""
    entries = session.decisions(PROPOSE, SIGN, REFUSE, "freeze", "adopt")
    decided = {one.subject: one for one in entries if one.kind in (SIGN, REFUSE)}
    adopted = max((one.id for one in entries if one.kind == "adopt"), default=0)
    frozen = {one.subject: one.id for one in entries if one.kind == "freeze"}
    found = []
    for entry in entries:
        if entry.kind != PROPOSE:
            continue
        changed = [frozen.get(one["key"], 0) for one in entry.body["streams"]]
        overtaken = entry.subject == LIMITS and max([adopted, *changed]) > entry.id
        found.append(Proposed(entry=entry, decided=decided.get(name_of(entry)), overtaken=overtaken))
    return found


def find_waiting(session: Session, proposal: str) -> Proposed:
    """Return a proposal that waits for a second name.

    Raises
    ------
    NotFound
        When there is none of that name.
    WrongUsage
        When it was signed, refused or overtaken already.
    """
    found = next((one for one in all_proposed(session) if one.id == proposal.strip().upper()), None)
    if found is None:
        raise NotFound(say("no proposal {proposal}; `cellmon sign` lists them", proposal=proposal))
    if found.state is not ProposalState.WAITS:
        raise WrongUsage(_sentence(found).rstrip("."))
    return found


def propose(
    session: Session,
    of: str,
    streams: Sequence[Mapping[str, Any]],
    *,
    by: str,
    why: str,
    at: np.datetime64,
    **more: Any,
) -> str:
    """Journal what one person proposes; each stream has `key`, `before`, `after`. Return its name.

    Raises
    ------
    NotAllowed
        When there are accounts, and this name may not decide.
    """
    must_decide(session, by)
    body = {"state": ProposalState.WAITS, "streams": list(streams), **more}
    return f"P{session.decide(at=at, by=by, why=why, kind=PROPOSE, subject=of, body=body)}"


def must_decide(session: Session, name: str) -> None:
    """Refuse a name that has no account where others have one, or whose role does not decide.

    Raises
    ------
    NotAllowed
        When it may not: else one person could propose and sign under two names.
    """
    people = [one for one in known_people(session).values() if not one.shared]
    if not people:
        return
    person = next((one for one in people if key_of(one.name) == key_of(name)), None)
    if person is None:
        raise NotAllowed(say("There is no account of {name}; who proposes or signs has one.", name=name))
    if not person.role.covers(Role.DECIDE):
        raise NotAllowed(say("{name} may not decide this.", name=person.name))


def must_be_another(proposed: Proposed, name: str) -> None:
    """Refuse a signature under one's own proposal.

    Raises
    ------
    NotAllowed
        When it is the name of who proposed it.
    """
    if key_of(name) == key_of(proposed.entry.by):
        text = to_say("{name} proposed {id}; another person signs it.")
        raise NotAllowed(say(text, name=proposed.entry.by, id=proposed.id))
