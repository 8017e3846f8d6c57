"""Bores of past shifts: each keeps those it has, measured completely or not, whatever comes later."""

import shutil
from collections import Counter

import numpy as np

import cellmon
from cellmon.monitor.stones import counted
from cellmon.monitor.stones.honed import Honed
from tests.bench.next_batch import next_batches
from tests.monitor.test_carried import late_rows
from tests.monitor.test_versions import changed
from tests.small_cell import HEADER, new_cell, rows, write

FAR = np.timedelta64(99, "W")


def made_of(monitor):
    """Return the bores of past shifts as an answer counts them, by spindle."""
    with monitor._view() as view:
        return {name: one.bores.tolist() for name, one in Honed.of(view).over.made.items()}


def kept(monitor):
    """Return how many bores are kept of each unit, and how many its blocks hold."""
    with monitor._view() as view:
        honed = view.session.honed_in_units()
        names = zip(honed.start, honed.spindle.tolist(), honed.part_number.tolist(), strict=True)
        found = dict(zip(names, honed.bores.tolist(), strict=True))
        every: Counter = Counter()
        for unit in view.session.units_since(np.datetime64(0, "us")):
            bores = view.session.bores_of_unit(unit.start)
            each = dict(zip(zip(bores.part, bores.bore, strict=True), range(len(bores)), strict=True))
            every.update((unit.start, bores.spindle[i], bores.part_number[i]) for i in each.values())
    return found, every


# 3 of 10 bores lack a plane: they have no complete measurement, and wear stones as the others do.
def test_a_bore_counts_also_where_it_was_not_measured_completely(tmp_path, monkeypatch):
    monkeypatch.setattr(counted, "WEEKS", -FAR)  # every shift is long over
    monitor = new_cell(tmp_path / "cell")
    lacking = [line for line in rows(300) if not (line[4] in "258" and ",bottom," in line)]
    monitor.take([write(tmp_path, "rows.csv", HEADER, lacking)])
    found = made_of(monitor)
    monitor.close()
    assert {name: sum(bores) for name, bores in found.items()} == {"S1": 300, "S2": 300}
    assert len(found["S1"]) > 3


def test_what_comes_later_moves_no_shift_but_its_own(tmp_path, monkeypatch):
    monkeypatch.setattr(counted, "WEEKS", -FAR)
    monitor = new_cell(tmp_path / "cell")
    lines = rows(300)
    monitor.take([write(tmp_path, "first.csv", HEADER, lines[: 8 * 150])])
    before = made_of(monitor)["S1"]
    monitor.take([write(tmp_path, "second.csv", HEADER, lines[8 * 150 :])])
    after = made_of(monitor)["S1"]
    monitor.close()
    assert after[: len(before) - 1] == before[:-1] and sum(after) == 300


def test_what_is_kept_is_what_the_bores_say_whatever_came(demo_week, tmp_path):
    shutil.copytree(demo_week, tmp_path / "cell")
    monitor = cellmon.open_cell(tmp_path / "cell")
    found, every = kept(monitor)
    assert found == every and len(found) > 9
    next_batches(monitor, tmp_path)()
    with monitor._view() as view:
        past = view.session.units_since(np.datetime64(0, "us"))[4].start
    late_rows(monitor, tmp_path, past + np.timedelta64(1, "h"))
    later, every = kept(monitor)
    assert later == every and sum(later.values()) > sum(found.values())
    monitor.close()


def test_late_rows_and_a_new_sheet_leave_no_shift_counted_as_it_was(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = rows(300)
    late = [line for line in lines if line[:4] in ("B002", "B017")]
    monitor.take([write(tmp_path, "a.csv", HEADER, [one for one in lines[: 8 * 150] if one not in late])])
    adopting = changed(monitor, ('starts = "18:00"', 'starts = "14:00"'))
    adopting.adopt(by="A. Person", why="shifts as they are worked")
    adopting.take([write(tmp_path, "b.csv", HEADER, lines[8 * 200 :])])
    before = sum(kept(adopting)[0].values())
    adopting.take([write(tmp_path, "c.csv", HEADER, [*late, *lines[8 * 150 : 8 * 200]])])
    found, every = kept(adopting)
    adopting.close()
    assert found == every and before < sum(found.values()) == 600


def test_the_newest_weeks_are_counted_to_the_bore(demo_week, tmp_path):
    shutil.copytree(demo_week, tmp_path / "cell")
    monitor = cellmon.open_cell(tmp_path / "cell")
    before = {one.stone_set: one for one in monitor.stones().sets}
    next_batches(monitor, tmp_path, bores=32)()
    after = {one.stone_set: one for one in monitor.stones().sets}
    with monitor._view() as view:
        since = counted.counted_since(view.as_of)
        honed = sum(
            len(first.at)
            for unit in view.session.units_since(since)
            for spindle, first in view.session.first_honed(unit.start).items()
            if spindle
        )
        made = Honed.of(view).made
    monitor.close()
    assert sum(float(one.bores.sum()) for one in made.values()) == honed
    grown = {n: after[n].bores_since_fit - before[n].bores_since_fit for n in before}
    assert sum(grown.values()) == 32
    assert not any(by for name, by in grown.items() if before[name].state != "fitted")
