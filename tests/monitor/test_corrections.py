"""Whatever people decide of doubts and limits, derived still equals recomputed."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from cellmon.errors import NotFound, WrongUsage
from cellmon.records import Flag
from tests.monitor.busy_cell import (
    BUSY_EVENTS,
    BUSY_HEADER,
    BUSY_SHEET,
    busy_checks,
    busy_events,
    busy_rows,
)
from tests.monitor.test_judging import bore_rows
from tests.small_cell import CHECKS, EVENTS, HEADER, new_cell, rows, write


@settings(
    max_examples=8,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(seed=st.integers(0, 2**32 - 1))
def test_any_decisions_about_anything_can_be_rebuilt(tmp_path_factory, seed):
    rng, choose = np.random.default_rng(seed), random.Random(seed)
    folder = tmp_path_factory.mktemp("decided")
    monitor = new_cell(folder / "cell", sheet=BUSY_SHEET)
    lines = busy_rows(rng, 110)
    late = choose.sample(lines, k=20)
    monitor.take(
        [
            write(folder, "events.csv", BUSY_EVENTS, busy_events(rng, 24)),
            write(folder, "checks.csv", CHECKS, busy_checks(rng, 24)),
            write(folder, "rows.csv", BUSY_HEADER, [r for r in lines if r not in late]),
        ]
    )
    doubts = monitor.flags().flags
    for flag in choose.sample(doubts, k=min(len(doubts), 12)):
        accept = flag.proposal is not None and choose.random() < 0.7
        monitor.correct(flag.id, accept=accept, by="A. Person", why="looked at it")
    frozen = [b for b in monitor.baselines().baselines if b.proposed is not None]
    if frozen:
        monitor.freeze(by="A. Person", why="quiet enough", spindle=frozen[0].stream.spindle)
    monitor.take([write(folder, "late.csv", BUSY_HEADER, late)])
    report = monitor.check(rebuild=True)
    assert report.sound, report.rebuilt
    monitor.close()


def minutes(count, *, first=0):
    start = np.datetime64("2026-03-02T05:00:00")
    return [f"{start + np.timedelta64(5, 'm') * (first + i)}Z" for i in range(count)]


def doubted_cell(folder, flag):
    """Return a cell that holds one kind of doubt at least, and what its first doubt is about."""
    monitor = new_cell(folder / "cell")
    wild = {Flag.SINGLE_READING: -24.0, Flag.DIAL_TURN: 200.0}
    usual = np.zeros(4) if flag in wild else np.array([6.0, 4.0, 0.0, -2.0])  # top is wider, and x is
    header, logs, lines = HEADER, [], []
    for i, at in enumerate(minutes(80)):
        for bore in ("1", "2"):
            values = usual + np.random.default_rng([i, int(bore)]).normal(0, 0.3, 4).round(1)
            if i == 40 and bore == "1" and flag in wild:
                values[1] += wild[flag]
            if 30 <= i < 42 and flag is Flag.SWAPPED_PLANES:
                values = values[[2, 3, 0, 1]]
            if 30 <= i < 42 and flag is Flag.SWAPPED_DIRECTIONS:
                values = values[[1, 0, 3, 2]]
            spindle = "S2" if flag is Flag.ROUTING and i == 40 else f"S{bore}"
            lines += bore_rows(i, bore, at, values.round(1), spindle=spindle)
    if flag is Flag.ZERO_SUSPECT:
        logs.append(
            write(
                folder,
                "checks.csv",
                CHECKS,
                [
                    "2026-03-02T04:00:00Z,G1,50.0000,50.0000,as-found",
                    "2026-03-02T06:00:00Z,G1,50.0000,50.0030,as-found",
                    "2026-03-02T06:01:00Z,G1,50.0000,50.0000,as-left",
                ],
            )
        )
    if flag is Flag.SET_DIFFERS:
        logs.append(write(folder, "e.csv", EVENTS, ["2026-03-02T04:00:00Z,stones-fitted,S1,A1,0"]))
        header, lines = f"{HEADER},stone_set", [r + (",A9" if "B0040,1" in r else ",") for r in lines]
    if flag is Flag.CLOCK:
        header = f"{HEADER},honed_at"
        lines = [f"{r},{_honed(r)}" for r in lines]
    monitor.take([*logs, write(folder, "rows.csv", header, lines)])
    return monitor


def _honed(row):
    part, at = int(row[1:5]), np.datetime64(row.split(",")[3].rstrip("Z"))
    return f"{at - np.timedelta64(12 if 40 <= part < 50 else 2, 'm')}Z"


MEANING = {  # flag: what accepting it does to the first bore doubted, in micrometres of its average
    Flag.SINGLE_READING: None,
    Flag.DIAL_TURN: -50.0,
    Flag.ZERO_SUSPECT: -3.0,
    Flag.SWAPPED_PLANES: 0.0,
    Flag.SWAPPED_DIRECTIONS: 0.0,
    Flag.ROUTING: 0.0,
    Flag.SET_DIFFERS: 0.0,
    Flag.CLOCK: 0.0,
}


@pytest.mark.parametrize("accept", [True, False])
@pytest.mark.parametrize("flag", MEANING)
def test_each_kind_of_doubt_is_settled_either_way(tmp_path, flag, accept):
    monitor = doubted_cell(tmp_path, flag)
    mine = [f for f in monitor.flags().flags if f.flag is flag]
    others = [f for f in monitor.flags().flags if f.flag is not flag]
    assert mine and not others, (flag, [f.flag for f in others])
    one = mine[0]
    before = bore_of(monitor, one)
    if accept and one.proposal is None:
        with pytest.raises(WrongUsage, match="proposes no correction"):
            monitor.correct(one.id, accept=True, by="A. Person", why="looked")
        return
    row = monitor.correct(one.id, accept=accept, by="A. Person", why="looked")
    assert row.state == ("accepted" if accept else "kept")
    after = bore_of(monitor, one)
    assert after.flags == ()
    if not accept:
        assert np.array_equal(after.um, before.um) and after.spindle == before.spindle
    elif MEANING[flag] is None:
        assert after.features["average"] is None and np.isnan(after.um).sum() == 1
    else:
        change = after.features["average"] - before.features["average"]
        assert change == pytest.approx(MEANING[flag], abs=1e-6)
    if accept and flag is Flag.SWAPPED_PLANES:
        assert after.features["taper"] == pytest.approx(-before.features["taper"])
    if accept and flag is Flag.SWAPPED_DIRECTIONS:
        assert after.features["ovality"] == pytest.approx(-before.features["ovality"])
    if accept and flag is Flag.ROUTING:
        assert (before.spindle, after.spindle) == ("S2", "S1")
    assert monitor.check(rebuild=True).sound


def bore_of(monitor, flag):
    return next(m for m in monitor.part(flag.part).measurements if m.bore == flag.bore)


def test_a_decision_can_be_taken_again_and_the_last_one_holds(tmp_path):
    monitor = doubted_cell(tmp_path, Flag.DIAL_TURN)
    flag = monitor.flags().flags[0]
    read = bore_of(monitor, flag).features["average"]
    monitor.correct(flag.id, accept=True, by="A. Person", why="the dial went round")
    assert bore_of(monitor, flag).features["average"] == pytest.approx(read - 50.0)
    row = monitor.correct(flag.id, accept=False, by="B. Person", why="measured again, it is so")
    assert (row.state, row.by) == ("kept", "B. Person")
    assert bore_of(monitor, flag).features["average"] == pytest.approx(read)
    with pytest.raises(NotFound, match="no flag"):
        monitor.correct("D-nothing", accept=False, by="A. Person", why="-")
    with pytest.raises(WrongUsage, match="a name and a reason"):
        monitor.correct(flag.id, accept=False, by=" ", why="-")


def test_a_bore_left_incomplete_by_a_correction_gives_its_place_to_the_next_measuring(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    wild = bore_rows(40, "1", "2026-03-02T05:00:00Z", [0.0, -40.0, 0.5, 0.2])
    again = bore_rows(40, "1", "2026-03-03T05:00:00Z", 1.0)
    monitor.take([write(tmp_path, "rows.csv", HEADER, wild + again)])
    assert monitor.bores().bores.charted.tolist() == [1, 0]
    monitor.correct(monitor.flags().flags[0].id, accept=True, by="A. Person", why="a burr")
    assert monitor.bores().bores.charted.tolist() == [0, 1]
    assert monitor.check(rebuild=True).sound


def test_a_doubted_figure_is_kept_out_of_charts_and_indices_until_it_is_settled(tmp_path):
    monitor = doubted_cell(tmp_path, Flag.SINGLE_READING)
    flag = monitor.flags().flags[0]
    named = {"spindle": "S1", "bore": "1", "feature": "diameter"}

    def place():
        groups = monitor.stream(**named).subgroups
        i = int(np.flatnonzero(groups.last_part >= flag.part)[0])
        return int(groups.n[i]), bool(groups.flagged[i])

    assert place() == (2, True)
    n = next(c for c in monitor.capability(**named).capability).n
    monitor.correct(flag.id, accept=False, by="A. Person", why="the bore is like that")
    assert place() == (3, False)
    assert next(c for c in monitor.capability(**named).capability).n == n + 1


def test_late_rows_are_flagged_inside_a_frozen_window_and_not_beside_it(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = rows(200)
    monitor.take([write(tmp_path, "rows.csv", HEADER, lines[80:])])  # from B0010 on
    monitor.freeze(by="A. Person", why="quiet")
    window = next(b for b in monitor.baselines().baselines if b.stream.bore == "1")
    before = bore_rows(1, "1", "2026-03-02T05:10:00Z", 0.5)
    inside = bore_rows(9001, "1", "2026-03-02T12:05:00Z", 0.5)
    other = bore_rows(9002, "1", "2026-03-02T12:06:00Z", 0.5, spindle="S2")
    after = bore_rows(9003, "1", "2026-03-05T12:05:00Z", 0.5)
    assert str(window.in_force.frozen_at) and window.window_from is not None
    monitor.take([write(tmp_path, "late.csv", HEADER, before + inside + other + after)])
    late = {f.part for f in monitor.flags().flags if f.flag is Flag.LATE}
    assert late == {"B9001"}
    assert monitor.check(rebuild=True).sound
