"""Times on an axis: the cell's own clock, and no hour lost or doubled where clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cellmon.shifts import to_utc
from dashboards.figures.clock import clock_from, clock_of

BERLIN = ZoneInfo("Europe/Berlin")


def test_an_ordinary_day_shows_the_clock_on_the_wall():
    since = datetime(2026, 10, 21, 6, tzinfo=BERLIN)
    clock = clock_of(since, since + timedelta(hours=8), "Europe/Berlin")
    assert clock.x(datetime(2026, 10, 21, 13, 42, tzinfo=UTC)) == "2026-10-21T15:42:00"
    assert not clock.changes


# Clocks in Berlin go back from 03:00 to 02:00 on 25 October 2026 (EU directive 2000/84/EC: the last
# Sunday of October, 01:00 UTC).
@pytest.fixture
def night():
    since = datetime(2026, 10, 24, 22, tzinfo=BERLIN)
    return clock_of(since, datetime(2026, 10, 25, 6, tzinfo=BERLIN), "Europe/Berlin")


def test_the_repeated_hour_keeps_its_length_and_its_order(night):
    times = to_utc(night.since) + np.arange(0, 9 * 60, 30).astype("timedelta64[m]")
    placed = np.array(night.xs(times), dtype="datetime64[s]")
    assert night.changes
    assert set(np.diff(placed).tolist()) == {timedelta(minutes=30)}


def test_words_carry_the_wall_clock_on_both_sides_of_the_change(night):
    times = np.array(["2026-10-25T00:30", "2026-10-25T01:30", "2026-10-25T04:59"], dtype="datetime64[us]")
    assert night.words(times).tolist() == ["2026-10-25 02:30", "2026-10-25 02:30", "2026-10-25 05:59"]


def test_files_tell_the_hour_that_comes_twice_apart(night):
    times = np.array(["2026-10-25T00:30:05", "2026-10-25T01:30:05"], dtype="datetime64[us]")
    stamps = night.stamps(times)
    assert stamps == ["2026-10-25T02:30:05+02:00", "2026-10-25T02:30:05+01:00"]
    assert [to_utc(datetime.fromisoformat(one)) for one in stamps] == times.tolist()
    assert night.stamps(times[:0]) == []
    west = clock_of(datetime(2026, 7, 1, tzinfo=UTC), datetime(2026, 7, 2, tzinfo=UTC), "America/St_Johns")
    assert west.stamps(times[:1].astype("datetime64[D]")) == ["2026-10-24T21:30:00-02:30"]


def test_ticks_of_the_night_read_the_wall_clock(night):
    ticks = night.axis()
    assert "04:00" in ticks["ticktext"]
    at = ticks["ticktext"].index("04:00")
    assert ticks["tickvals"][at] == night.x(datetime(2026, 10, 25, 3, tzinfo=UTC))


def test_a_window_begins_no_earlier_than_its_first_bore():
    since = datetime(1970, 1, 2, tzinfo=UTC)
    first = np.array(["2026-10-19T04:02"], dtype="datetime64[us]")
    clock = clock_from(first, since, datetime(2026, 10, 25, tzinfo=UTC), "Europe/Berlin")
    assert clock.since == datetime(2026, 10, 19, 6, 2, tzinfo=BERLIN)
