"""The shift calendar: what is looked up in whole years is what the days about each moment give."""

from __future__ import annotations

from datetime import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.sheet import ALL_DAYS
from cellmon.shifts import ShiftCalendar, to_utc

THREE = tuple((time(h), name, ALL_DAYS) for h, name in ((6, "early"), (14, "late"), (22, "night")))
IN_THE_GAP = (
    (time(2, 30), "odd", ALL_DAYS),
    (time(3), "even", ALL_DAYS),
)  # one is no time at all once a year
ZONES = ("Europe/Berlin", "America/Sao_Paulo", "Australia/Lord_Howe", "Pacific/Apia")
MINUTE = np.timedelta64(1, "m")
moments = st.integers(0, 60 * 24 * 366 * 3).map(lambda n: np.datetime64("2024-12-20", "us") + n * MINUTE)


def calendar(zone, pattern=THREE):
    return ShiftCalendar(zone=ZoneInfo(zone), pattern=pattern)


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("pattern", [THREE, IN_THE_GAP])
@given(start=moments, minutes=st.integers(0, 60 * 24 * 40))
def test_edges_are_the_starts_of_the_shifts_that_touch_the_time(zone, pattern, start, minutes):
    own, end = calendar(zone, pattern), start + minutes * MINUTE
    wanted = [to_utc(shift.starts) for shift in own.between(start, end)]
    assert own.edges(start, end).tolist() == np.array(wanted, dtype="datetime64[us]").tolist()
    times = np.array([start, end])
    assert own.starts_of(times)[1] == to_utc(own.at(end).starts)


def test_what_is_kept_of_a_calendar_cannot_be_written_to():
    found = calendar("Europe/Berlin").edges(
        np.datetime64("2026-03-01", "us"), np.datetime64("2026-04-01", "us")
    )
    with pytest.raises(ValueError, match="read-only"):
        found[0] = found[1]
