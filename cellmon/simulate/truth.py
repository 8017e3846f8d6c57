"""What was planted in a run and what it touched, for tests and lessons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Readings
from cellmon.simulate import incidents as plant
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import utc
from cellmon.simulate.run import Planted, Word

BY_MEASURING = (plant.GaugeSlip, plant.ExchangedSpindles, plant.ClockAhead, plant.RepeatedExport)
"""Incidents of the gauging station; all others act while a block is honed."""


def planted(
    honed: Honed,
    *,
    readings: Readings,
    empty: NDArray[np.bool_],
    repeated: Readings,
    words: tuple[Word, ...],
    audit: Readings,
) -> tuple[Planted, ...]:
    """Return every incident of a run as it came out."""
    scenario, found = honed.scenario, []
    groups = {"fault": scenario.faults, "decoy": scenario.decoys, "plant": scenario.plants}
    rows = _Rows(honed, readings, empty, repeated, words, audit)
    for group, incidents in groups.items():
        for incident in incidents:
            starts, ends = utc(incident.starts, scenario.zone), utc(incident.ends, scenario.zone)
            found.append(
                Planted(
                    name=incident.name,
                    group=group,
                    what=(type(incident).__doc__ or "").strip(),
                    starts=starts,
                    ends=ends,
                    parts=_parts(honed, incident, starts, ends),
                    rows=tuple(rows.of(incident)),
                )
            )
    return tuple(found)


def _parts(
    honed: Honed, incident: plant.Incident, starts: np.datetime64, ends: np.datetime64
) -> tuple[str, ...]:
    if isinstance(incident, plant.EmptyCells | plant.Dirt | plant.OddWords | plant.BreakIn | plant.OpenDoor):
        return ()
    measured = isinstance(incident, BY_MEASURING)
    at = honed.errors.measured_at[:, 0] if measured else honed.clock.times
    there = (at >= starts) & (at < ends)
    if isinstance(incident, plant.ClampStrain):
        there &= honed.shapes.fixture == honed.scenario.fixtures.index(incident.fixture)
    if isinstance(incident, plant.MissedDressing):
        spindle = honed.scenario.spindles.index(incident.spindle)
        there &= honed.clock.since_dress[:, spindle] >= honed.scenario.stones.dress_every_blocks
    return tuple(honed.parts[there])


class _Rows:
    """Finds the rows that an incident spoilt."""

    def __init__(
        self,
        honed: Honed,
        readings: Readings,
        empty: NDArray[np.bool_],
        repeated: Readings,
        words: tuple[Word, ...],
        audit: Readings,
    ) -> None:
        self.honed, self.readings, self.empty = honed, readings, empty
        self.repeated, self.words, self.audit = repeated, words, audit

    def of(self, incident: plant.Incident) -> Iterator[dict[str, Any]]:
        """Yield one mapping per spoilt reading; nothing for incidents that spoil none."""
        if isinstance(incident, plant.EmptyCells):
            for at in np.argwhere(self.empty):
                yield _place(self.readings, at)
        elif isinstance(incident, plant.Dirt):
            dirty = self.honed.errors.dirty.reshape(self.readings.um.shape)
            for at in np.argwhere(dirty & ~self.empty):
                yield {**_place(self.readings, at), "um": float(self.readings.um[tuple(at)])}
        elif isinstance(incident, plant.RepeatedExport):
            yield from self._changed()
        elif isinstance(incident, plant.OddWords):
            for word in self.words:
                at = np.array([word.row, word.plane, word.direction])
                yield {**_place(self.audit, at), "text": word.text}
        elif isinstance(incident, plant.DialTurn):
            for at in np.argwhere(np.abs(self.audit.um) > abs(incident.turn_um) / 2):
                yield {**_place(self.audit, at), "um": float(self.audit.um[tuple(at)])}

    def _changed(self) -> Iterator[dict[str, Any]]:
        bores = len(self.honed.scenario.bores.names)
        row_of = {part: i * bores for i, part in enumerate(self.honed.parts)}
        for row in range(len(self.repeated)):
            bore = self.honed.scenario.bores.names.index(self.repeated.bore[row])
            first = self.readings.um[row_of[self.repeated.part[row]] + bore]
            for plane, direction in np.argwhere(first != self.repeated.um[row]):
                at = np.array([row, plane, direction])
                yield {
                    **_place(self.repeated, at),
                    "first_um": float(first[plane, direction]),
                    "again_um": float(self.repeated.um[row, plane, direction]),
                }


def _place(readings: Readings, at: NDArray[np.int64]) -> dict[str, Any]:
    row, plane, direction = (int(i) for i in at)
    return {
        "part": readings.part[row],
        "bore": readings.bore[row],
        "plane": readings.planes[plane],
        "direction": readings.directions[direction],
    }
