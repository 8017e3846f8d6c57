"""Tokens: what a program shows instead of a name and a password, and what it may do with it.

A token holds 256 random bits, so nobody guesses one and a quick hash is enough to keep; a password does not,
which is why `cellmon.passwords` is slow.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from dataclasses import dataclass
from enum import StrEnum

RANDOM_BYTES = 32
FORM = re.compile(r"cellmon_[A-Za-z0-9_-]{43}")
"""What a token looks like: whoever finds one in a file can see what it is."""


class May(StrEnum):
    """The one thing that a token lets a program do."""

    READINGS = "readings"
    METRICS = "metrics"


@dataclass(frozen=True, kw_only=True)
class Token:
    """What is known of a token: to whom it was given and for what; never the token itself."""

    name: str
    may: May


def new_token() -> str:
    """Return a token that nobody has."""
    return f"cellmon_{secrets.token_urlsafe(RANDOM_BYTES)}"


def kept_of(token: str) -> str | None:
    """Return what is kept of a token; None where it cannot be one.

    Examples
    --------
    >>> kept_of("cellmon_too-short") is None
    True
    """
    if not FORM.fullmatch(token):
        return None
    return f"$sha256${hashlib.sha256(token.encode('ascii')).hexdigest()}"
