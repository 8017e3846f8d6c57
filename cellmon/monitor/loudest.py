"""Which shifts of a week had the most signals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.shifts import ShiftOf, to_utc

WEEK = np.timedelta64(7, "D")
NAMED = 3
"""So many shifts are named."""


@dataclass(frozen=True, kw_only=True)
class ShiftCalls:
    """A shift with the signals raised in it, and in how many streams."""

    shift: ShiftOf
    signals: int
    streams: int


def loudest(view: View, shift: ShiftOf) -> tuple[ShiftCalls, ...]:
    """Return the shifts with the most signals in the week up to the end of one, the most and newest first."""
    end = to_utc(shift.ends)
    raised: dict[ShiftOf, list[Stream]] = {}
    for signal in view.signals_since(end - WEEK):
        at = to_utc(signal.raised_at)
        if at < end:
            raised.setdefault(view.rules.at(at).calendar.at(at), []).append(signal.stream)
    found = [ShiftCalls(shift=s, signals=len(of), streams=len(set(of))) for s, of in raised.items()]
    return tuple(sorted(found, key=lambda one: (-one.signals, -one.shift.starts.timestamp()))[:NAMED])
