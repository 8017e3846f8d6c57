"""What is true of a simulated cell: faults, harmless look-alikes, and which signals would be right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon.records import Texts, Times

PROCESS = ("cycle_s", "load_pct", "load_ripple_pct", "feed_um")
LEVEL = ("level", "drift", "single", "pattern", "limit")
"""What may be said of a mean that moved."""
SPREAD = ("spread", "single", "pattern", "limit")
"""What may be said of a spread that grew."""


@dataclass(frozen=True, kw_only=True)
class Scope:
    """Which streams a fault moves: a signal on another stream is no finding of it."""

    spindles: tuple[str, ...]
    bores: tuple[str, ...]
    features: Mapping[str, tuple[str, ...]]
    """Features it moves, each with the kinds of signal that count; none named: any."""
    own_kinds: tuple[str, ...] = ()
    """Kinds that count whatever their stream: `gauge`, `routing`."""
    whole_spindle: bool = True
    """Whether the mean of a spindle's bores moves with it."""
    everything: bool = False
    """Whether the mean of all streams moves with it, and no distance from that mean."""
    fixtures: tuple[str, ...] = ()

    def fits(self, signal: Any) -> bool:
        """Say whether a signal lies on a stream that this fault moves."""
        if signal.kind in self.own_kinds:
            return True
        stream = getattr(signal, "stream", None)
        if stream is None or stream.feature not in self.features:
            return False
        kinds = self.features[stream.feature]
        if kinds and signal.kind not in kinds:
            return False
        fixture = getattr(stream, "fixture", None)
        if self.fixtures and fixture is not None and fixture not in self.fixtures:
            return False
        return self._place_fits(stream)

    def _place_fits(self, stream: Any) -> bool:
        if getattr(stream, "part_of", "itself") == "distance" and self.everything:
            return False
        if stream.bore is not None:
            return stream.bore in self.bores
        if stream.spindle is None:
            return self.everything
        return stream.spindle in self.spindles and (self.whole_spindle or stream.feature in PROCESS)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One planted fault: its window in UTC, the blocks it touched, what would find and name it."""

    name: str
    starts: np.datetime64
    ends: np.datetime64
    tail: np.timedelta64
    """After the end, so long the cell still shows it: parts on their way, feedback led astray."""
    parts: tuple[str, ...]
    scope: Scope
    causes: tuple[str, ...]
    """Rows of the cause table that are right; empty where none is asked for."""
    size: float = 1.0
    """Of the fault: as a factor of the demonstration's, or in micrometres for the plain cells."""

    @property
    def over(self) -> np.datetime64:
        """The moment after which nothing of it is to be seen."""
        found: np.datetime64 = self.ends + self.tail
        return found


@dataclass(frozen=True, kw_only=True)
class Window:
    """A stretch of time, UTC, and why signals in it are expected or forbidden."""

    name: str
    starts: np.datetime64
    ends: np.datetime64

    def holds(self, at: np.datetime64) -> bool:
        """Say whether a moment lies in it."""
        return bool(self.starts <= at <= self.ends)


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """All that a score needs to know; `measured_at` has shape (blocks,), as the files say."""

    parts: Texts
    measured_at: Times
    faults: tuple[Fault, ...]
    decoys: tuple[Window, ...] = ()
    dirty: frozenset[tuple[str, str]] = field(default_factory=frozenset)
    """Parts and bores with dirt under a feeler: a signal there is true."""
    fixture_of: Texts | None = None
    """Shape (blocks,), where the cell has fixtures."""
    bores: int = 1
    """Bores in one block."""
    weeks: float = 1.0
    """Length, in weeks of the calendar that the promise counts."""

    def fault(self, name: str) -> Fault:
        """Return a fault by its name."""
        for found in self.faults:
            if found.name == name:
                return found
        raise KeyError(name)
