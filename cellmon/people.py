"""Who may do what: three roles, and how a name is told from another."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from enum import StrEnum

from cellmon.errors import WrongUsage
from cellmon.words import say, to_say

LONGEST = 60
"""So many characters a name has at most."""


class Role(StrEnum):
    """What a person may do; each may do what those before it may."""

    LOOK = to_say("look")
    ANSWER = to_say("answer")
    DECIDE = to_say("decide")

    def covers(self, needed: Role) -> bool:
        """Return whether this role may do what needs another.

        Examples
        --------
        >>> Role.DECIDE.covers(Role.ANSWER), Role.LOOK.covers(Role.ANSWER)
        (True, False)
        """
        order = list(Role)
        return order.index(self) >= order.index(needed)


@dataclass(frozen=True, kw_only=True)
class Person:
    """An account: a person's, or that of a shared tablet, which only looks.

    Attributes
    ----------
    changed : int
        The number of the journal's entry that changed it last; whoever signed in before signs in anew.
    """

    name: str
    role: Role
    shared: bool = False
    changed: int = 0


def as_name(text: str) -> str:
    """Return a name as it is kept: one line, spaces once.

    Raises
    ------
    WrongUsage
        When it is empty, too long, or holds what is no letter, digit, space or ordinary mark.

    Examples
    --------
    >>> as_name("  R.  Hale ")
    'R. Hale'
    """
    name = unicodedata.normalize("NFC", " ".join(text.split()))
    if not name or len(name) > LONGEST:
        raise WrongUsage(say("a name has 1 to {most} characters", most=LONGEST))
    if not name.isprintable() or any(c in '<>"\\/' for c in name):
        text = to_say("{name} is no name: use letters, digits, spaces and ordinary marks")
        raise WrongUsage(say(text, name=repr(name)))
    return name


def key_of(name: str) -> str:
    """Return what names are compared by: neither capitals nor ways of writing a letter make another person.

    Examples
    --------
    >>> key_of("R. HALE") == key_of("r. hale")
    True
    """
    return unicodedata.normalize("NFKC", " ".join(name.split())).casefold()
