"""What is known of when the stones of a spindle were dressed, and of the bores it made lately."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, cast

import numpy as np

from cellmon.monitor.streams_seen import StreamsSeen

if TYPE_CHECKING:
    from cellmon.judged import Bores
    from cellmon.monitor.dressings import Dressed, NoPlan, Plan
    from cellmon.monitor.stones.counted import StoredUnit
    from cellmon.monitor.stones.dulling import Intervals
    from cellmon.monitor.stones.looked import LookedAt
    from cellmon.monitor.view import View

UNITS_OF = np.timedelta64(36, "D")
"""Units of so long are listed at once: of the weeks whose bores are counted one by one, and looked at."""
NEWEST = 200
"""So many bores of a position are read where its newest are asked for."""


@dataclass(frozen=True, kw_only=True)
class DressingsSeen(StreamsSeen):
    """The part of a view that knows dressings, for all questions of one state."""

    @property
    def _whole(self) -> View:
        return cast("View", self)

    def dressing_plan(self, spindle: str) -> Plan | NoPlan:
        """When a spindle is dressed next, by its sheet or its log."""
        from cellmon.monitor.dressings import plan_of

        if spindle not in self._plans:
            self._plans[spindle] = plan_of(self._whole, spindle)
        return self._plans[spindle]

    @cached_property
    def _plans(self) -> dict[str, Plan | NoPlan]:
        return {}

    def past_dressings(self, spindle: str) -> tuple[Dressed, ...]:
        """The last dressings of a spindle, with the subgroups around each."""
        from cellmon.monitor.dressings import past_dressings

        if spindle not in self._past_dressings:
            self._past_dressings[spindle] = past_dressings(self._whole, spindle)
        return self._past_dressings[spindle]

    @cached_property
    def _past_dressings(self) -> dict[str, tuple[Dressed, ...]]:
        return {}

    def dressed_intervals(self, spindle: str) -> Intervals:
        """Return the newest bores of a spindle by dressing interval."""
        from cellmon.monitor.stones.dulling import intervals_of

        if spindle not in self._intervals:
            self._intervals[spindle] = intervals_of(self._whole, spindle)
        return self._intervals[spindle]

    def whole_intervals(self, spindle: str) -> Intervals:
        """Return the same of the shifts that are over, which stays the same until another is."""
        from cellmon.monitor.stones.dulling import whole_intervals_of

        if spindle not in self._whole_intervals:
            self._whole_intervals[spindle] = whole_intervals_of(self._whole, spindle)
        return self._whole_intervals[spindle]

    @cached_property
    def _whole_intervals(self) -> dict[str, Intervals]:
        return {}

    @cached_property
    def _intervals(self) -> dict[str, Intervals]:
        return {}

    def take_dressings(self, plans: Mapping[str, Plan | NoPlan], intervals: Mapping[str, Intervals]) -> None:
        """Take over what another view of the same state worked out of dressings, by spindle."""
        self._plans.update(plans)
        self._intervals.update(intervals)

    def looked_at(self, spindle: str) -> LookedAt:
        """Return the newest bores of a spindle as its stones are told by them."""
        from cellmon.monitor.stones.looked import looked_at

        if spindle not in self._looked:
            self._looked[spindle] = looked_at(self._whole, spindle)
        return self._looked[spindle]

    @cached_property
    def _looked(self) -> dict[str, LookedAt]:
        return {}

    @property
    def whole_until(self) -> np.datetime64 | None:
        """When the shift began that is not over; None where none was before it in the last weeks."""
        begun = [one.start for one in self.units_stored if one.start <= self.as_of]
        return begun[-1] if len(begun) > 1 else None

    @cached_property
    def units_stored(self) -> list[StoredUnit]:
        """The units of judging begun in the last weeks, oldest first."""
        from cellmon.monitor.stones.counted import stored_units

        return stored_units(self._whole, since=self.as_of - UNITS_OF)

    def newest_bores(self, spindle: str | None, bore: str | None) -> Bores:
        """Return the newest charted bores of a position, `NEWEST` of them, as made; they are read once."""
        if (spindle, bore) not in self._newest_bores:
            self._newest_bores[spindle, bore] = self.session.bores(
                spindle=spindle, bore=bore, charted=True, last=NEWEST, end=self.as_of
            )
        return self._newest_bores[spindle, bore]

    @cached_property
    def _newest_bores(self) -> dict[tuple[str | None, str | None], Bores]:
        return {}
