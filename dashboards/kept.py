"""Answers of a monitor, kept until something is committed: one page asks the same question many times."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial
from threading import Event, Lock
from typing import TYPE_CHECKING, Any, cast

from cellmon import lengths
from dashboards.asking import NEEDS
from dashboards.away import heard
from dashboards.deeds import Deeds

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.sheet import Sheet

QUESTIONS = frozenset(
    {
        "alarms",
        "aside",
        "aside_row",
        "baselines",
        "bore",
        "capability",
        "capability_picture",
        "comparable",
        "compare",
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
        "signal_named",
        "signals",
        "signals_listed",
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
LETS_PASS_S, SOON_S = 1.0, 0.005


Key = tuple[Any, ...]


@dataclass(frozen=True, eq=False)
class _Found:
    """One answer, whatever it is."""

    answer: Any


class Answers:
    """The answers found last, and those that somebody is about to find."""

    def __init__(self) -> None:
        self._looking = Lock()
        self._found: OrderedDict[Key, _Found] = OrderedDict()
        self._begun: dict[Key, Event] = {}

    def found(self, key: Key) -> _Found | None:
        """Return what is kept, without waiting for whoever works something out."""
        with self._looking:
            if key in self._found:
                self._found.move_to_end(key)
            return self._found.get(key)

    def of(self, key: Key, work: Callable[[], Any]) -> Any:
        """Return an answer: kept, found by another who is at it, or worked out here."""
        while (found := self.found(key)) is None:
            other = self._begin(key)
            if other is not None:
                other.wait()
                continue  # where it was refused there it may be refused here
            try:
                found = self._keep(key, work())
            finally:
                self._end(key)
        return found.answer

    def _begin(self, key: Key) -> Event | None:
        """Say that an answer is about to be found here; return what is set once it is elsewhere."""
        with self._looking:
            other = self._begun.get(key)
            if other is None and key not in self._found:
                self._begun[key] = Event()
            return other

    def _end(self, key: Key) -> None:
        with self._looking:
            self._begun.pop(key).set()

    def _keep(self, key: Key, answer: Any) -> _Found:
        with self._looking:
            found = self._found[key] = _Found(answer=answer)
            while len(self._found) > MOST:
                self._found.popitem(last=False)
            return found


class Kept:
    """A monitor whose answers are worked out once for each state of the store.

    An answer is a function of what is committed and of how lengths are said, so it holds until
    `last_change` moves. The number is
    read before the answer is worked out: a commit in between can only make an answer newer than its key.
    """

    def __init__(self, monitor: Monitor, answers: Answers | None = None) -> None:
        self._monitor = monitor
        self._answers = answers or Answers()
        self._working, self._counting = Lock(), Lock()
        self._deeds = Deeds()
        self._asking = 0
        """So many ask just now what is not kept."""

    def __getattr__(self, name: str) -> Any:
        """Return a question that keeps its answers, a deed that is told, or whatever else the monitor has."""
        found = getattr(self._monitor, name)
        if not callable(found):
            return found
        if name in NEEDS:
            return heard(self._deeds.of(found))
        return heard(partial(self._ask, name, found) if name in QUESTIONS else found)

    @property
    def sheet(self) -> Sheet:
        """The sheet in force, read once for each state: every request asks in which unit it says lengths."""
        found: Sheet = self._answers.of((self._monitor.last_change(), "sheet"), lambda: self._monitor.sheet)
        return found

    def _ask(self, name: str, question: Callable[..., Any], *given: Any, **named: Any) -> Any:
        key = (self._monitor.last_change(), lengths.shown(), name, given, tuple(sorted(named.items())))

        def work() -> Any:
            with self._in_front(), self._working:  # one works: what it worked out on the way serves the next
                return question(*given, **named)

        return self._answers.of(key, work)

    @contextmanager
    def _in_front(self) -> Iterator[None]:
        """Be counted among those whom `beside` lets go first."""
        with self._counting:
            self._asking += 1
        try:
            yield
        finally:
            with self._counting:
                self._asking -= 1

    @contextmanager
    def beside(self) -> Iterator[Monitor]:
        """Yield a monitor of the same cell that works beside this one and lets who asks this one go first.

        What it answers is kept for both; what it worked out on the way serves this one at the end.
        """
        twin = self._monitor.twin(before_each_look=self._let_pass)
        try:
            yield cast("Monitor", Kept(twin, self._answers))
            with self._working:
                self._monitor.take_over(twin)
        finally:
            twin.close()

    def _let_pass(self) -> None:
        """Wait while somebody asks, and no longer than one answer takes: where many ask, some always do."""
        until = time.monotonic() + LETS_PASS_S
        while self._asking and time.monotonic() < until:
            time.sleep(SOON_S)


def kept(monitor: Monitor) -> Monitor:
    """Return a monitor that answers as this one does, and remembers; itself where it remembers already."""
    return cast("Monitor", _kept(monitor))


def beside(monitor: Monitor) -> AbstractContextManager[Monitor]:
    """Work beside a monitor that remembers; see `Kept.beside`."""
    return _kept(monitor).beside()


def _kept(monitor: Monitor) -> Kept:
    return monitor if isinstance(monitor, Kept) else Kept(monitor)
