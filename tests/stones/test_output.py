"""The planned shifts as a clock: by hand over a week, and back and forth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.stones.output import output

HOUR = np.timedelta64(1, "h").astype("timedelta64[us]")
MONDAY = np.datetime64("2026-03-02T06:00", "us")
STARTS = MONDAY + np.arange(21) * 8 * HOUR  # three shifts a day, from Monday
WORKED = np.ones(21, dtype=bool)
WORKED[3:6] = False  # Tuesday is closed


def clock(now=MONDAY):
    return output(STARTS, STARTS + 8 * HOUR, WORKED, bores_per_shift=800.0, now=now)


def test_a_week_with_a_closed_day_is_as_counted_by_hand():
    week = clock()
    assert week.total == 18 * 800
    assert week.at(400.0) == MONDAY + 4 * HOUR
    assert week.at(2400.0) == MONDAY + 24 * HOUR, "the end of Monday's night, not of the closed Tuesday"
    assert week.at(2401.0) > MONDAY + 48 * HOUR
    assert np.isnat(week.at(18 * 800 + 1.0))
    assert week.by(MONDAY + 40 * HOUR) == 2400
    assert week.by(MONDAY + 50 * HOUR) == 2600


def test_of_the_shift_that_runs_the_share_left_counts():
    assert clock(MONDAY + 2 * HOUR).bores[0] == 600
    assert clock(MONDAY + 2 * HOUR).at(600.0) == MONDAY + 8 * HOUR
    assert clock(MONDAY + 30 * HOUR).starts[0] == MONDAY + 48 * HOUR, "now stands in the closed day"


@given(st.floats(0.5, 14_399))
def test_bores_and_moments_go_back_and_forth(bores):
    week = clock()
    assert week.by(week.at(bores)) == pytest.approx(bores, abs=1e-4)


def test_nothing_planned_is_refused():
    with pytest.raises(ValueError, match="more than 0"):
        output(STARTS, STARTS + 8 * HOUR, WORKED, bores_per_shift=0.0, now=MONDAY)
