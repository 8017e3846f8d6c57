"""Clocks: hours that come twice or never, steps, late and future rows, another time zone of the sheet."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import cellmon
from tests.small_cell import HEADER, SHEET, derived, new_cell, rows, write

SEQUENCED = f"{HEADER},sequence"
HONED = f"{HEADER},honed_at"
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def cell(tmp_path):
    opened = new_cell(tmp_path / "cell")
    yield opened
    opened.close()


def bore(part: str, at: str, *more: str, bore_: str = "1") -> list[str]:
    """Return the four rows of one bore."""
    rest = "".join(f",{m}" for m in more)
    return [
        f"{part},{bore_},S{bore_},{at},{plane},{direction},50.0010{rest}"
        for plane in ("top", "bottom")
        for direction in ("x", "y")
    ]


def moments(monitor) -> dict[str, datetime]:
    """Return when each block was measured, in UTC."""
    found = monitor.bores().bores
    return {
        str(p): datetime.fromisoformat(str(m)[:19]).replace(tzinfo=UTC)
        for p, m in zip(found.part, found.measured_at, strict=True)
    }


def take(monitor, tmp_path, lines, header=HEADER, name="rows.csv"):
    return monitor.take([write(tmp_path, name, header, lines)]).files[0]


# Directive 2000/84/EC, articles 2 and 3: the clock goes forward at 01:00 UTC on the last Sunday in March and
# back at 01:00 UTC on the last Sunday in October: in 2026 the 29th and the 25th.
def test_the_hour_that_comes_twice_keeps_the_order_of_the_sequence_and_is_told(cell, tmp_path):
    clock = ["01:50", "02:10", "02:50", "02:05", "02:55", "03:05"]
    lines = [r for i, t in enumerate(clock) for r in bore(f"B{i}", f"2026-10-25T{t}:00", str(i))]
    file = take(cell, tmp_path, lines, SEQUENCED)
    assert (file.taken, len(file.set_aside)) == (24, 0)
    found = moments(cell)
    assert [f"{found[f'B{i}']:%H:%M}" for i in range(6)] == [
        "23:50",
        "00:10",
        "00:50",
        "01:05",
        "01:55",
        "02:05",
    ]
    doubted = {f.part for f in cell.flags().flags if f.flag == "repeated-hour"}
    assert doubted == {"B1", "B2", "B3", "B4"}
    assert all("twice" in f.words for f in cell.flags().flags if f.flag == "repeated-hour")
    assert cell.check(rebuild=True).sound


def test_the_hour_that_never_was_is_set_aside_and_the_rows_beside_it_are_an_hour_apart_by_the_clock(
    cell, tmp_path
):
    lines = [
        r for i, t in enumerate(("01:59", "02:30", "03:01")) for r in bore(f"B{i}", f"2026-03-29T{t}:00")
    ]
    file = take(cell, tmp_path, lines)
    assert (file.taken, {a.reason for a in file.set_aside}) == (8, {"no-such-hour"})
    found = moments(cell)
    assert (found["B2"] - found["B0"]).total_seconds() == 120


@pytest.mark.parametrize(("day", "hours"), [("2026-10-24", 13), ("2026-03-28", 11), ("2026-03-02", 12)])
def test_the_night_shift_of_a_change_of_clocks_is_an_hour_longer_or_shorter_and_holds_all_its_bores(
    cell, tmp_path, day, hours
):
    begins = datetime.fromisoformat(f"{day}T18:00:00").replace(tzinfo=BERLIN).astimezone(UTC)
    step = np.timedelta64(30, "m")
    start = np.datetime64(begins.replace(tzinfo=None), "s")
    lines = [r for i in range(-2, 2 * hours + 2) for r in bore(f"B{i + 2:02d}", f"{start + i * step}Z")]
    take(cell, tmp_path, lines)
    with cell._view() as seen:
        bores = seen.session.bores()
        unit = seen.rules.units(bores.measured_at)
    assert len(unit) == 3
    inside = [u for u in unit if u.start == np.datetime64(begins.replace(tzinfo=None), "us")]
    assert len(inside) == 1
    assert (inside[0].end - inside[0].start) == np.timedelta64(hours, "h")
    held = (bores.measured_at >= inside[0].start) & (bores.measured_at < inside[0].end)
    assert int(held.sum()) == 2 * hours


@pytest.mark.parametrize("step_min", [-45, 45, 600])
def test_a_station_clock_that_steps_is_told_where_honing_time_is_known_and_order_stays_that_of_honing(
    cell, tmp_path, step_min
):
    lines = []
    for i in range(180):
        honed = np.datetime64("2026-03-02T06:00:00") + np.timedelta64(5 * i, "m")
        off = step_min if 30 <= i < 45 else 0
        measured = honed + np.timedelta64(2 + off, "m")
        lines += bore(f"B{i:03d}", f"{measured}Z", f"{honed}Z")
    file = take(cell, tmp_path, lines, HONED)
    assert (file.taken, len(file.set_aside)) == (720, 0)
    doubted = {f.part for f in cell.flags().flags if f.flag == "clock"}
    assert doubted == {f"B{i:03d}" for i in range(30, 45)}
    words = {f.words for f in cell.flags().flags if f.flag == "clock"}
    assert all("clock" in one for one in words)
    assert cell.check(rebuild=True).sound


def test_rows_hours_late_land_in_the_shift_in_which_they_were_measured_whatever_the_order(tmp_path):
    lines = rows(100, minutes=20)
    in_time, late = new_cell(tmp_path / "in time"), new_cell(tmp_path / "late")
    take(in_time, tmp_path, lines, name="all.csv")
    kept = [r for r in lines if not "B0020" <= r[:5] < "B0030"]
    take(late, tmp_path, kept, name="first.csv")
    take(late, tmp_path, [r for r in lines if r not in kept], name="late.csv")
    assert derived(late) == derived(in_time)
    for monitor in (in_time, late):
        monitor.close()


def test_rows_from_the_future_are_taken_flagged_and_said_so(cell, tmp_path):
    take(cell, tmp_path, rows(20), name="now.csv")
    file = take(cell, tmp_path, bore("B9999", "2031-01-01T06:00:00Z"), name="future.csv")
    assert file.taken == 4
    assert cell.state().as_of.year == 2031
    assert cell.check(rebuild=True).sound
    [note] = file.notes
    assert "1 bore is dated in the future, on 2031-01-01" in note
    more = take(cell, tmp_path, bore("B9998", "2031-01-01T06:10:00Z"), name="more.csv")
    assert "in the future" in more.notes[0], "the row before it does not make it one of today"
    doubts = cell.flags().flags
    assert {(f.part, f.flag) for f in doubts} == {("B9999", "clock"), ("B9998", "clock")}
    assert all("dated in the future when it was taken" in f.words for f in doubts)
    assert take(cell, tmp_path, rows(24)[-32:], name="today.csv").notes == ()
    assert [f.part for f in cell.flags().flags] == [f.part for f in doubts]
    assert cell.check(rebuild=True).sound
    for one in doubts:
        cell.correct(one.id, accept=False, by="A. Person", why="this computer's clock is wrong")
    assert take(cell, tmp_path, bore("B9997", "2031-01-01T06:20:00Z"), name="kept.csv").notes == ()
    assert take(cell, tmp_path, rows(20)[:8], name="again.csv").notes == ()


def test_a_file_that_goes_on_where_the_last_one_ended_is_no_future_whatever_this_computers_clock_says(
    cell, tmp_path, monkeypatch
):
    from cellmon import monitor as door

    monkeypatch.setattr(door, "clock", lambda: np.datetime64("2020-01-01", "us"))
    lines = rows(90, minutes=300)
    assert take(cell, tmp_path, lines[:400], name="a.csv").notes == ()
    assert take(cell, tmp_path, lines[400:], name="b.csv").notes == ()


def test_a_changed_time_zone_judges_what_comes_after_its_adoption_and_reads_clocks_by_it(cell, tmp_path):
    take(cell, tmp_path, [r for i in range(8) for r in bore(f"A{i}", f"2026-03-02T{8 + i:02d}:30:00")])
    before = moments(cell)
    text = (cell.folder / "cell.toml").read_text(encoding="utf-8")
    (cell.folder / "cell.toml").write_text(text.replace("Europe/Berlin", "America/Chicago"), encoding="utf-8")
    moved = cellmon.open_cell(cell.folder)
    assert moved.check().differs
    moved.adopt(by="A. Person", why="the line moved")
    take(moved, tmp_path, bore("C0", "2026-03-03T08:30:00"), name="new.csv")
    found = moments(moved)
    assert {p: m for p, m in found.items() if p != "C0"} == before
    assert f"{before['A0']:%H:%M}" == "07:30"
    assert f"{found['C0']:%H:%M}" == "14:30"
    again = take(moved, tmp_path, bore("C1", "2026-03-03T08:30:00+01:00"), name="offset.csv")
    assert again.taken == 4 and f"{moments(moved)['C1']:%H:%M}" == "07:30"
    assert moved.check(rebuild=True).sound
    moved.close()


def test_the_computers_clock_set_back_dates_decisions_and_loses_nothing(cell, tmp_path, monkeypatch):
    from cellmon import monitor as door

    now = [np.datetime64("2026-03-05T12:00:00", "us")]
    monkeypatch.setattr(door, "clock", lambda: now[0])
    lines = rows(60)
    take(cell, tmp_path, lines[:240], name="a.csv")
    now[0] -= np.timedelta64(3, "h")
    take(cell, tmp_path, lines[240:], name="b.csv")
    cell.freeze(by="A. Person", why="set back")
    now[0] += np.timedelta64(400, "D")
    assert cell.freeze(by="A. Person", why="a year on").baselines
    alone = new_cell(tmp_path / "alone")
    take(alone, tmp_path, lines, name="all.csv")
    assert cell.journal().whole
    assert [f.file for f in cell.files().files] == ["b.csv", "a.csv"]
    assert cell.check(rebuild=True).sound
    assert cell.bores().bores.verdict.tolist() == alone.bores().bores.verdict.tolist()
    alone.close()


def test_the_sheet_of_these_tests_is_in_berlin():
    assert 'timezone = "Europe/Berlin"' in SHEET
