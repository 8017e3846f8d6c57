"""A signal keeps its name while what lies behind it moves, and the hold list never starts too late."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.errors import NotFound, WrongUsage
from tests.monitor.test_judging import bore_rows
from tests.small_cell import HEADER, new_cell, write

START = np.datetime64("2026-03-02T05:00:00")
CALM = np.random.default_rng(17).normal(0.0, 1.0, 400).round(1)
"""Bores of a process that has not moved: standard deviation 1 um."""
BEFORE = 120
"""Bores taken at first, 40 subgroups of three: 25 give the limits, the rest are watched."""


def lines(levels, *, first=0):
    """Return bores of S1, ten minutes apart, each of one size all over."""
    return [
        row
        for i, level in enumerate(levels, start=first)
        for row in bore_rows(i, "1", f"{START + np.timedelta64(10, 'm') * i}Z", level)
    ]


def quiet(bores, *, first=0):
    return CALM[first : first + bores].tolist()


def moved(by, bores, *, first):
    return (CALM[first : first + bores] + by).round(1).tolist()


def of_size(monitor):
    """Return the signals of the level of size, oldest first."""
    found = [s for s in monitor.signals().signals if (s.kind, s.stream.feature) == ("level", "diameter")]
    return sorted(found, key=lambda s: s.part)


@pytest.fixture
def cell(tmp_path):
    """Return a function that takes bores, and the cell they are taken into: quiet bores at first."""
    monitor = new_cell(tmp_path / "cell", sheet=one_long_day())

    def take(levels, *, first):
        name = f"rows-{first}-{len(levels)}.csv"
        return monitor.take([write(tmp_path, name, HEADER, lines(levels, first=first))]).files[0]

    take(quiet(BEFORE), first=0)
    assert monitor.signals().signals == ()
    return monitor, take


def one_long_day():
    from tests.small_cell import SHEET

    return SHEET.replace("size = 3", 'size = 3\nwithin = ["stone_set"]')


def test_a_signal_that_late_rows_move_back_keeps_its_name_and_is_dated_anew(cell):
    monitor, take = cell
    take(moved(6.0, 6, first=126), first=126)  # 120 to 125 are still missing
    first = of_size(monitor)
    assert [(s.part, s.change.part, s.state) for s in first] == [("B0128", "B0126", "open")]
    monitor.respond(first[0].id, by="A. Person", cause="offset", action="put back")
    taken = take(quiet(3, first=120) + moved(6.0, 3, first=123), first=120)
    assert taken.signals == 0, "no new one was raised"
    after = of_size(monitor)
    assert [s.id for s in after] == [first[0].id]
    assert (after[0].part, after[0].change.part, after[0].state) == ("B0125", "B0123", "answered")
    assert monitor.check(rebuild=True).sound
    assert [s.id for s in of_size(monitor)] == [first[0].id]


def test_a_level_that_moved_is_one_signal_until_it_is_back(cell):
    monitor, take = cell
    take(moved(6.0, 9, first=120) + quiet(9, first=129), first=120)
    signals = of_size(monitor)
    assert [(s.part, s.change.part, s.over) for s in signals] == [("B0122", "B0120", True)]
    assert "B0128" <= signals[0].last_part <= "B0134", "it ends when the level is back"
    assert signals[0].size_um == pytest.approx(6.0, abs=1.0)
    take(moved(6.0, 9, first=138), first=138)
    assert len(of_size(monitor)) == 1, "the same again within eight hours is no other signal"
    assert of_size(monitor)[0].over is False


def test_a_change_after_hours_of_quiet_is_another_signal_and_reopens_the_answered_one(cell):
    monitor, take = cell
    take(moved(6.0, 9, first=120) + quiet(81, first=129), first=120)
    first = of_size(monitor)[0]
    answered = monitor.respond(first.id, by="A. Person", cause="offset", action="put back")
    assert answered.state == "answered"
    take(moved(6.0, 9, first=210), first=210)
    states = {s.id: s.state for s in of_size(monitor)}
    assert len(states) == 2 and states.pop(first.id) in ("answered", "reopened")
    assert set(states.values()) == {"open"}


def test_a_withdrawn_signal_says_why_keeps_its_answer_and_is_in_no_count(cell):
    monitor, take = cell
    take(moved(6.0, 6, first=120), first=120)
    one = of_size(monitor)[0]
    monitor.respond(one.id, by="A. Person", cause="offset", action="put back")
    at = f"{START + np.timedelta64(1195, 'm')}Z"  # the offset was logged late: it explains the move
    event = f"{at},feed-offset,S1,6.0,machine"
    monitor.take([write(monitor.folder.parent, "e.csv", "at,event,spindle,value,by", [event])])
    after = next(s for s in monitor.signals().signals if s.id == one.id)
    assert after.state == "withdrawn" and "nothing to be signalled" in after.why_not["state"]
    assert after.response is not None and after.response.cause == "offset"
    assert one.id not in {s for row in monitor.shifts().shifts for s in row.signals}
    assert monitor.check(rebuild=True).sound


def test_the_hold_list_runs_from_the_first_plausible_part_to_the_latest_made(cell):
    monitor, take = cell
    take(moved(6.0, 9, first=120), first=120)
    name = of_size(monitor)[0].id
    held = [p.part for p in monitor.hold(name).parts]
    assert held == [f"B{i:04d}" for i in range(120, 129)]
    take(quiet(6, first=129), first=129)
    assert [p.part for p in monitor.hold(name).parts][-1] == "B0134", "also what was made after it"


def test_parts_are_released_one_by_one_and_only_those_held(cell):
    monitor, take = cell
    take(moved(6.0, 3, first=120), first=120)
    name = of_size(monitor)[0].id
    with pytest.raises(NotFound):
        monitor.hold("S-nothing")
    with pytest.raises(WrongUsage, match="name the parts"):
        monitor.release(name, parts=[], as_="released", by="A. Person", why="measured again")
    with pytest.raises(WrongUsage, match="not on the hold list"):
        monitor.release(name, parts=["B0120", "B0001"], as_="released", by="A. Person", why="-")
    with pytest.raises(WrongUsage, match="a name and a reason"):
        monitor.release(name, parts=["B0120"], as_="released", by="", why="measured again")
    assert {p.disposition for p in monitor.hold(name).parts} == {None}
    for as_ in ("released", "scrapped"):
        monitor.release(name, parts=["B0120", "B0120"], as_=as_, by="A. Person", why="measured again")
    assert [p.disposition for p in monitor.hold(name).parts] == ["scrapped", None, None]
    assert [d.as_ for d in monitor.part("B0120").dispositions] == ["released", "scrapped"]
    assert monitor.part("B0120").signals != () and monitor.part("B0001").signals == ()


def test_a_spread_is_told_as_so_many_times_the_usual(cell):
    monitor, take = cell
    wide = (CALM[120:135] * 5).round(1).tolist()
    take(wide, first=120)
    found = [s for s in monitor.signals().signals if s.kind == "spread" and s.stream.feature == "diameter"]
    assert found and found[-1].size_um is None
    assert found[-1].ratio == pytest.approx(5.0, rel=0.5)
    assert "times the usual" in found[-1].words


def test_a_quiet_spindle_with_frozen_limits_carries_on(cell):
    monitor, _take = cell
    before = next(s for s in monitor.state().spindles if s.spindle == "S1")
    assert before.status == "look" and "provisional" in before.sentence
    monitor.freeze(by="A. Person", why="quiet", feature="diameter")
    # taper is 0 in every bore here: no spread, so no limits, so it stays to be looked at
    taper = next(s for s in monitor.state().streams if s.stream.feature == "taper")
    size = next(s for s in monitor.state().streams if s.stream.feature == "diameter")
    assert (taper.status, taper.baseline) == ("look", None) and "do not differ" in taper.why_not["baseline"]
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
