"""Calendar files: the format, line by line as RFC 5545 says (from memory), and what is put in."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.errors import WrongUsage
from cellmon.export.calendar import Event, calendar, escaped, folded, plan_events, utc, write_plan
from tests.monitor.planned_cell import planned_cell

MADE = datetime(2026, 11, 2, 6, 0, tzinfo=ZoneInfo("Europe/Berlin"))


def unfolded(content):
    """Content lines as a reader of the format gets them."""
    return content.decode().replace("\r\n ", "").split("\r\n")[:-1]


def unescaped(words):
    return re.sub(r"\\([\\;,nN])", lambda m: "\n" if m[1] in "nN" else m[1], words)


TEXTS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=300)


@given(TEXTS, TEXTS)
def test_any_words_come_back_and_no_line_is_too_long(title, words):
    words = f"{words}\n{title}"
    event = Event(key="k", starts=MADE, ends=MADE + timedelta(minutes=25), title=title, words=words)
    content = calendar([event], name=title, made_at=MADE)
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert b"\n" not in content.replace(b"\r\n", b"")
    for line in content.split(b"\r\n"):
        line.decode()  # no letter is cut in two
    found = dict(line.split(":", 1) for line in unfolded(content))
    assert unescaped(found["SUMMARY"]) == title
    assert unescaped(found["DESCRIPTION"]) == words


def test_a_calendar_has_what_the_format_needs():
    event = Event(key="a", starts=MADE, ends=MADE + timedelta(minutes=25), title="Change", words="S1")
    lines = unfolded(calendar([event], name="Stones", made_at=MADE))
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    assert "VERSION:2.0" in lines and any(line.startswith("PRODID:") for line in lines)
    inside = lines[lines.index("BEGIN:VEVENT") : lines.index("END:VEVENT")]
    assert {line.split(":")[0] for line in inside} >= {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"}
    assert "DTSTART:20261102T050000Z" in inside and "DTEND:20261102T052500Z" in inside
    assert calendar([], name="none", made_at=MADE).count(b"VEVENT") == 0


def test_small_parts():
    assert utc(datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)) == "20260102T030405Z"
    assert escaped("a;b,c\\d\r\ne") == "a\\;b\\,c\\\\d\\ne"
    assert folded("x" * 75) == "x" * 75
    assert folded("x" * 76) == "x" * 75 + "\r\n x"


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    cell = planned_cell(tmp_path_factory.mktemp("planned"))
    yield cell.stone_plan()
    cell.close()


def test_one_event_a_stop_and_each_keeps_its_name(plan, tmp_path):
    events = plan_events(plan, cell="C")
    stops = {(c.at, c.with_spindle or c.spindle) for c in plan.changes}
    assert len(events) == len(stops) + len(plan.order_list)
    assert [e.starts for e in events] == sorted(e.starts for e in events)
    assert len({e.key for e in events}) == len(events)
    later = replace(plan, changes=tuple(replace(c, at=c.at + timedelta(hours=3)) for c in plan.changes))
    assert {e.key for e in plan_events(later, cell="C")} == {e.key for e in events}
    first = plan.changes[0]
    beside = next(c for c in plan.changes if c.spindle != first.spindle)
    both = (first, replace(beside, at=first.at, with_spindle=first.spindle))
    merged = plan_events(replace(plan, changes=both, order_list=()), cell="C")
    assert [(e.title, e.ends - e.starts) for e in merged] == [
        ("Change stones on S2 and S1 (C)", timedelta(minutes=50))
    ]
    write_plan(plan, tmp_path / "a.ics", cell="C")
    assert (tmp_path / "a.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")
    with pytest.raises(WrongUsage, match=r"ends in \.ics"):
        write_plan(plan, tmp_path / "a.txt", cell="C")
