"""What can be planted in a simulated run: faults, harmless look-alikes, and spoilt rows.

Each has a name, a time window in local time and its size, so that it can be taken out, moved or scaled.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from datetime import datetime, timedelta
from typing import Self


def _size(default: float) -> float:
    """Declare a field that `scaled` multiplies."""
    value: float = field(default=default, metadata={"scales": True})
    return value


@dataclass(frozen=True, kw_only=True)
class Incident:
    """Something planted between two moments, given in the cell's local time."""

    name: str
    starts: datetime
    ends: datetime

    def moved(self, by: timedelta) -> Self:
        """Return the same incident later (or, by a negative time, earlier)."""
        moments = {
            f.name: getattr(self, f.name) + by
            for f in fields(self)
            if isinstance(getattr(self, f.name), datetime)
        }
        return replace(self, **moments)

    def scaled(self, factor: float) -> Self:
        """Return the same incident with every size multiplied."""
        sizes = {f.name: getattr(self, f.name) * factor for f in fields(self) if f.metadata.get("scales")}
        return replace(self, **sizes)


@dataclass(frozen=True, kw_only=True)
class GaugeSlip(Incident):
    """The gauge reads large on everything until it is zeroed again at the end."""

    reads_large_um: float = _size(4.0)


@dataclass(frozen=True, kw_only=True)
class ChippedStone(Incident):
    """A stone loses a piece; the spindle is stopped at the end and comes back with another set."""

    spindle: str
    back_at: datetime
    new_set: str
    bottom_um: float = _size(-5.0)
    spread: float = 1.8
    ripple: float = 2.6


@dataclass(frozen=True, kw_only=True)
class ClampStrain(Incident):
    """Dirt under a pad of one fixture makes one bore oval."""

    fixture: str
    bore: str
    ovality_um: float = _size(7.0)


@dataclass(frozen=True, kw_only=True)
class WrongOffset(Incident):
    """An offset with the decimal point in the wrong place, taken back at the end by hand."""

    spindle: str
    automatic_again: datetime
    entered_um: float = _size(9.0)
    taken_back_um: float = _size(-8.5)
    meant_um: float = 0.9


@dataclass(frozen=True, kw_only=True)
class ExchangedSpindles(Incident):
    """Rows of two bores carry each other's spindle."""

    bores: tuple[str, str]


@dataclass(frozen=True, kw_only=True)
class MissedDressing(Incident):
    """A spindle's stones are not dressed in the window; they are at its end."""

    spindle: str


@dataclass(frozen=True, kw_only=True)
class ThreeLobes(Incident):
    """Bores with three lobes, which no two-point gauge can see."""

    bores: tuple[str, ...]
    roundness_um: float = _size(7.0)


@dataclass(frozen=True, kw_only=True)
class ColdStart(Incident):
    """Parts and master are cold at the start of each week and warm up exponentially."""

    part_c: float = _size(-6.0)
    part_minutes: float = 45.0
    master_c: float = _size(-2.5)
    master_minutes: float = 120.0


@dataclass(frozen=True, kw_only=True)
class OpenDoor(Incident):
    """A door opens every day but Monday, at the hour and minute of `starts`, for about `minutes`."""

    minutes: float = 25.0
    part_c: float = _size(-2.0)
    master_c: float = _size(-0.4)


@dataclass(frozen=True, kw_only=True)
class Reroute(Incident):
    """One spindle hones bores of another, announced and allowed."""

    spindle: str
    bores: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class BreakIn(Incident):
    """First blocks of a new set: more spread, more taper; the window is that of the run."""

    blocks: int = 25
    spread: float = 1.5
    taper_um: float = _size(3.0)
    taper_blocks: float = 10.0


@dataclass(frozen=True, kw_only=True)
class RepeatedExport(Incident):
    """Rows of a shift exported again, a few with other values."""

    bores: int = 20
    changed: int = 3


@dataclass(frozen=True, kw_only=True)
class InchSheet(Incident):
    """The hand sheet of a day is written in inches."""


@dataclass(frozen=True, kw_only=True)
class ExchangedPlanes(Incident):
    """On the hand sheet the first and last plane stand in each other's place."""


@dataclass(frozen=True, kw_only=True)
class DialTurn(Incident):
    """One reading of the hand gauge is off by a turn of its dial."""

    turn_um: float = _size(200.0)


@dataclass(frozen=True, kw_only=True)
class ClockAhead(Incident):
    """The clock of the gauging station runs ahead."""

    ahead: timedelta = timedelta(minutes=4)


@dataclass(frozen=True, kw_only=True)
class EmptyCells(Incident):
    """Some readings never reach the file."""

    share: float = _size(0.003)


@dataclass(frozen=True, kw_only=True)
class Dirt(Incident):
    """A chip or burr under a feeler: one reading of a bore far too small."""

    one_in_bores: int = 800
    least_um: float = _size(-15.0)
    most_um: float = _size(-40.0)


@dataclass(frozen=True, kw_only=True)
class OddWords(Incident):
    """Hand sheets on which somebody wrote a word, a nought or nothing instead of a size."""

    words: tuple[str, ...] = ("---", "0", "", "---", "0", "")
