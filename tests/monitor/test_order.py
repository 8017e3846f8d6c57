"""The order in which rows arrive changes no answer: shuffled, split and repeated batches end alike."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, text

import cellmon
from tests.monitor.shifting_cell import (
    HAPPENINGS,
    SHIFTING_EVENTS,
    SHIFTING_HEADER,
    SHIFTING_SHEET,
    Happening,
    event_rows,
    offset,
    shifting_rows,
)
from tests.small_cell import CHECKS, answers, batches, checks, derived, new_cell, write

NAMES = itertools.count()
ROWS = shifting_rows()
EVENTS = event_rows()


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def fresh_url(request, tmp_path_factory):
    """Return a function that gives the URL of an empty store of one kind."""
    if request.param == "sqlite":
        return lambda: "sqlite:///cell.db"
    server = request.getfixturevalue("postgres_url")

    def new_database() -> str:
        name = f"order_{next(NAMES)}"
        engine = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
        with engine.connect() as conn:
            conn.execute(text(f"CREATE DATABASE {name}"))
        engine.dispose()
        return f"{server}/{name}"

    return new_database


@pytest.fixture(scope="module")
def in_order(tmp_path_factory):
    """The answers after everything was taken once, in order."""
    folder = tmp_path_factory.mktemp("in-order")
    monitor = new_cell(folder, sheet=SHIFTING_SHEET)
    monitor.take(
        [
            write(folder, "events.csv", SHIFTING_EVENTS, EVENTS),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", SHIFTING_HEADER, ROWS),
        ]
    )
    return answers(monitor)


@settings(
    max_examples=6,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # a smaller example would take minutes to find
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    seed=st.integers(0, 2**32 - 1),
    pieces=st.integers(1, 5),
    repeats=st.integers(0, 1),
    log_first=st.sampled_from(["before", "between", "after"]),
)
def test_shuffled_split_and_repeated_rows_end_in_the_same_state(
    tmp_path_factory, fresh_url, in_order, seed, pieces, repeats, log_first
):
    shuffle = random.Random(seed)
    folder = tmp_path_factory.mktemp("shuffled")
    monitor = new_cell(folder, url=fresh_url(), sheet=SHIFTING_SHEET)
    logs = [write(folder, "events.csv", SHIFTING_EVENTS, shuffle.sample(EVENTS, k=len(EVENTS)))]
    logs += [write(folder, "checks.csv", CHECKS, shuffle.sample(checks(), k=len(checks())))]
    parts = [
        write(folder, f"rows-{i}.csv", SHIFTING_HEADER, part)
        for i, part in enumerate(batches(ROWS, shuffle=shuffle, pieces=pieces, repeats=repeats))
    ]
    place = {"before": 0, "between": len(parts) // 2, "after": len(parts)}[log_first]
    taken = monitor.take([*parts[:place], *logs, *parts[place:]])
    assert sum(f.taken for f in taken.files) == len(ROWS) + len(EVENTS) + len(checks())
    assert all(f.rows == f.taken + f.known + len(f.set_aside) for f in taken.files)
    assert answers(monitor) == in_order
    monitor.close()


def test_the_state_in_order_holds_what_the_property_is_about(in_order, tmp_path):
    """A state with nothing in it would be the same in any order too."""
    signals = {(s["stream"]["spindle"], s["kind"], s["part"] >= "B0118") for s in in_order["signals"]}
    assert ("S1", "level", True) in signals, "the step at block 118 is signalled"
    assert all(s["hold"]["parts"] and s["change"] for s in in_order["signals"] if s["kind"] == "level")
    assert any(s["causes"] for s in in_order["signals"])
    bare = new_cell(tmp_path / "bare", sheet=SHIFTING_SHEET)
    bare.take([write(tmp_path, "rows.csv", SHIFTING_HEADER, ROWS)])
    without = answers(bare)
    for name in ("subgroups", "together", "limits", "signals", "watched"):
        assert without["derived"][name] != in_order["derived"][name], f"what was logged counts in {name}"


# Each of these comes late, after all bores were judged, and reaches farther than its own shift.
LATE = {
    "an offset inside the window": [offset(31, "S1", 4.0)],
    "an offset that a later one undoes": [offset(83, "S2", 6.0, by="A. Person")],
    "the undoing": [offset(95, "S2", -6.0, by="A. Person")],
    "a zeroing": [Happening(block=64, event="gauge-zeroed", value=1.5, moves=1.5)],
    "a dressing": [Happening(block=50, event="stones-dressed", spindle="S1")],
    "another set": [Happening(block=90, event="stones-fitted", spindle="S1", stone_set="A3")],
    "another set-up": [Happening(block=112, event="setup-changed", spindle="S2")],
    "everything": list(HAPPENINGS),
}


@pytest.mark.parametrize("late", LATE)
def test_what_is_logged_after_the_bores_counts_as_if_logged_in_time(tmp_path, in_order, late):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    missing = event_rows(LATE[late])
    assert set(missing) <= set(EVENTS)
    known = [e for e in EVENTS if e not in missing]
    files = [write(tmp_path, "checks.csv", CHECKS, checks())]
    files += [write(tmp_path, "events.csv", SHIFTING_EVENTS, known)] if known else []
    monitor.take([*files, write(tmp_path, "rows.csv", SHIFTING_HEADER, ROWS)])
    for i, line in enumerate(missing):
        monitor.take([write(tmp_path, f"late-{i}.csv", SHIFTING_EVENTS, [line])])
    assert answers(monitor) == in_order


@pytest.mark.parametrize("block", [3, 20, 40, 74, 80, 100, 119, 129])
def test_a_block_that_comes_last_counts_as_if_it_came_in_time(tmp_path, in_order, block):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    late = [r for r in ROWS if r.startswith(f"B{block:04d},")]
    logs = [
        write(tmp_path, "events.csv", SHIFTING_EVENTS, EVENTS),
        write(tmp_path, "checks.csv", CHECKS, checks()),
    ]
    monitor.take([*logs, write(tmp_path, "rows.csv", SHIFTING_HEADER, [r for r in ROWS if r not in late])])
    monitor.take([write(tmp_path, "late.csv", SHIFTING_HEADER, late)])
    assert answers(monitor) == in_order


IDLE = (
    offset(88, "S2", 5.0, by="A. Person"),
    Happening(block=90, event="setup-changed", spindle="S2", moves=0.8),
    offset(97, "S2", -5.0, by="A. Person"),
)


@pytest.mark.parametrize("days", [0, 1])
@pytest.mark.parametrize("late", [True, False])
def test_what_happens_to_a_spindle_that_stands_still_counts_when_it_goes_on(tmp_path, late, days):
    """S2 rests while S1 works on; what is logged of it meanwhile lies behind its next bore, not S1's.

    With a day between every two blocks from the hundredth on it rests for nine days and as many shifts.
    """
    lines = shifting_rows(happenings=IDLE, idle=range(82, 118))
    lines = [_days_later(r, days * max((int(r[1:5]) - 98) // 2, 0)) for r in lines]
    events = write(tmp_path, "events.csv", SHIFTING_EVENTS, event_rows(IDLE))
    at_once = new_cell(tmp_path / "at-once", sheet=SHIFTING_SHEET)
    at_once.take([events, write(tmp_path, "rows.csv", SHIFTING_HEADER, lines)])
    piecewise = new_cell(tmp_path / "piecewise", sheet=SHIFTING_SHEET)
    parts = [
        write(tmp_path, f"{i}.csv", SHIFTING_HEADER, lines[begin : begin + 20])
        for i, begin in enumerate(range(0, len(lines), 20))
    ]
    piecewise.take([*parts, events] if late else [events, *parts])
    assert answers(piecewise) == answers(at_once)


def _days_later(line: str, days: int) -> str:
    cells = line.split(",")
    for i in (3, 4):
        cells[i] = f"{np.datetime64(cells[i].rstrip('Z')) + np.timedelta64(days, 'D')}Z"
    return ",".join(cells)


TO_AND_FRO = tuple(offset(b, "S2", um, by="A. Person") for b, um in ((10, 5.0), (130, -5.0), (200, 5.0)))


def test_what_one_stream_learns_does_not_depend_on_which_others_learn_beside_it(tmp_path):
    """S2 begins a day after S1. Whether its last offset undoes one depends on those before, as far back
    as its own window reaches: not as far as the windows of S1 that are learned in the same pass."""
    lines = shifting_rows(250, happenings=TO_AND_FRO, idle=range(160), step_at=None)
    events = write(tmp_path, "events.csv", SHIFTING_EVENTS, event_rows(TO_AND_FRO))
    at_once = new_cell(tmp_path / "at-once", sheet=SHIFTING_SHEET)
    at_once.take([events, write(tmp_path, "rows.csv", SHIFTING_HEADER, lines)])
    piecewise = new_cell(tmp_path / "piecewise", sheet=SHIFTING_SHEET)
    first, rest = lines[:300], lines[300:]
    piecewise.take([events, write(tmp_path, "a.csv", SHIFTING_HEADER, first)])
    piecewise.take([write(tmp_path, "b.csv", SHIFTING_HEADER, rest)])
    assert answers(piecewise) == answers(at_once)


def test_a_late_row_dates_a_change_anew_that_was_called_shifts_later(tmp_path):
    """With new stones everywhere the detectors soon stand where they stood; what was before still counts
    for the moment a change began."""
    fresh = tuple(
        Happening(block=100, event="stones-fitted", spindle=s, stone_set=f"B{s}") for s in ("S1", "S2")
    )
    lines = shifting_rows(160, happenings=fresh, step_at=128, step_um=3.0)
    lines = [r for r in lines if not r.startswith(("B0094", "B0095", "B0096"))]
    events = write(tmp_path, "events.csv", SHIFTING_EVENTS, event_rows(fresh))
    late = [r for r in lines if "B0090" <= r[:5] <= "B0093" and ",S1," in r]
    at_once = new_cell(tmp_path / "at-once", sheet=SHIFTING_SHEET)
    at_once.take([events, write(tmp_path, "all.csv", SHIFTING_HEADER, lines)])
    assert any(s["part"] >= "B0128" for s in answers(at_once)["signals"])
    piecewise = new_cell(tmp_path / "piecewise", sheet=SHIFTING_SHEET)
    early = [r for r in lines if r not in late]
    piecewise.take([events, write(tmp_path, "early.csv", SHIFTING_HEADER, early)])
    piecewise.take([write(tmp_path, "late.csv", SHIFTING_HEADER, late)])
    assert answers(piecewise) == answers(at_once)


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ('gauge = "G1"', 'gauge = "G2"'),
        ("size = 3", "size = 3\nevery = 4"),
        ("lower = -8.0", "lower = -7.0"),
        ("upper = 50.010", "upper = 50.060"),  # an offset by a person is then none that wear does not ask for
        ("[store]", "[alarms]\nfalse_alarms_per_week = 0.5\n[store]"),
    ],
)
def test_another_sheet_leaves_what_was_learned_before_it(tmp_path, was, becomes):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    events = [*EVENTS, offset(20, "S2", 4.0, by="A. Person").line]
    monitor.take([write(tmp_path, "events.csv", SHIFTING_EVENTS, events)])
    monitor.take([write(tmp_path, "a.csv", SHIFTING_HEADER, ROWS[:270])])
    before = answers(monitor)["derived"]["limits"]
    path = tmp_path / "cell.toml"
    path.write_text(path.read_text(encoding="utf-8").replace(was, becomes, 1), encoding="utf-8")
    monitor.close()
    monitor = cellmon.open_cell(tmp_path)
    monitor.adopt(by="A. Person", why="it is so now")
    monitor.take([write(tmp_path, "b.csv", SHIFTING_HEADER, ROWS[270:])])
    found = answers(monitor)
    assert found["derived"]["limits"] == before
    assert monitor.check(rebuild=True).sound
    assert answers(monitor) == found


def test_patterns_of_run_rules_are_the_same_in_any_order(tmp_path):
    sheet = SHIFTING_SHEET.replace("[store]", '[alarms]\nrules = ["two-of-three"]\n[store]')
    at_once, piecewise = (new_cell(tmp_path / n, sheet=sheet) for n in ("at-once", "piecewise"))
    events = write(tmp_path, "events.csv", SHIFTING_EVENTS, EVENTS)
    at_once.take([events, write(tmp_path, "all.csv", SHIFTING_HEADER, ROWS)])
    late = [r for r in ROWS if r.startswith("B0010")]
    piecewise.take(
        [
            events,
            write(tmp_path, "a.csv", SHIFTING_HEADER, [r for r in ROWS if r not in late]),
            write(tmp_path, "late.csv", SHIFTING_HEADER, late),
        ]
    )
    found = answers(at_once)
    assert any(s["kind"] == "pattern" for s in found["signals"])
    assert answers(piecewise) == found


def test_of_two_rule_sets_that_signal_at_once_each_is_a_signal(tmp_path):
    rules = '[alarms]\nrules = ["mean-range", "beyond-3-sigma"]\n[store]'
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET.replace("[store]", rules))
    monitor.take([write(tmp_path, "rows.csv", SHIFTING_HEADER, ROWS)])
    with monitor._store.reading() as session:
        called = session.alarms()
    found = [s.detector for s in monitor.signals().signals if s.kind == "pattern"]
    assert len(set(found)) == 2
    assert sorted(found) == sorted(called.detector[called.kind == "pattern"].tolist())


def test_a_rebuild_keeps_the_name_of_every_signal(tmp_path):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    shuffle = random.Random(11)
    files = [
        write(tmp_path, f"{i}.csv", SHIFTING_HEADER, part)
        for i, part in enumerate(batches(ROWS, shuffle=shuffle, pieces=4, repeats=1))
    ]
    monitor.take([*files, write(tmp_path, "events.csv", SHIFTING_EVENTS, EVENTS)])
    before = monitor.signals().signals
    assert before and monitor.check(rebuild=True).sound
    assert monitor.signals().signals == before


def test_taking_the_same_file_twice_knows_every_row(tmp_path):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    path = write(tmp_path, "rows.csv", SHIFTING_HEADER, ROWS)
    first = monitor.take([path]).files[0]
    before = derived(monitor)
    again = monitor.take([path]).files[0]
    assert (first.taken, first.known) == (len(ROWS), 0)
    assert (again.taken, again.known, again.set_aside) == (0, len(ROWS), ())
    assert derived(monitor) == before


def test_what_is_derived_equals_what_is_recomputed(tmp_path):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    monitor.take(
        [
            write(tmp_path, "rows.csv", SHIFTING_HEADER, ROWS),
            write(tmp_path, "e.csv", SHIFTING_EVENTS, EVENTS),
        ]
    )
    before = answers(monitor)
    assert monitor.check(rebuild=True).sound
    assert answers(monitor) == before
