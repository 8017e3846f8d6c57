"""What stones honed a bore, and how many bores they had honed since they were dressed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind
from cellmon.words import say, to_say

LOOKED_BACK = np.timedelta64(14, "D")
"""A dressing or change of stones longer ago is not looked for."""
RESETS = (EventKind.STONES_DRESSED, EventKind.STONES_FITTED)


@dataclass(frozen=True, kw_only=True)
class Stones:
    """The stones of one bore when it was honed; `bores_since` counts those of the spindle before it."""

    stone_set: str | None
    since: datetime | None
    """When they were dressed or fitted last before."""
    what: str | None
    """`dressed` or `fitted`."""
    bores_since: int | None
    why_not: Mapping[str, str] = field(default_factory=dict)


def stones_then(view: View, bores: Bores) -> list[Stones]:
    """Return the stones of each bore when it was honed; each spindle's log and bores are read once."""
    honed = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    events = view.session.rows(
        Kind.EVENTS, start=honed.min() - LOOKED_BACK, end=honed.max() + np.timedelta64(1, "us")
    )
    events = events.select(np.isin(events.event.astype(str), RESETS))
    events = events.select(np.argsort(events.at, kind="stable"))
    made: dict[str, np.ndarray] = {}
    return [_stones(view, bores, i, honed, events, made) for i in range(len(bores))]


def _stones(
    view: View, bores: Bores, i: int, honed: np.ndarray, events: Events, made: dict[str, np.ndarray]
) -> Stones:
    spindle = bores.spindle[i]
    mine = np.flatnonzero((events.spindle == spindle) & (events.at <= honed[i]))
    if not len(mine):
        days = int(LOOKED_BACK / np.timedelta64(1, "D"))
        why = say(
            "no dressing or change of stones of {spindle} is logged in the {days} days before",
            spindle=spindle,
            days=days,
        )
        return Stones(
            stone_set=bores.stone_set[i], since=None, what=None, bores_since=None, why_not={"since": why}
        )
    last = mine[-1]
    if spindle not in made:
        made[spindle] = _honed_of(view, spindle, events.at[last], honed[bores.spindle == spindle].max())
    before = int(events.value[last]) if _counted_before(events, last) else 0
    count = int(((made[spindle] > events.at[last]) & (made[spindle] < honed[i])).sum())
    return Stones(
        stone_set=bores.stone_set[i],
        since=view.local(events.at[last]),
        what=to_say("dressed") if events.event[last] == EventKind.STONES_DRESSED else to_say("fitted"),
        bores_since=before + count,
    )


def _counted_before(events: Events, row: int) -> bool:
    """Return whether a dressing was logged late and says how many bores were honed since."""
    return bool(events.event[row] == EventKind.STONES_DRESSED and np.isfinite(events.value[row]))


def _honed_of(view: View, spindle: str, start: np.datetime64, end: np.datetime64) -> np.ndarray:
    """Return when each charted bore of a spindle was honed, of those measured up to a day later."""
    until = min(end + np.timedelta64(1, "D"), view.as_of)
    bores = view.session.bores(start=start, end=until, spindle=spindle, charted=True)
    return np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
