"""Answers of a monitor, kept until something is committed: one page asks the same question many times."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from threading import Lock
from typing import TYPE_CHECKING, Any, cast

from cellmon import lengths

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

QUESTIONS = frozenset(
    {
        "alarms",
        "aside",
        "aside_row",
        "baselines",
        "bore",
        "capability",
        "capability_picture",
        "files",
        "first_bores",
        "flag",
        "flags",
        "gauge",
        "hand_streams",
        "hand_work",
        "hold",
        "joint",
        "limits_age",
        "newest_parts",
        "now",
        "pair",
        "part",
        "proposals",
        "pooled",
        "seismograph",
        "shifts",
        "shifts_made",
        "signals",
        "splits",
        "state",
        "stone_picture",
        "stone_plan",
        "stream",
        "stream_state",
        "streams",
        "totals",
        "trust",
        "waiting_signals",
    }
)
"""What only reads; anything else goes straight to the monitor."""
MOST = 48
"""So many answers are kept, the last used."""


@dataclass(frozen=True, eq=False)
class _Found:
    """One answer, whatever it is."""

    answer: Any


class Kept:
    """A monitor whose answers are worked out once for each state of the store.

    An answer is a function of what is committed and of how lengths are said, so it holds until
    `last_change` moves. The number is
    read before the answer is worked out: a commit in between can only make an answer newer than its key.
    """

    def __init__(self, monitor: Monitor) -> None:
        self._monitor = monitor
        self._working, self._looking = Lock(), Lock()
        self._answers: OrderedDict[tuple[Any, ...], _Found] = OrderedDict()

    def __getattr__(self, name: str) -> Any:
        """Return a question that keeps its answers, or whatever else the monitor has."""
        found = getattr(self._monitor, name)
        return partial(self._ask, name, found) if name in QUESTIONS else found

    def _ask(self, name: str, question: Callable[..., Any], *given: Any, **named: Any) -> Any:
        key = (self._monitor.last_change(), lengths.shown(), name, given, tuple(sorted(named.items())))
        found = self._found(key)
        if found is None:
            with self._working:  # one works, for what it found serves the next
                found = self._found(key) or self._keep(key, question(*given, **named))
        return found.answer

    def _found(self, key: tuple[Any, ...]) -> _Found | None:
        """Return what is kept, without waiting for whoever works something out."""
        with self._looking:
            if key in self._answers:
                self._answers.move_to_end(key)
            return self._answers.get(key)

    def _keep(self, key: tuple[Any, ...], answer: Any) -> _Found:
        with self._looking:
            found = self._answers[key] = _Found(answer=answer)
            while len(self._answers) > MOST:
                self._answers.popitem(last=False)
            return found


def kept(monitor: Monitor) -> Monitor:
    """Return a monitor that answers as this one does, and remembers; itself where it remembers already."""
    return monitor if isinstance(monitor, Kept) else cast("Monitor", Kept(monitor))
