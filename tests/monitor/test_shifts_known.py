"""The shifts that have bores, said one by one: the same whatever comes, and in whatever order."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pytest

import cellmon
from cellmon.export.documents import plain
from cellmon.monitor.shifts_known import place_of
from tests.small_cell import HEADER, SHEET, new_cell, write


def bores(*moments):
    return [
        f"B{moment},1,S1,{moment}:00Z,{plane},{direction},50.0000"
        for moment in moments
        for plane in ("top", "bottom")
        for direction in ("x", "y")
    ]


FIRST = bores("2026-03-02T07:00", "2026-03-02T20:00", "2026-03-04T07:00")
LATE = bores("2026-03-03T08:00")
NAMES = ["2026-03-02/day", "2026-03-02/night", "2026-03-03/day", "2026-03-04/day"]


@pytest.mark.parametrize("within", ['["shift"]', "[]"])
def test_a_late_bore_adds_its_shift_whether_units_are_shifts_or_not(tmp_path, within):
    sheet = SHEET.replace("[subgroups]\n", f"[subgroups]\nwithin = {within}\n")
    cell = new_cell(tmp_path / "cell", sheet=sheet)
    cell.take([write(tmp_path, "first.csv", HEADER, FIRST)])
    assert [str(s) for s in cell.shifts_made().known] == [NAMES[i] for i in (0, 1, 3)]
    cell.take([write(tmp_path, "late.csv", HEADER, LATE)])
    known = cell.shifts_made().known
    assert [str(s) for s in known] == NAMES
    fresh = cellmon.open_cell(cell.folder)
    assert fresh.shifts_made().known == known == cell.shifts().known


def test_they_are_a_sequence_and_are_found_by_their_names(tmp_path):
    cell = new_cell(tmp_path / "cell")
    cell.take([write(tmp_path, "first.csv", HEADER, [*FIRST, *LATE])])
    known = cell.shifts_made().known
    every = tuple(known)
    assert known[1:] == known[1:4] != known and tuple(known[1:]) == every[1:] and known[-1] == every[-1]
    assert list(reversed(known)) == list(reversed(every)) and known[0].date == date(2026, 3, 2)
    assert [place_of(known, name) for name in NAMES] == [place_of(every, name) for name in NAMES]
    assert [place_of(known, name) for name in NAMES] == [0, 1, 2, 3]
    assert {place_of(known, n) for n in ("2026-03-03/night", "2026-04-01/day", "yesterday", "")} == {None}
    zone = ZoneInfo("Europe/Berlin")
    assert plain(known, zone) == plain(every, zone)
