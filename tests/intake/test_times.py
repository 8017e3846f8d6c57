"""Time text, offsets, and the hours that clocks skip or show twice."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.intake.times import Order, time_column
from cellmon.intake.words import words_of

BERLIN = ZoneInfo("Europe/Berlin")


def read(*cells, **options):
    return time_column(
        words_of(pa.array(list(cells), pa.string()).dictionary_encode()), zone=BERLIN, **options
    )


@pytest.mark.parametrize(
    ("cell", "utc"),
    [
        ("2026-10-19T06:00:00+02:00", "2026-10-19T04:00:00"),
        ("2026-10-19T06:00:00-0330", "2026-10-19T09:30:00"),
        ("2026-10-19T06:00Z", "2026-10-19T06:00:00"),
        ("2026-10-19 06:00:00.5", "2026-10-19T04:00:00.5"),
        ("2026-10-19T06:00", "2026-10-19T04:00:00"),
        ("2026-12-19 06:00:01", "2026-12-19T05:00:01"),
        ("19.10.2026 06:00", "2026-10-19T04:00:00"),
        ("9.1.2026 6:00:07,25", "2026-01-09T05:00:07.25"),
    ],
)
def test_a_time_is_read_in_the_ways_it_is_written(cell, utc):
    found = read(cell)
    assert found.at.dtype == "datetime64[us]" and found.at[0] == np.datetime64(utc, "us")
    assert not (found.refused | found.no_such_hour | found.repeated_hour)[0]


@pytest.mark.parametrize(
    "cell",
    [
        "x",
        "2026-13-01T06:00",
        "2026-02-29 06:00",
        "2026-10-19T24:00",
        "10/19/2026 6:00",
        "46314.25",
        "2026-10-19",
    ],
)
def test_what_is_no_time_is_refused(cell):
    found = read(cell)
    assert found.refused[0] and np.isnat(found.at[0])


def test_a_date_alone_will_do_where_a_column_may_be_empty():
    assert read("2026-10-19", "19.10.2026", date_alone=True).at.tolist() == [datetime(2026, 10, 18, 22)] * 2


@given(st.lists(st.datetimes(datetime(1890, 1, 1), datetime(2210, 1, 1)), min_size=1, max_size=5))
def test_a_column_written_alike_is_read_as_one_that_is_not(moments):
    # the date alone in a column of moments makes it be read cell by cell
    cells = [f"{moment:%Y-%m-%dT%H:%M:%S}{'Z' if i % 2 else '-03:30'}" for i, moment in enumerate(moments)]
    alike, mixed = read(*cells), read(*cells, "2026-10-19")
    assert np.array_equal(alike.at, mixed.at[:-1], equal_nan=True)
    assert alike.refused.tolist() == mixed.refused[:-1].tolist() and mixed.refused[-1]


@pytest.mark.parametrize("clock", ["24:00:00Z", "06:60:00Z", "06:00:60Z", "06:00:00+99:99"])
def test_an_hour_that_there_is_not_is_refused_beside_others(clock):
    found = read("2026-10-19T06:00:00Z", f"2026-10-19T{clock}")
    assert found.at[0] == np.datetime64("2026-10-19T06:00", "us")
    assert found.refused[1] == ("99" not in clock)


# Central European Time (Directive 2000/84/EC): clocks go forward on the last Sunday of March at 01:00
# UTC and back on the last Sunday of October at 01:00 UTC.
def test_the_hour_that_clocks_skip_is_no_hour():
    assert read("2026-03-29 02:30").no_such_hour[0]
    assert read("2026-03-29T02:30+01:00").at[0] == np.datetime64("2026-03-29T01:30", "us")


def test_the_hour_that_clocks_show_twice_is_told_and_first_unless_an_offset_says_which():
    found = read("2026-10-25 02:30", "2026-10-25T02:30+01:00", "2026-10-25 03:00")
    assert [str(at)[11:16] for at in found.at] == ["00:30", "01:30", "02:00"]
    assert found.repeated_hour.tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("clock", "utc"),
    [
        (["01:58", "02:10", "02:50", "02:10", "03:05"], ["23:58", "00:10", "00:50", "01:10", "02:05"]),
        (["01:58", "02:03"], ["23:58", "00:03"]),
        (["02:50", "02:58", "03:01"], ["01:50", "01:58", "02:01"]),
        (["01:00", "02:50", "02:58", "03:01"], ["23:00", "01:50", "01:58", "02:01"]),
        (["02:10"], ["00:10"]),
    ],
)
def test_the_sequence_settles_the_repeated_hour(clock, utc):
    cells = [f"2026-10-25T{at}" for at in clock]
    shuffled = np.random.default_rng(3).permutation(len(cells))
    order = Order(streams=lambda: np.zeros(len(cells), dtype=np.int64), sequence=shuffled.astype(float))
    found = read(*[cells[i] for i in shuffled], order=order)
    assert [str(found.at[np.flatnonzero(shuffled == i)[0]])[11:16] for i in range(len(cells))] == utc


def test_rows_without_a_sequence_take_the_first_occurrence():
    order = Order(streams=lambda: np.zeros(2, dtype=np.int64), sequence=np.array([np.nan, 5.0]))
    found = read("2026-10-25T02:10", "2026-10-25T03:10", order=order)
    assert str(found.at[0])[11:16] == "00:10"


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)),
    st.one_of(st.none(), st.integers(-14 * 60, 14 * 60)),
    st.sampled_from(["T", " "]),
)
@settings(max_examples=200, deadline=None)
def test_times_agree_with_the_standard_library(moment, minutes, between):
    if minutes is None:
        aware = moment.replace(tzinfo=BERLIN)
        real = aware.astimezone(UTC).astimezone(BERLIN).replace(tzinfo=None) == moment
        cell = moment.isoformat(between)
    else:
        aware, real = moment.replace(tzinfo=timezone(timedelta(minutes=minutes))), True
        cell = aware.isoformat(between)
    found = read(cell)
    assert found.no_such_hour[0] != real
    if real:
        assert found.at[0] == np.datetime64(aware.astimezone(UTC).replace(tzinfo=None), "us")
