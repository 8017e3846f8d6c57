"""How often somebody may be wrong about a password or a code before they wait."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock

from cellmon.errors import CellmonError
from cellmon.words import say, say_many

FREE = {"name": 5, "address": 20}
"""So many wrong attempts cost nothing, with one name and from one address."""
FIRST_WAIT_S, LONGEST_WAIT_S = 15.0, 900.0
FORGET_S = {"name": 86_400.0, "address": 3600.0}
"""After so long without another, wrong attempts are forgotten."""
MOST = 10_000
"""So many names and addresses are remembered, the last heard of."""

Key = tuple[str, str]


class TooOften(CellmonError):
    """Wrong too often: whoever tries waits."""

    def __init__(self, wait_s: float) -> None:
        super().__init__(say("Too many wrong attempts. Try again in {wait}.", wait=in_words(wait_s)))
        self.wait_s = wait_s


@dataclass
class _Count:
    wrong: int
    last: float
    until: float


class Attempts:
    """Wrong attempts by name and by address, in the memory of the server."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock, self._lock = clock, Lock()
        self._counts: OrderedDict[Key, _Count] = OrderedDict()

    def begin(self, *keys: Key) -> None:
        """Count an attempt as wrong before it is looked at, so that many at once count as many.

        Raises
        ------
        TooOften
            When one of the keys must wait; then nothing is counted.
        """
        now = self._clock()
        with self._lock:
            self._put_back(keys, now)
            wait = max((self._counts[key].until - now for key in keys if key in self._counts), default=0.0)
            if wait > 0:
                raise TooOften(wait)
            for key in keys:
                self._count(key, now)

    def was_right(self, *keys: Key) -> None:
        """Take back what `begin` counted; a name's other wrong attempts are forgiven with it.

        Those of an address are not: whoever has one password must not try others' for nothing.
        """
        with self._lock:
            for key in keys:
                found = self._counts.get(key)
                if found is None:
                    continue
                found.wrong = 0 if key[0] == "name" else max(found.wrong - 1, 0)
                if found.wrong < FREE[key[0]]:
                    found.until = 0.0

    def _put_back(self, keys: tuple[Key, ...], now: float) -> None:
        """Let nobody wait longer because the clock was put back: what rests on it goes back with it."""
        for found in (self._counts[key] for key in keys if key in self._counts):
            ahead = max(found.last - now, 0.0)
            found.last, found.until = found.last - ahead, found.until - ahead

    def _count(self, key: Key, now: float) -> None:
        found = self._counts.pop(key, None)
        if found is None or now - found.last > FORGET_S[key[0]]:
            found = _Count(wrong=0, last=now, until=0.0)
        found.wrong, found.last = found.wrong + 1, now
        beyond = found.wrong - FREE[key[0]]
        if beyond >= 0:
            found.until = now + min(FIRST_WAIT_S * 2.0 ** min(beyond, 20), LONGEST_WAIT_S)
        self._counts[key] = found
        while len(self._counts) > MOST:
            self._counts.popitem(last=False)


def in_words(seconds: float) -> str:
    """Return a wait as people say it, never too short.

    Examples
    --------
    >>> in_words(14.2), in_words(61)
    ('15 seconds', '2 minutes')
    """
    whole = int(-(-seconds // 1))
    if whole < 60:
        return say_many("{count} second", "{count} seconds", max(whole, 1))
    return say_many("{count} minute", "{count} minutes", -(-whole // 60))
