"""A year of the demonstration's cell."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from cellmon.simulate import incidents as plant
from cellmon.simulate.harrowmere import harrowmere_week
from cellmon.simulate.scenario import Scenario, Stones


def harrowmere_year(*, weeks: int = 52) -> Scenario:
    """Return weeks of the same cell from January 2026 on, without faults, plants or planned changes."""
    calm = harrowmere_week()
    start = datetime(2026, 1, 5, 6, 0)
    decoys: tuple[plant.Incident, ...] = (
        plant.ColdStart(name="cold-start", starts=start, ends=start + timedelta(hours=3)),
        plant.OpenDoor(
            name="open-door", starts=start + timedelta(minutes=9), ends=start + timedelta(weeks=weeks)
        ),
        plant.BreakIn(name="break-in", starts=start, ends=start + timedelta(weeks=weeks)),
    )
    return replace(
        calm,
        starts=start,
        weeks=weeks,
        stones=Stones(),
        faults=(),
        decoys=decoys,
        plants=(),
    )
