"""Which signals are those of a stream."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

from cellmon.monitor.signals import Signal
from cellmon.records import Stream


@dataclass(frozen=True, kw_only=True)
class ByStream:
    """Where those of a stream stand among all signals: many streams ask, and years hold thousands."""

    called: Mapping[Stream, Sequence[int]]
    pooled: Sequence[tuple[Signal, Sequence[int]]]
    """Those of a spindle or of the cell, by stream and kind, beside one of each."""

    @classmethod
    def of(cls, signals: tuple[Signal, ...]) -> ByStream:
        """Look once through all signals."""
        called: dict[Stream, list[int]] = {}
        pooled: dict[tuple[Stream, str], list[int]] = {}
        for i, signal in enumerate(signals):
            for stream in {signal.stream, *signal.streams}:
                called.setdefault(stream, []).append(i)
            if signal.stream.bore is None:
                pooled.setdefault((signal.stream, signal.kind), []).append(i)
        return cls(called=called, pooled=[(signals[mine[0]], mine) for mine in pooled.values()])

    def places(self, stream: Stream) -> list[int]:
        """Return where the signals of one stream stand, in their order."""
        wider = (mine for one, mine in self.pooled if _of_all(one, stream))
        return sorted({*self.called.get(stream, ()), *chain.from_iterable(wider)})


def tells_of(signal: Signal, stream: Stream) -> bool:
    """Return whether a signal is one of a stream: it called, or the signal is of all its spindle or cell."""
    return stream == signal.stream or stream in signal.streams or _of_all(signal, stream)


def _of_all(signal: Signal, stream: Stream) -> bool:
    of = signal.stream
    same = of.feature == stream.feature and (of.part_number == stream.part_number or signal.kind == "gauge")
    pooled = of.bore is None and of.part_of == "itself" and of.spindle in (None, stream.spindle)
    return same and pooled and of.fixture in (None, stream.fixture)
