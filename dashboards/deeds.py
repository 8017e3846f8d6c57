"""What a person does on a page: how many wait to do it at once, and what was kept where the store failed.

A deed waits until other programs have written. Each that waits keeps a thread of the server, so a few may:
one more is refused, and the pages of all others go on.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from threading import BoundedSemaphore
from typing import Any

from cellmon.errors import NothingKept, PerhapsKept, StoreRefused
from cellmon.monitor import press
from cellmon.words import say, to_say

MOST = 5
"""So many may be under way at once, fewer than the threads of the server."""
PATIENCE_S = 2.0


class Deeds:
    """The deeds that are under way."""

    def __init__(self) -> None:
        self._room = BoundedSemaphore(MOST)

    def of(self, do: Callable[..., Any]) -> Callable[..., Any]:
        """Return what does the same.

        Raises
        ------
        NothingKept, PerhapsKept
            Where the store failed, or too many wait for it: a sentence that says what is known.
        """

        @wraps(do)
        def done(*given: Any, **named: Any) -> Any:
            if not self._room.acquire(timeout=PATIENCE_S):
                raise _nothing(say("{most} others wait until another program has written", most=MOST))
            try:
                return _told(do, *given, **named)
            finally:
                self._room.release()

        return done


def _told(do: Callable[..., Any], *given: Any, **named: Any) -> Any:
    try:
        return do(*given, **named)
    except NothingKept as refusal:
        raise _nothing(refusal.why) from refusal
    except StoreRefused as refusal:  # what was kept is read again for its answer
        text = to_say("{why}. It is not known whether this was kept: look before you do it again.")
        if (one := press.now()) is not None and one.was_kept:
            text = to_say("this was kept; what became of it cannot be read: {why}")
        raise PerhapsKept(say(text, why=refusal.why), why=refusal.why) from refusal


def _nothing(why: str) -> NothingKept:
    return NothingKept(say("nothing was kept: {why}", why=why), why=why)
