"""Units are derived in runs; what is cut between runs, or lies between units of one, changes no answer."""

from __future__ import annotations

import numpy as np
import pytest

import cellmon.monitor.judge as judging
from tests.small_cell import HEADER, answers, new_cell, rows, write

START = np.datetime64("2026-03-02T05:00:00")
SHIFT = np.timedelta64(12, "h")


def shift_of(row: str) -> int | None:
    """Return the shift of a row, counted from the first; None at its edge: that touches its neighbour too."""
    after = np.datetime64(row.split(",")[3][:19]) - START
    return int(after // SHIFT) if after % SHIFT else None


def of_shifts(*shifts: int) -> list[str]:
    return [row for row in rows(108, minutes=60) if shift_of(row) in shifts]


AMIDST, NEWEST, OTHERS = of_shifts(4), of_shifts(8), of_shifts(0, 1, 7)
"""Each shift holds a subgroup and more of each bore."""


@pytest.fixture
def seen(monkeypatch):
    """The lengths of the runs of each batch."""
    found, given = [], judging._stretches

    def stretches(units, others):
        runs = list(given(units, others))
        found.append([len(run) for run in runs])
        return iter(runs)

    monkeypatch.setattr(judging, "_stretches", stretches)
    return found


def taken(folder, *files):
    monitor = new_cell(folder)
    monitor.take([write(folder, f"{i}.csv", HEADER, lines) for i, lines in enumerate(files)])
    found = answers(monitor)
    monitor.close()
    return found


def test_a_unit_that_stands_between_two_others_ends_their_run(tmp_path, seen):
    late = taken(tmp_path / "late", AMIDST, NEWEST, OTHERS)
    assert late == taken(tmp_path / "once", [*OTHERS, *AMIDST, *NEWEST])
    assert seen == [[1], [2], [2, 2], [5]], "the newest unit until then is derived anew too"


def test_rows_between_the_units_of_a_run_are_left_to_their_own(tmp_path, seen):
    """Of a unit that holds too little for a subgroup the store says nothing, so a run reaches over it."""
    little = [row for row in AMIDST if row.startswith(AMIDST[0].split(",")[0] + ",1,")]
    late = taken(tmp_path / "late", little, NEWEST, OTHERS)
    assert late == taken(tmp_path / "once", [*OTHERS, *little, *NEWEST])
    assert seen == [[1], [2], [4], [5]]


def test_how_many_units_run_together_changes_nothing(tmp_path, seen, monkeypatch):
    together = taken(tmp_path / "together", [*OTHERS, *AMIDST, *NEWEST])
    monkeypatch.setattr(judging, "RUN_AT_ONCE", 2)
    assert taken(tmp_path / "apart", [*OTHERS, *AMIDST, *NEWEST]) == together
    assert seen == [[5], [2, 2, 1]]
