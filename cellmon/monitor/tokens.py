"""Which programs may hand over rows, or read the figures of the server.

As with people, who has a token follows from the journal; only its hash stands beside it.
"""

from __future__ import annotations

import numpy as np

from cellmon.errors import NotFound
from cellmon.people import as_name, key_of
from cellmon.store import Session
from cellmon.tokens import May, Token, kept_of, new_token
from cellmon.words import say, to_say

KIND = "tokens"
"""The kind of a journal entry about a token."""
TOKEN = "token"


def known_tokens(session: Session) -> dict[str, Token]:
    """Return every token in force, by what names are compared by."""
    found: dict[str, Token] = {}
    for entry in session.decisions(KIND):
        if entry.body["did"] == "made":
            found[key_of(entry.subject)] = Token(name=entry.subject, may=May(entry.body["may"]))
        else:
            found.pop(key_of(entry.subject), None)
    return found


def make(session: Session, name: str, *, may: May, by: str, at: np.datetime64) -> str:
    """Return a new token for a program; one of that name that was made before opens nothing any more.

    Raises
    ------
    WrongUsage
        When the name cannot be used.
    """
    before = known_tokens(session).get(key_of(name))
    name, token = as_name(name) if before is None else before.name, new_token()
    body = {"did": "made", "may": may.value}
    session.decide(at=at, by=by, why=say("a token"), kind=KIND, subject=name, body=body)
    session.put_secret(name, TOKEN, kept_of(token) or "", at=at)
    return token


def withdraw(session: Session, name: str, *, by: str, at: np.datetime64) -> Token:
    """Take a token away; what came with it stays.

    Raises
    ------
    NotFound
        When there is none of that name.
    """
    token = known_tokens(session).get(key_of(name))
    if token is None:
        text = to_say("there is no token of {name}; `cellmon people` lists them")
        raise NotFound(say(text, name=" ".join(name.split())))
    body = {"did": "withdrawn", "before": token.may.value}
    session.decide(at=at, by=by, why=say("the token withdrawn"), kind=KIND, subject=token.name, body=body)
    session.drop_secrets(token.name, TOKEN)
    return token


def with_token(session: Session, token: str) -> Token | None:
    """Return whose token this is; None where it is nobody's."""
    kept = kept_of(token)
    holder = None if kept is None else session.holder(TOKEN, kept)
    return None if holder is None else known_tokens(session).get(key_of(holder))
