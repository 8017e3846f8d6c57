"""Whether the signals stand as an older program put them together: until something is judged next."""

from __future__ import annotations

from cellmon.store import Session
from cellmon.words import say, to_say

BASIS = ""
"""The name under which it is kept what the signals rest on; it tells of no time."""
PUT_TOGETHER = 6
"""Raised by a program that calls, joins or names otherwise: the next take then puts all together once."""
RENEWED = to_say(
    "The program was renewed: signals stand as the one before put them together. With the next file all of "
    "them are put together anew, once; with ten million bores stored that file takes some ten seconds more."
)
TAKING, TAKING_ONCE = to_say("taking {file}"), to_say("all signals anew, once; taking {file}")


def notes_on_signals(session: Session) -> tuple[str, ...]:
    """Return a sentence where the next file will take longer than usual."""
    return (say(RENEWED),) if is_renewed(session) else ()


def taking(session: Session, file: str) -> str:
    """Return what is being done, in few words, while a file is taken."""
    return say(TAKING_ONCE if is_renewed(session) else TAKING, file=file)


def is_renewed(session: Session) -> bool:
    """Return whether signals are kept as another program put them together."""
    kept = next(iter(session.told_of([BASIS])), None)
    return kept is not None and kept.body.get("put_together", 1) != PUT_TOGETHER
