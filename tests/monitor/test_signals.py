"""A signal keeps its name while what lies behind it moves, and the hold list never starts too late."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.errors import NotFound, WrongUsage
from tests.monitor.test_judging import bore_rows
from tests.small_cell import HEADER, new_cell, write

START = np.datetime64("2026-03-02T05:00:00")
QUIET = [-1.0, 0.0, 1.0, 0.5, -0.5, 0.0]


def lines(levels, *, first=0):
    """Return bores of S1, ten minutes apart, each of one size all over."""
    return [
        row
        for i, level in enumerate(levels, start=first)
        for row in bore_rows(i, "1", f"{START + np.timedelta64(10, 'm') * i}Z", level)
    ]


def quiet(bores):
    return [QUIET[i % len(QUIET)] for i in range(bores)]


def of_size(monitor):
    """Return the signals of the level of size, oldest first."""
    found = [s for s in monitor.signals().signals if (s.kind, s.stream.feature) == ("level", "diameter")]
    return sorted(found, key=lambda s: s.part)


@pytest.fixture
def cell(tmp_path):
    """Return a function that takes bores, and the cell they are taken into: 72 quiet bores at first."""
    monitor = new_cell(tmp_path / "cell", sheet=_one_long_day())

    def take(levels, *, first):
        name = f"rows-{first}-{len(levels)}.csv"
        return monitor.take([write(tmp_path, name, HEADER, lines(levels, first=first))]).files[0]

    take(quiet(72), first=0)
    assert of_size(monitor) == []
    return monitor, take


def _one_long_day():
    from tests.small_cell import SHEET

    return SHEET.replace("size = 3", 'size = 3\nwithin = ["stone_set"]')


# quiet: means of three 0 or 0, ranges 2 or 1, so sigma = 1.5 / 1.6926 = 0.89 um and the limits of a mean
# 3 x 0.89 / sqrt(3) = 1.53 um (factor d2: ASTM MNL 7)
def test_a_signal_that_late_rows_move_back_keeps_its_name_and_is_dated_anew(cell):
    monitor, take = cell
    take([6.0] * 6, first=78)  # 72 to 77 are still missing: subgroups 78-80, 81-83
    first = of_size(monitor)
    assert [(s.part, s.last_part, s.points) for s in first] == [("B0080", "B0083", 2)]
    monitor.respond(first[0].id, by="A. Person", cause="offset", action="put back")
    taken = take([0.0, 0.0, 0.0, 6.0, 6.0, 6.0], first=72)
    assert taken.signals == 0, "no new one was raised"
    after = of_size(monitor)
    assert [s.id for s in after] == [first[0].id]
    assert (after[0].part, after[0].points, after[0].state) == ("B0077", 3, "answered")
    assert after[0].raised_at == first[0].raised_at, "when it was raised stays what it was"
    assert monitor.check(rebuild=True).sound
    assert [s.id for s in of_size(monitor)] == [first[0].id]


def test_two_signals_that_late_rows_join_leave_one_and_one_withdrawn(cell):
    monitor, take = cell
    take([6.0] * 3 + [0.0] * 3 + [6.0] * 3, first=72)
    assert [(s.part, s.points) for s in of_size(monitor)] == [("B0074", 1), ("B0080", 1)]
    ids = {s.id for s in of_size(monitor)}
    late = bore_rows(9000, "1", f"{START + np.timedelta64(745, 'm')}Z", 6.0)  # between B0074 and B0075
    late += bore_rows(9001, "1", f"{START + np.timedelta64(746, 'm')}Z", 6.0)
    late += bore_rows(9002, "1", f"{START + np.timedelta64(747, 'm')}Z", 6.0)
    monitor.take([write(monitor.folder.parent, "late.csv", HEADER, late)])
    after = of_size(monitor)
    assert {s.id for s in after} == ids
    standing = [s for s in after if s.state == "open"]
    assert [(s.part, s.points) for s in standing] == [("B0074", 2), ("B0080", 1)]
    assert monitor.check(rebuild=True).sound


def test_a_withdrawn_signal_says_why_keeps_its_answer_and_is_in_no_count(cell):
    monitor, take = cell
    take([6.0], first=72)
    take([6.0], first=73)
    take([6.0], first=75)  # 74 is missing: a subgroup of 72, 73, 75
    one = of_size(monitor)[0]
    monitor.respond(one.id, by="A. Person", cause="offset", action="put back")
    early = [
        row
        for i, level in enumerate([-6.0, -6.0])
        for row in bore_rows(9000 + i, "1", f"{START + np.timedelta64(715 + i, 'm')}Z", level)
    ]
    monitor.take([write(monitor.folder.parent, "early.csv", HEADER, early)])
    after = next(s for s in monitor.signals().signals if s.id == one.id)
    assert after.state == "withdrawn" and "inside its limit" in after.why_not["state"]
    assert after.response is not None and after.response.cause == "offset"
    assert one.id not in {s for row in monitor.shifts().shifts for s in row.signals}
    assert monitor.check(rebuild=True).sound


def test_the_hold_list_does_not_take_the_middle_of_an_earlier_signal_for_quiet(cell):
    monitor, take = cell
    take([6.0] * 9 + [-6.0] * 3, first=72)
    high, low = of_size(monitor)
    assert (high.points, low.points) == (3, 1)
    held = [p.part for p in monitor.hold(low.id).parts]
    assert held[0] == "B0072", "no subgroup was quiet since B0071"
    assert held[-1] == "B0083"
    take(quiet(6), first=84)
    assert [p.part for p in monitor.hold(low.id).parts][-1] == "B0089", "also what was made after it"


def test_parts_are_released_one_by_one_and_only_those_held(cell):
    monitor, take = cell
    take([6.0] * 3, first=72)
    name = of_size(monitor)[0].id
    with pytest.raises(NotFound):
        monitor.hold("S-nothing")
    with pytest.raises(WrongUsage, match="name the parts"):
        monitor.release(name, parts=[], as_="released", by="A. Person", why="measured again")
    with pytest.raises(WrongUsage, match="not on the hold list"):
        monitor.release(name, parts=["B0072", "B0001"], as_="released", by="A. Person", why="-")
    with pytest.raises(WrongUsage, match="a name and a reason"):
        monitor.release(name, parts=["B0072"], as_="released", by="", why="measured again")
    assert {p.disposition for p in monitor.hold(name).parts} == {None}
    for as_ in ("released", "scrapped"):
        monitor.release(name, parts=["B0072", "B0072"], as_=as_, by="A. Person", why="measured again")
    assert [p.disposition for p in monitor.hold(name).parts] == ["scrapped", None, None]
    assert [d["as"] for d in monitor.part("B0072").dispositions] == ["released", "scrapped"]
    assert monitor.part("B0072").signals != () and monitor.part("B0001").signals == ()


def test_a_spread_is_told_by_the_range_chart(cell):
    monitor, take = cell
    take([-5.0, 0.0, 5.0], first=72)
    found = [s for s in monitor.signals().signals if s.stream.feature == "diameter"]
    assert [(s.kind, s.detector, s.size_um) for s in found] == [("spread", "R, 3 sigma", 10.0)]
    assert "wider" in found[0].words


def test_a_quiet_spindle_with_frozen_limits_carries_on(cell):
    monitor, _take = cell
    before = next(s for s in monitor.state().spindles if s.spindle == "S1")
    assert before.status == "look" and "provisional" in before.sentence
    monitor.freeze(by="A. Person", why="quiet", feature="diameter")
    # taper is 0 in every bore here: no spread, so no limits, so it stays to be looked at
    taper = next(s for s in monitor.state().streams if s.stream.feature == "taper")
    size = next(s for s in monitor.state().streams if s.stream.feature == "diameter")
    assert (taper.status, taper.baseline) == ("look", None) and "no spread" in taper.why_not["baseline"]
    assert size.status == "carry on"


def test_the_first_bores_after_a_change_are_waited_for_until_the_last_of_them(tmp_path):
    from tests.small_cell import EVENTS, SHEET

    sheet = SHEET.replace("as_found_limit_um = 1.0", "as_found_limit_um = 1.0\nfirst_bores = 3")
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    event = write(tmp_path, "e.csv", EVENTS, ["2026-03-02T05:05:00Z,stones-dressed,S1,,"])
    said = []
    for i in range(5):
        monitor.take([event, write(tmp_path, f"{i}.csv", HEADER, lines([0.0], first=i))])
        due = next(s for s in monitor.state().spindles if s.spindle == "S1").due
        said.append([d.what.split(": ")[-1] for d in due])
    waiting = [["0 of 3 measured"], ["1 of 3 measured"], ["2 of 3 measured"], [], []]
    assert said == waiting, "B0000 was made before the dressing, B0003 is the third after it"
