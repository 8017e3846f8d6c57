"""Who may sign in to the dashboard, and what they may do there.

Who there is follows from the journal, entry by entry, so nobody gains a role unseen; only the hashes of
passwords and codes stand beside it. Names are shown in order of the alphabet: nothing ranks people.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.monitor.answers import Answer
from cellmon.monitor.tokens import known_tokens
from cellmon.monitor.view import View
from cellmon.passwords import check_code, check_password, fits, hashed
from cellmon.people import Person, Role, as_name, key_of
from cellmon.store import Session
from cellmon.tokens import Token
from cellmon.words import say, to_say

KIND = "people"
"""The kind of a journal entry about an account."""
PASSWORD, CODE = "password", "code"


@dataclass(frozen=True, kw_only=True)
class Account:
    """A person, or a shared tablet, who may sign in; of a password or code only whether there is one."""

    name: str
    role: Role
    shared: bool
    has_password: bool
    has_code: bool
    changed_at: datetime
    changed_by: str


@dataclass(frozen=True, kw_only=True)
class People(Answer):
    """Everybody with an account, and every program with a token, by name."""

    people: tuple[Account, ...]
    tokens: tuple[Token, ...] = ()


def people(view: View) -> People:
    """Answer with everybody who has an account."""
    session = view.session
    known, secrets = known_people(session), session.secret_kinds()
    last = {entry.subject: entry for entry in session.decisions(KIND)}
    accounts = [
        Account(
            name=person.name,
            role=person.role,
            shared=person.shared,
            has_password=(person.name, PASSWORD) in secrets,
            has_code=(person.name, CODE) in secrets,
            changed_at=view.local(last[person.name].at),
            changed_by=last[person.name].by,
        )
        for person in sorted(known.values(), key=lambda p: key_of(p.name))
    ]
    tokens = sorted(known_tokens(session).values(), key=lambda t: key_of(t.name))
    return People(**view.head(), people=tuple(accounts), tokens=tuple(tokens))


def known_people(session: Session) -> dict[str, Person]:
    """Return everybody with an account, by what names are compared by, as the journal leaves them."""
    found: dict[str, Person] = {}
    for entry in session.decisions(KIND):
        key, did = key_of(entry.subject), entry.body["did"]
        if did == "added":
            role, shared = Role(entry.body["role"]), bool(entry.body["shared"])
            found[key] = Person(name=entry.subject, role=role, shared=shared, changed=entry.id)
        elif did == "removed":
            del found[key]
        else:
            role = Role(entry.body["role"]) if did == "role" else found[key].role
            found[key] = replace(found[key], role=role, changed=entry.id)
    return found


def find_person(session: Session, name: str) -> Person:
    """Return the person of a name, however it is capitalised.

    Raises
    ------
    NotFound
        When there is none.
    """
    person = known_people(session).get(key_of(name))
    if person is None:
        text = to_say("there is no account of {name}; `cellmon people` lists them")
        raise NotFound(say(text, name=" ".join(name.split())))
    return person


def add(
    session: Session,
    name: str,
    *,
    role: Role,
    shared: bool,
    password: str | None,
    by: str,
    at: np.datetime64,
) -> Person:
    """Make an account.

    Raises
    ------
    WrongUsage
        When there is one of that name, or the name or password cannot be used.
    """
    name = as_name(name)
    if key_of(name) in known_people(session):
        raise WrongUsage(say("there is an account of {name} already", name=name))
    if shared and role is not Role.LOOK:
        text = to_say("a shared tablet only looks: whoever decides on it says a name and a code")
        raise WrongUsage(say(text))
    _journal(session, name, by=by, at=at, did="added", role=role.value, shared=shared)
    if password is not None:
        check_password(password, name=name)
        session.put_secret(name, PASSWORD, hashed(password), at=at)
    return find_person(session, name)


def set_role(session: Session, name: str, *, role: Role, by: str, at: np.datetime64) -> Person:
    """Give a person another role.

    Raises
    ------
    NotFound, WrongUsage
        When there is no such person; when it is a shared tablet, or nothing would change.
    """
    person = find_person(session, name)
    if person.shared:
        raise WrongUsage(say("{name} is a shared tablet, which only looks", name=person.name))
    if person.role is role:
        raise WrongUsage(say("{name} has the role {role} already", name=person.name, role=role.value))
    _journal(session, person.name, by=by, at=at, did="role", role=role.value, before=person.role.value)
    return find_person(session, name)


def remove(session: Session, name: str, *, by: str, at: np.datetime64) -> Person:
    """Take an account away; what was decided in its name stays.

    Raises
    ------
    NotFound
        When there is no such person.
    """
    person = find_person(session, name)
    _journal(session, person.name, by=by, at=at, did="removed", before=person.role.value)
    session.drop_secrets(person.name, PASSWORD, CODE)
    return person


def set_password(session: Session, name: str, *, password: str, by: str, at: np.datetime64) -> Person:
    """Give a person a new password; everybody signed in with the old one is signed out.

    Raises
    ------
    NotFound, WrongUsage
        When there is no such person; when the password cannot be used.
    """
    person = find_person(session, name)
    check_password(password, name=person.name)
    session.put_secret(person.name, PASSWORD, hashed(password), at=at)
    _journal(session, person.name, by=by, at=at, did="password")
    return find_person(session, name)


def set_code(session: Session, name: str, *, code: str, by: str, at: np.datetime64) -> Person:
    """Give a person the code by which they decide on a shared tablet.

    Raises
    ------
    NotFound, WrongUsage
        When there is no such person; when it is a tablet, may only look, or the code cannot be used.
    """
    person = find_person(session, name)
    if not person.role.covers(Role.ANSWER):
        text = to_say("{name} may only look; a tap code is for those who answer or decide")
        raise WrongUsage(say(text, name=person.name))
    check_code(code)
    session.put_secret(person.name, CODE, hashed(code), at=at)
    _journal(session, person.name, by=by, at=at, did="code")
    return find_person(session, name)


def whose(session: Session, name: str, secret: str, *, kind: str) -> Person | None:
    """Return the person of a name and password or code; None, after as long, where they do not fit."""
    person = known_people(session).get(key_of(name))
    kept = None if person is None else session.secret(person.name, kind)
    return person if fits(secret, kept) else None


def may_serve(session: Session) -> bool:
    """Return whether somebody could sign in and decide."""
    secrets = session.secret_kinds()
    return any(
        person.role is Role.DECIDE and (person.name, PASSWORD) in secrets
        for person in known_people(session).values()
    )


WORDS: Mapping[str, str] = {
    "added": to_say("an account"),
    "removed": to_say("the account taken away"),
    "role": to_say("another role"),
    "password": to_say("a new password"),
    "code": to_say("a new tap code"),
}


def _journal(session: Session, name: str, *, by: str, at: np.datetime64, did: str, **said: Any) -> None:
    session.decide(at=at, by=by, why=say(WORDS[did]), kind=KIND, subject=name, body={"did": did, **said})
