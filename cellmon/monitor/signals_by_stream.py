"""Which signals are those of a stream."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cellmon.monitor.signals import Signal
from cellmon.records import Stream


@dataclass(frozen=True, kw_only=True)
class ByStream:
    """Every signal, and where those of a stream stand: many streams ask, and years hold thousands."""

    signals: tuple[Signal, ...]
    called: Mapping[Stream, Sequence[int]]
    pooled: Sequence[int]
    """Those of a spindle or of the cell."""

    @classmethod
    def of(cls, signals: tuple[Signal, ...]) -> ByStream:
        """Look once through all signals."""
        called: dict[Stream, list[int]] = {}
        for i, signal in enumerate(signals):
            for stream in {signal.stream, *signal.streams}:
                called.setdefault(stream, []).append(i)
        pooled = [i for i, s in enumerate(signals) if s.stream.bore is None]
        return cls(signals=signals, called=called, pooled=pooled)

    def told_of(self, stream: Stream) -> tuple[Signal, ...]:
        """Return the signals of one stream, in their order."""
        wider = [i for i in self.pooled if tells_of(self.signals[i], stream)]
        return tuple(self.signals[i] for i in sorted({*self.called.get(stream, ()), *wider}))


def tells_of(signal: Signal, stream: Stream) -> bool:
    """Return whether a signal is one of a stream: it called, or the signal is of all its spindle or cell."""
    if stream == signal.stream or stream in signal.streams:
        return True
    of = signal.stream
    same = of.feature == stream.feature and (of.part_number == stream.part_number or signal.kind == "gauge")
    pooled = of.bore is None and of.part_of == "itself" and of.spindle in (None, stream.spindle)
    return same and pooled and of.fixture in (None, stream.fixture)
