"""The newest change of a spindle after which its first bores are waited for: logged, or a new part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.judge.part_runs import runs_of
from cellmon.monitor.view import View
from cellmon.records import EventKind, Times
from cellmon.words import say, to_say

LOGGED = (EventKind.STONES_FITTED, EventKind.STONES_DRESSED, EventKind.SETUP_CHANGED)
CHANGED = {
    str(EventKind.STONES_FITTED): to_say("stones fitted"),
    str(EventKind.STONES_DRESSED): to_say("stones dressed"),
    str(EventKind.SETUP_CHANGED): to_say("setup changed"),
}
NEW_PART = "new-part"
LOOKED_AT = (100, 800, 6400)
"""So many of a spindle's last bores, one after the other, are searched for the last one of another part."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """What changed a spindle last: an event, or a part number that was not there before."""

    at: np.datetime64
    """Bores honed after it are the first ones; for a new part when the last of the other was honed."""
    kind: str
    """An event kind, or `new-part`."""
    part_number: str
    """Of the part it is followed by."""
    before: str | None = None
    """The part that ran before, where that is another one."""

    @property
    def words(self) -> str:
        """What changed, as it stands behind 'first bores after'."""
        if self.kind == NEW_PART:
            text = to_say("the change from {before} to {part}")
            return say(text, before=self.before, part=self.part_number)
        return say(CHANGED[self.kind])


def newest_change(view: View, spindle: str) -> Change | None:
    """Return what changed a spindle last; None where nothing is known.

    An event logged between the last bore of another part and the first of this one is the same change.
    """
    latest = view.latest_events
    mine = latest.select((latest.spindle == spindle) & np.isin(latest.event.astype(str), LOGGED))
    number = view.running(spindle).number
    logged = None
    if len(mine):
        newest = int(np.argmax(mine.at))
        logged = Change(at=mine.at[newest], kind=str(mine.event[newest]), part_number=number)
    begun = _part_begun(view, spindle) if len(view.sheet.parts) > 1 else None
    if begun is None or (logged is not None and logged.at >= begun.last_before):
        return logged
    return Change(at=begun.last_before, kind=NEW_PART, part_number=number, before=begun.before)


@dataclass(frozen=True, kw_only=True)
class _Begun:
    """What the run of the part now on a spindle followed: when its last bore was honed, and its part."""

    last_before: np.datetime64
    before: str


def _part_begun(view: View, spindle: str) -> _Begun | None:
    for count in LOOKED_AT:
        bores = view.session.bores(spindle=spindle, charted=True, last=count, end=view.as_of)
        if not len(bores):
            return None
        runs = runs_of(bores.part.astype(str), bores.part_number.astype(str))
        mine = bores.part_number == bores.part_number[-1]
        now = mine & (runs.number == runs.number[-1])
        if runs.number[-1] > 0:
            honed = _honed(bores)
            first = int(np.flatnonzero(now)[0])
            earlier = np.flatnonzero(~mine[:first])
            last = int(earlier[-1]) if len(earlier) else 0
            return _Begun(last_before=honed[last], before=bores.part_number[last])
        if len(bores) < count:
            return None
    return None


def _honed(bores: Bores) -> Times:
    found: Times = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    return found
