"""The register of signals: all of them in their order, touched from state to state only where one changed."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from itertools import chain
from typing import Any, overload

import numpy as np

from cellmon.monitor.signals import WAITING, Signal
from cellmon.records import Stream

EVERY, STANDING, WITHDRAWN, WAIT, ANSWERED = "every", "standing", "withdrawn", "wait", "answered"
"""Names of piles; `_piles_of` names the others, which are of a spindle or a stream."""
LONG_AGO = np.datetime64("1900-01-01", "us")


class Aged(Sequence[Signal]):
    """Some signals, newest first, at their age at a moment: worked out of those that are looked at."""

    def __init__(self, pile: Sequence[Signal], at: np.datetime64) -> None:
        """Show a pile, which holds the oldest first."""
        self.ageless, self._at_us = pile, int(at.astype("datetime64[us]").astype(np.int64))
        self._known: dict[int, Signal] = {}

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.ageless)

    @overload
    def __getitem__(self, place: int) -> Signal: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Signal, ...]: ...
    def __getitem__(self, place: int | slice) -> Signal | tuple[Signal, ...]:
        """Return one signal, or some, at their age."""
        places = range(len(self.ageless))[place]
        return tuple(map(self._aged, places)) if isinstance(places, range) else self._aged(places)

    def __iter__(self) -> Iterator[Signal]:
        """Yield each at its age."""
        return map(self._aged, range(len(self.ageless)))

    def _aged(self, place: int) -> Signal:
        if place not in self._known:
            self._known[place] = self.ageless[-1 - place].at_moment(self._at_us)
        return self._known[place]


@dataclass(frozen=True, kw_only=True, eq=False)
class Register:
    """Signals without their ages, by name and in piles, each with the oldest first: raised, or ended."""

    signals: Mapping[str, Signal] = field(default_factory=dict)
    piles: Mapping[Hashable, Sequence[Signal]] = field(default_factory=dict)

    def pile(self, name: Hashable) -> Sequence[Signal]:
        """Return the signals of one pile."""
        return self.piles.get(name, ())

    def called_by(self, stream: Stream) -> Sequence[Signal]:
        """Return those that stand and in which a stream called."""
        return self.pile(("called", stream))

    def of_stream(self, stream: Stream) -> Sequence[Signal]:
        """Return those that stand and tell of one stream: it called, or they are of its spindle or cell."""
        return together(self.called_by(stream), *map(self.pile, self._wider(stream)))

    def level_until(self, stream: Stream) -> np.datetime64:
        """Return when the last change of level was called, or was over, of those that tell of one stream."""
        wider = (("ended of all", of) for _, of, kind in self._wider(stream) if kind == "level")
        ended = [pile[-1].called_until for name in (("ended", stream), *wider) if (pile := self.pile(name))]
        return max(ended, default=LONG_AGO)

    def _wider(self, stream: Stream) -> list[tuple[str, Stream, str]]:
        return [name for name in self._pooled if of_all(name[1], name[2], stream)]

    @cached_property
    def _pooled(self) -> Sequence[tuple[str, Stream, str]]:
        return [name for name in self.piles if isinstance(name, tuple) and name[0] == "pooled"]

    @cached_property
    def holding(self) -> Mapping[Hashable, Sequence[Signal]]:
        """Those that wait for an answer, by the bores that they tell of; each pile as `held_of` names it."""
        held = ((name, pile) for name, pile in self.piles.items() if isinstance(name, tuple))
        return {name[1]: pile for name, pile in held if name[0] == "held" and pile}

    def of_like_parts(self) -> set[Stream]:
        """Return the streams of like parts, charted together, of which signals stand."""
        return {name[1] for name in self._alike() if name[1].like is not None}

    def of_one(self, stream: Stream) -> Sequence[Signal]:
        """Return those that stand and are of one stream itself."""
        return together((), *(self.pile(name) for name in self._alike() if name[1] == stream))

    def _alike(self) -> Iterator[tuple[str, Stream, str]]:
        return (name for name in self.piles if isinstance(name, tuple) and name[0] == "alike")

    def waiting_at(self, spindle: str) -> Sequence[Signal]:
        """Return those that wait for an answer and are of one spindle, or of the cell."""
        return together(self.pile(("waits", spindle)), self.pile(("waits", None)))

    def lasting_at(self, spindle: str) -> Sequence[Signal]:
        """Return those of `waiting_at` of which nobody saw that they were over."""
        return together(self.pile(("lasts", spindle)), self.pile(("lasts", None)))

    def changed(self, changes: Mapping[str, Signal | None]) -> Register:
        """Return the register with some signals as they are now, None where one is gone.

        An answered one is given as that: whether the same came again since is found here.
        """
        if not changes:
            return self
        made = _InTheMaking(self)
        for name in changes:
            made.drop(name)
        come = [signal for signal in changes.values() if signal is not None]
        for signal in sorted(come, key=order):
            made.put(signal)
        for pile in made.touched():
            for signal in came_again(made.piles[pile]):
                made.drop(signal.id)
                made.put(signal)
        return Register(signals=made.signals, piles=made.piles)


class _InTheMaking:
    """A register that is being made of another, whose piles are copied before they are touched."""

    def __init__(self, before: Register) -> None:
        self.signals, self.piles = dict(before.signals), dict[Hashable, Sequence[Signal]](before.piles)
        self._own: dict[Hashable, list[Signal]] = {}

    def touched(self) -> list[Hashable]:
        """Return which piles of signals that may come again were touched."""
        return [name for name in self._own if isinstance(name, tuple) and name[0] == "alike"]

    def drop(self, name: str) -> None:
        """Take a signal out of all piles, where it is known."""
        signal = self.signals.pop(name, None)
        if signal is None:
            return
        for pile in _piles_of(signal):
            mine, key = self._mine(pile), _order_in(pile)
            del mine[bisect_left(mine, key(signal), key=key)]

    def put(self, signal: Signal) -> None:
        """Put a signal where it belongs; the newest come last, as most do."""
        self.signals[signal.id] = signal
        for pile in _piles_of(signal):
            mine, key = self._mine(pile), _order_in(pile)
            newest = not mine or key(mine[-1]) < key(signal)
            mine.insert(len(mine) if newest else bisect_left(mine, key(signal), key=key), signal)

    def _mine(self, name: Hashable) -> list[Signal]:
        if name not in self._own:
            self.piles[name] = self._own[name] = list(self.piles.get(name, ()))
        return self._own[name]


def order(signal: Signal) -> tuple[datetime, str]:
    """Return what signals are sorted by: when they were raised."""
    return signal.raised_at, signal.id


def ended(signal: Signal) -> tuple[np.datetime64, str]:
    """Return what piles of those that ended are sorted by: when they were called last, or were over."""
    return signal.called_until, signal.id


def _order_in(pile: Hashable) -> Callable[[Signal], tuple[Any, str]]:
    return ended if isinstance(pile, tuple) and pile[0].startswith("ended") else order


def raised_since(pile: Sequence[Signal], start: np.datetime64 | None) -> Sequence[Signal]:
    """Return the signals of a pile that were raised from a moment on."""
    if start is None:
        return pile
    start_us = int(start.astype("datetime64[us]").astype(np.int64))
    return pile[bisect_left(pile, start_us, key=lambda signal: signal.raised_us) :]


def together(pile: Sequence[Signal], *others: Sequence[Signal]) -> Sequence[Signal]:
    """Return the signals of some piles, each once, oldest first."""
    longest, *more = sorted((pile, *filter(None, others)), key=len, reverse=True)
    if not more:
        return longest
    found = list(longest)
    for signal in chain(*more):
        at = bisect_left(found, order(signal), key=order)
        if at == len(found) or found[at].id != signal.id:
            found.insert(at, signal)
    return found


def came_again(alike: Sequence[Signal]) -> list[Signal]:
    """Return those of one stream and kind that stood as answered and came again since, or the other way."""
    newest = next((s for s in reversed(alike) if s.state == "open"), None)
    found = []
    for signal in alike:
        if signal.response is None or signal.response.seen:
            continue
        again = newest is not None and order(newest) > order(signal)
        again = again and newest is not None and newest.raised_at > signal.response.at
        state = "reopened" if again else "answered"
        if signal.state != state:
            found.append(replace(signal, state=state))
    return found


def _piles_of(signal: Signal) -> Iterator[Hashable]:
    """Yield the names of the piles that a signal lies in."""
    yield EVERY
    if signal.state == "withdrawn":
        yield WITHDRAWN
        return
    yield STANDING
    yield ("alike", signal.stream, signal.kind)
    yield from (("called", one) for one in {signal.stream, *signal.streams})
    if signal.kind == "level":
        yield from (("ended", one) for one in {signal.stream, *signal.streams})
    if signal.stream.bore is None:
        yield ("pooled", signal.stream, signal.kind)
        if signal.kind == "level":
            yield ("ended of all", signal.stream)
    if signal.state in WAITING:
        yield WAIT
        yield ("waits", signal.stream.spindle)
        yield ("held", held_of(signal))
        if not signal.over:
            yield ("lasts", signal.stream.spindle)
    else:
        yield ANSWERED


def held_of(signal: Signal) -> Hashable:
    """Return what is the same of signals that tell of the same bores; a gauge found off measured all."""
    of = signal.stream
    return None if signal.kind == "gauge" else (of.part_number, of.spindle, of.bore, of.fixture)


def tells_of(signal: Signal, stream: Stream) -> bool:
    """Return whether a signal is one of a stream: it called, or the signal is of all its spindle or cell."""
    called = stream == signal.stream or stream in signal.streams
    return called or of_all(signal.stream, signal.kind, stream)


def of_all(of: Stream, kind: str, stream: Stream) -> bool:
    """Return whether what stands for all bores of a spindle or of the cell stands for those of a stream."""
    same = of.feature == stream.feature and (of.part_number == stream.part_number or kind == "gauge")
    pooled = of.bore is None and of.part_of == "itself" and of.spindle in (None, stream.spindle)
    return same and pooled and of.fixture in (None, stream.fixture)
