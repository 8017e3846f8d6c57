"""Documents: every value in a type JSON has, every moment with its offset."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from enum import StrEnum
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import cellmon
from cellmon.export.documents import as_json, document, plain
from cellmon.monitor.answers import Answer, Estimate
from cellmon.records import Stream, Verdict
from cellmon.shifts import ShiftOf

ZONE = ZoneInfo("Europe/Berlin")
AT = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Sized(Answer):
    size: Estimate | None


def test_version_moment_and_sheet_come_first_and_reasons_last():
    answer = Sized(as_of=AT, sheet=2, size=None, why_not={"size": "nothing was measured"})
    assert list(document(answer, zone=ZONE).items()) == [
        ("cellmon", cellmon.__version__),
        ("as_of", "2026-10-25T02:30:00+02:00"),
        ("sheet", 2),
        ("size", None),
        ("why_not", {"size": "nothing was measured"}),
    ]


def test_a_stream_and_a_shift_have_the_agreed_fields():
    stream = Stream(part_number="HM-214", spindle="S1", bore=None, feature="taper", part_of="distance")
    assert plain(stream, ZONE) == {
        "spindle": "S1",
        "bore": None,
        "feature": "taper",
        "fixture": None,
        "part_of": "distance",
        "part_number": "HM-214",
        "like": None,
    }
    alike = replace(stream, part_number="like parts: small liners")
    assert plain(alike, ZONE) == plain(stream, ZONE) | {"part_number": None, "like": "small liners"}
    night = ShiftOf(name="night", date=date(2026, 10, 24), starts=AT, ends=AT.replace(hour=5), worked=False)
    assert plain(night, ZONE) == {
        "name": "night",
        "date": "2026-10-24",
        "starts": "2026-10-25T02:30:00+02:00",
        "ends": "2026-10-25T06:30:00+01:00",
    }


@pytest.mark.parametrize(
    ("value", "given_"),
    [
        (Verdict.UNDECIDED, "undecided"),
        (float("nan"), None),
        (float("-inf"), None),
        (np.float64(1.5), 1.5),
        (np.int64(3), 3),
        (np.bool_(True), True),
        (True, True),
        (Path("reports/a.csv"), "reports/a.csv"),
        ({Verdict.CONFORMS: (1, 2.5)}, {"conforms": [1, 2.5]}),
        (np.array([[1.0, np.nan], [np.inf, 2.0]]), [[1.0, None], [None, 2.0]]),
        (np.array([True, False]), [True, False]),
        (np.array(["a", None, Verdict.CONFORMS], dtype=object), ["a", None, "conforms"]),
        (np.array(["2026-10-25T00:30", "NaT"], dtype="datetime64[us]"), ["2026-10-25T02:30:00+02:00", None]),
        (np.array([], dtype="datetime64[us]"), []),
    ],
)
def test_every_type_a_result_holds_has_its_form(value, given_):
    found = plain(value, ZONE)
    assert found == given_
    assert type(found) is type(given_)


def test_what_has_no_form_is_a_slip_and_raises():
    with pytest.raises(TypeError, match="no JSON form for set"):
        plain({1}, ZONE)
    with pytest.raises(TypeError, match="no JSON form for an array"):
        plain(np.array([1j]), ZONE)


class Word(StrEnum):
    ONE = "one"


json_like = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats() | st.text() | st.just(Word.ONE),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner) | st.tuples(inner),
    max_leaves=12,
)


@given(json_like)
def test_any_nesting_is_written_and_reads_back_as_what_it_was(value):
    shown = plain({"value": value}, ZONE)
    assert json.loads(as_json(shown)) == shown
