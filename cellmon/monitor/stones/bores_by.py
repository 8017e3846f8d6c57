"""The bores that a stone set had honed by some moments, through all its stays on spindles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.honed import Honed
from cellmon.monitor.stones.log import Stay
from cellmon.records import Times, Whole

Floats = NDArray[np.float64]


def bores_at(stays: Sequence[Stay], honed: Honed, moments: Times, *, before: float = 0.0) -> Floats:
    """Return the bores a set had honed by each moment; `before` those it had when it was received."""
    found, total, filled = np.zeros(len(moments)), before, np.zeros(len(moments), dtype=bool)
    parts: list[_Part] = []
    for stay in stays:
        begun = total if not stay.before else max(stay.before, total)
        inside = (moments >= stay.start) & ~filled
        if stay.end is not None:
            inside &= moments <= stay.end
        total = begun + _gained(stay, honed, begun)
        earlier = (moments < stay.start) & ~filled
        found[earlier], filled[earlier] = begun, True
        if inside.any():
            parts.append(_Part(stay=stay, moments=np.flatnonzero(inside), begun=begun, gained=total - begun))
        filled |= inside
    found[~filled] = total
    for one, counted in zip(parts, _counted_by(parts, honed, moments), strict=True):
        found[one.moments] = one.begun + _within(one, honed, moments[one.moments], counted)
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Part:
    """What of some moments lies in one stay."""

    stay: Stay
    moments: Whole
    begun: float
    gained: float


def _counted_by(parts: Sequence[_Part], honed: Honed, moments: Times) -> list[Floats]:
    """Return what the spindle of each stay had honed when it began and by each moment in it, all at once."""
    found: list[Floats] = [np.zeros(0)] * len(parts)
    for spindle in dict.fromkeys(one.stay.spindle for one in parts):
        mine = [k for k, one in enumerate(parts) if one.stay.spindle == spindle]
        asked = [np.concatenate(([parts[k].stay.start], moments[parts[k].moments])) for k in mine]
        sizes = [len(one) for one in asked]
        at = honed.upto(spindle, np.concatenate(asked), asked=np.repeat(np.arange(len(mine)), sizes))
        for k, counted in zip(mine, np.split(at, np.cumsum(sizes)[:-1]), strict=True):
            found[k] = counted
    return found


def _gained(stay: Stay, honed: Honed, begun: float) -> float:
    """Return the bores of one stay: counted where the store has any of it, else as the log says."""
    counted = gained_by(stay, honed)
    logged = None if stay.after is None else stay.after - begun
    if counted <= 0 and logged is not None:
        return max(logged, 0.0)
    return counted


def gained_by(stay: Stay, honed: Honed) -> float:
    """Return the bores that the store has of one stay, up to now where it lasts."""
    end = honed.view.as_of if stay.end is None else stay.end
    return honed.between(stay.spindle, stay.start, end)


def _within(one: _Part, honed: Honed, moments: Times, counted: Floats) -> Floats:
    """Return the bores of a stay by some moments in it."""
    stay = one.stay
    if gained_by(stay, honed) > 0:
        return np.asarray(np.minimum(counted[1:] - counted[0], one.gained), dtype=np.float64)
    end = honed.view.as_of if stay.end is None else stay.end
    length = max((end - stay.start) / np.timedelta64(1, "us"), 1.0)
    share = (moments - stay.start) / np.timedelta64(1, "us") / length
    return np.asarray(np.clip(share, 0.0, 1.0) * one.gained, dtype=np.float64)
