"""A batch in order of time costs what it holds, not what is stored already."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.store import bores, facts, subgroups
from tests.monitor.busy_cell import BUSY_EVENTS, BUSY_SHEET
from tests.small_cell import CHECKS, HEADER, new_cell, rows, write

SHIFTS = 24
LINES = rows(SHIFTS * 18)  # ten minutes apart: three days of eight shifts, eighteen blocks each


class Reads(list[int]):
    """What grows by one whenever a stored block is read."""

    def begin(self) -> None:
        """Count anew, as in a process that has read nothing yet."""
        self.clear()
        for kept in (
            subgroups._unpacked,
            subgroups._rows_of_streams,
            subgroups._of_stream,
            subgroups._of_blocks,
        ):
            kept.cache_clear()


@pytest.fixture
def reads(monkeypatch):
    """Return a list that grows by one whenever a stored block is read."""
    found = Reads()
    plain = facts.decode

    def counted(block, *columns):
        found.append(len(block))
        return plain(block, *columns)

    for module in (bores, facts, subgroups):
        monkeypatch.setattr(module, "decode", counted)
    return found


def shift(number):
    return LINES[number * 144 : (number + 1) * 144]


def test_a_shift_of_the_third_day_costs_what_one_of_the_second_does(tmp_path, reads):
    monitor = new_cell(tmp_path / "cell", sheet=BUSY_SHEET)
    start = np.datetime64("2026-03-02T05:00:00")
    guest = shift(0)[3].replace(",1,S1,", ",1,S2,")  # a stream that never comes to 25 subgroups
    costs = []
    for number in range(SHIFTS):
        at = start + np.timedelta64(180 * number, "m")
        files = [
            write(tmp_path, f"{number}.csv", HEADER, [*shift(number), *([guest] if number == 0 else [])]),
            write(tmp_path, f"e{number}.csv", BUSY_EVENTS, [f"{at}Z,feed-offset,S1,,,1.5,machine,"]),
            write(tmp_path, f"c{number}.csv", CHECKS, [f"{at}Z,G1,50.0000,50.0001,as-found"]),
        ]
        reads.clear()
        assert all(file.taken for file in monitor.take(files).files)
        costs.append(len(reads))
    # rows of one UTC day lie together, so a file reads those of its own day; limits stand from 25
    # subgroups on, which is in the fifth shift; an event is watched in its shift and the next, and what a
    # change is dated by in the three before
    assert sum(costs[15:23]) <= 1.15 * sum(costs[7:15]), costs
    assert max(costs[15:23]) <= 32, costs


def test_a_late_row_is_watched_until_stones_are_changed_and_not_to_the_end(tmp_path, reads):
    costs = []
    for changed_at in (None, 12):
        monitor = new_cell(tmp_path / f"cell-{changed_at}", sheet=BUSY_SHEET)
        late = [r for r in shift(9) if r.startswith("B0170")]
        if changed_at is not None:
            at = np.datetime64("2026-03-02T05:00:00") + np.timedelta64(180 * changed_at, "m")
            events = [f"{at}Z,stones-fitted,{spindle},,N-{spindle},0,," for spindle in ("S1", "S2")]
            monitor.take([write(tmp_path, "e.csv", BUSY_EVENTS, events)])
        for number in range(SHIFTS):
            lines = [r for r in shift(number) if r not in late]
            monitor.take([write(tmp_path, f"{number}.csv", HEADER, lines)])
        reads.begin()
        assert monitor.take([write(tmp_path, "late.csv", HEADER, late)]).files[0].taken == len(late) > 0
        costs.append(len(reads))
        assert monitor.check(rebuild=True).sound
    # its day's files once or twice, its shift and neighbours; then two blocks of subgroups for each shift
    # until the detectors stand where they stood: 14 shifts to the end, or 4 to the new stones
    assert costs[1] <= costs[0] - 12, costs
    assert costs[1] <= 28, costs


def test_the_last_bores_and_subgroups_of_a_stream_are_read_from_the_newest_units(tmp_path, reads):
    monitor = new_cell(tmp_path / "cell", sheet=BUSY_SHEET)
    monitor.take([write(tmp_path, "all.csv", HEADER, LINES)])
    reads.clear()
    with monitor._store.reading() as session:
        assert len(session.bores(spindle="S1", charted=True, last=20)) == 20
        assert len(reads) <= 3
        reads.clear()
        stream = monitor.streams()[0]
        assert len(session.subgroups(stream, last=6)) == 6
        assert len(reads) <= 2
        reads.clear()
        start = np.datetime64("2026-03-03T08:00:00", "us")
        session.subgroups(stream, start=start, end=start + np.timedelta64(3, "h"))
        assert len(reads) <= 3
