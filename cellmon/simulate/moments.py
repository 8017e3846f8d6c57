"""Local time, universal time and the working hours of a scenario."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Flags, Times, Whole
from cellmon.shifts import to_local, to_utc
from cellmon.simulate.incidents import Incident
from cellmon.simulate.scenario import Scenario

SECOND = np.timedelta64(1_000_000, "us")
SHIFT_LENGTH = timedelta(hours=8)


def utc(local: datetime, zone: ZoneInfo, *, fold: int = 0) -> np.datetime64:
    """Return a local wall time as `datetime64[us]` in UTC."""
    return to_utc(local.replace(tzinfo=zone, fold=fold))


def inside(times: Times, incident: Incident, zone: ZoneInfo) -> Flags:
    """Say which moments lie in an incident's window, start included, end not."""
    found: Flags = (times >= utc(incident.starts, zone)) & (times < utc(incident.ends, zone))
    return found


def wall(times: Times, zone: ZoneInfo) -> Times:
    """Return the local wall time of moments in UTC, as `datetime64[us]` without zone."""
    hours, where = np.unique(times.astype("datetime64[h]"), return_inverse=True)
    offsets = [_offset(hour, zone) for hour in hours]
    found: Times = times + np.array(offsets, dtype="timedelta64[us]")[where]
    return found


def _offset(hour: np.datetime64, zone: ZoneInfo) -> np.timedelta64:
    local = to_local(hour, zone)
    return np.timedelta64(local.utcoffset() or timedelta(), "us")


def hour_of_day(local: Times) -> NDArray[np.float64]:
    """Return the hour of the day, 0 to 24, of local wall times."""
    since: NDArray[np.float64] = (local - local.astype("datetime64[D]")) / np.timedelta64(1, "h")
    return since


@dataclass(frozen=True, kw_only=True, eq=False)
class ShiftStarts:
    """Shifts worked in a run: names and moments, UTC."""

    names: tuple[str, ...]
    dates: tuple[str, ...]
    starts: Times
    ends: Times
    middles: Times


def worked_shifts(scenario: Scenario) -> ShiftStarts:
    """Return the shifts of a run; each ends when the next of the daily pattern would start."""
    count = len(scenario.shift_names)
    local = [
        scenario.starts + timedelta(weeks=week) + i * SHIFT_LENGTH
        for week in range(scenario.weeks)
        for i in range(scenario.shifts_a_week)
    ]
    starts = _all_utc(local, scenario.zone)
    return ShiftStarts(
        names=tuple(
            scenario.shift_names[i % count]
            for _ in range(scenario.weeks)
            for i in range(scenario.shifts_a_week)
        ),
        dates=tuple(at.date().isoformat() for at in local),
        starts=starts,
        ends=_all_utc([at + SHIFT_LENGTH for at in local], scenario.zone),
        middles=starts + np.timedelta64(4, "h").astype("timedelta64[us]"),
    )


def _all_utc(local: list[datetime], zone: ZoneInfo) -> Times:
    return np.array([utc(at, zone) for at in local], dtype="datetime64[us]")


def seconds(times: Times, start: np.datetime64) -> Whole:
    """Return whole seconds since a start."""
    found: Whole = ((times - start) // SECOND).astype(np.int64)
    return found


def moment(start: np.datetime64, after_s: float) -> np.datetime64:
    """Return the moment that many seconds after a start."""
    found: np.datetime64 = start + np.timedelta64(round(after_s * 1_000_000), "us")
    return found
