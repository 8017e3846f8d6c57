"""Which signals are those of a stream."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import TypeVar

from cellmon.monitor.signals import Signal
from cellmon.records import Stream

Key = TypeVar("Key")
Told = tuple[Stream, str, tuple[Stream, ...]]
"""Of a signal its stream, its kind and all streams that called."""


@dataclass(frozen=True, kw_only=True)
class ByStream:
    """Where those of a stream stand among all signals: many streams ask, and years hold thousands.

    Counted from the oldest: a batch adds some at the end, and those before stay where they are.
    """

    told: Sequence[Told]
    called: Mapping[Stream, Sequence[int]]
    pooled: Mapping[tuple[Stream, str], Sequence[int]]
    """Those of a spindle or of the cell, by stream and kind."""

    @classmethod
    def of(cls, signals: Sequence[Signal], before: ByStream | None = None) -> ByStream:
        """Look once through all signals, newest first; of those that `before` tells of alike not again."""
        told = [(s.stream, s.kind, s.streams) for s in reversed(signals)]
        same = 0 if before is None else _alike(before.told, told)
        called = {} if before is None else _up_to(same, before.called)
        pooled = {} if before is None else _up_to(same, before.pooled)
        for i, (stream, kind, streams) in enumerate(told[same:], start=same):
            for one in {stream, *streams}:
                called.setdefault(one, []).append(i)
            if stream.bore is None:
                pooled.setdefault((stream, kind), []).append(i)
        return cls(told=told, called=called, pooled=pooled)

    def places(self, stream: Stream) -> list[int]:
        """Return where the signals of one stream stand, the newest first."""
        wider = (mine for (of, kind), mine in self.pooled.items() if _of_all(of, kind, stream))
        found = {*self.called.get(stream, ()), *chain.from_iterable(wider)}
        return [len(self.told) - 1 - i for i in sorted(found, reverse=True)]


def _alike(before: Sequence[Told], now: Sequence[Told]) -> int:
    """Return how many of the oldest are the same."""
    apart = (i for i, (one, other) in enumerate(zip(before, now, strict=False)) if one != other)
    return next(apart, min(len(before), len(now)))


def _up_to(end: int, places: Mapping[Key, Sequence[int]]) -> dict[Key, list[int]]:
    """Return ascending places as far as they lie before one."""
    return {key: list(mine[: bisect_left(mine, end)]) for key, mine in places.items()}


def tells_of(signal: Signal, stream: Stream) -> bool:
    """Return whether a signal is one of a stream: it called, or the signal is of all its spindle or cell."""
    called = stream == signal.stream or stream in signal.streams
    return called or _of_all(signal.stream, signal.kind, stream)


def _of_all(of: Stream, kind: str, stream: Stream) -> bool:
    same = of.feature == stream.feature and (of.part_number == stream.part_number or kind == "gauge")
    pooled = of.bore is None and of.part_of == "itself" and of.spindle in (None, stream.spindle)
    return same and pooled and of.fixture in (None, stream.fixture)
