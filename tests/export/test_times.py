"""Local times of a batch agree, moment by moment, with the standard library's zones."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.export.times import local_texts, local_times
from cellmon.shifts import to_utc

ZONES = [
    ZoneInfo(n) for n in ("UTC", "Europe/Berlin", "Asia/Kathmandu", "America/St_Johns", "Australia/Lord_Howe")
]


@given(
    st.lists(
        st.datetimes(min_value=datetime(1995, 1, 1), max_value=datetime(2036, 1, 1)), min_size=1, max_size=20
    ),
    st.sampled_from(ZONES),
)
def test_local_texts_are_what_the_standard_library_says(moments, zone):
    aware = [m.replace(tzinfo=UTC) for m in moments]
    at = np.array([to_utc(m) for m in aware])
    assert [datetime.fromisoformat(t) for t in local_texts(at, zone)] == aware
    assert [datetime.fromisoformat(t).utcoffset() for t in local_texts(at, zone)] == [
        m.astimezone(zone).utcoffset() for m in aware
    ]
    assert local_times(at, zone).tolist() == [m.astimezone(zone).replace(tzinfo=None) for m in aware]


def test_the_repeated_hour_keeps_its_two_offsets():
    at = np.array(["2026-10-25T00:30", "2026-10-25T01:30", "NaT"], dtype="datetime64[us]")
    berlin = ZoneInfo("Europe/Berlin")
    assert local_texts(at, berlin).tolist() == [
        "2026-10-25T02:30:00+02:00",
        "2026-10-25T02:30:00+01:00",
        None,
    ]


@pytest.mark.parametrize("zone", ZONES)
def test_no_moments_give_no_texts(zone):
    assert local_texts(np.array([], dtype="datetime64[us]"), zone).tolist() == []
    assert np.isnat(local_times(np.array(["NaT"], dtype="datetime64[us]"), zone)).all()
