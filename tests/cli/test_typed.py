"""Rows typed by hand: their columns are those that files of the kind declare."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from cellmon.cli.main import main
from cellmon.cli.typed import ENTRIES
from cellmon.records import ROW_BATCHES, EventKind, Kind
from tests.monitor.planned_cell import planned_cell

from .conftest import ZONE, file_taken

CASES = [
    (
        ["stones-dressed", "--spindle", "S1", "--at", "2026-10-22T06:10", "--by", "Ada"],
        Kind.EVENTS,
        {"event": "stones-dressed", "spindle": "S1", "at": "2026-10-22T06:10:00+02:00", "by": "Ada"},
    ),
    (
        ["gauge-zeroed", "--gauge", "G1", "--value", "-4", "--at", "2026-10-20T12:00+02:00"],
        Kind.EVENTS,
        {"event": "gauge-zeroed", "gauge": "G1", "value": "-4", "at": "2026-10-20T12:00:00+02:00"},
    ),
    (
        "stone-measurement --stone-set FS-1 --stone 2 --position top --thickness-mm 2.81 "
        "--at 2026-10-22T06:10",
        Kind.STONE_MEASUREMENTS,
        {
            "stone_set": "FS-1",
            "stone": "2",
            "position": "top",
            "thickness_mm": "2.81",
            "at": "2026-10-22T06:10:00+02:00",
        },
    ),
    (
        ["stock", "--kind", "D64", "--change", "3", "--due", "2026-11-06", "--at", "2026-10-22T06:10Z"],
        Kind.STOCK,
        {
            "kind": "D64",
            "change": "3",
            "due": "2026-11-06T00:00:00+01:00",
            "at": "2026-10-22T06:10:00+00:00",
        },
    ),
    (
        "gauge-check --gauge G1 --master-mm 87.312 --reading-mm 87.3124 --state as-found "
        "--at 2026-10-22T09:00",
        Kind.GAUGE_CHECKS,
        {
            "gauge": "G1",
            "master_mm": "87.312",
            "reading_mm": "87.3124",
            "state": "as-found",
            "at": "2026-10-22T09:00:00+02:00",
        },
    ),
]


@pytest.mark.parametrize(("argv", "kind", "values"), CASES)
def test_what_is_typed_reaches_the_monitor_by_declared_columns(run, monitor, argv, kind, values):
    ran = run("log", *(argv.split() if isinstance(argv, str) else argv))
    assert (ran.status, ran.err) == (0, "")
    assert monitor.calls[-1] == ("log", (kind, values), {})
    assert set(values) <= {c.name for c in ROW_BATCHES[kind].columns()}


def test_every_event_can_be_typed():
    assert {e.event for e in ENTRIES.values() if e.event is not None} == set(EventKind)


def test_without_a_time_it_happened_now(run, monitor):
    run("log", "setup-changed", "--spindle", "S1", "--note", "stroke 5 mm longer")
    at = datetime.fromisoformat(monitor.calls[-1][1][1]["at"])
    assert abs(datetime.now(tz=ZONE) - at) < timedelta(minutes=1)
    assert at.microsecond == 0


def test_a_row_that_is_set_aside_is_not_called_logged(run, monitor):
    monitor.logged = file_taken(taken=0, known=0, aside=1)
    ran = run("log", "stones-dressed", "--spindle", "S9")
    assert (ran.status, ran.out) == (4, "")
    assert ran.err.startswith("cellmon: stones-dressed not logged: not-a-number")


def test_a_row_typed_twice_is_known(run, monitor):
    monitor.logged = file_taken(taken=0, known=1)
    ran = run("log", "stones-dressed", "--spindle", "S1", "--at", "2026-10-22T06:10")
    assert ran.out == "stones-dressed at 2026-10-22T06:10:00+02:00 is already known.\n"


def test_what_is_odd_about_a_row_is_said_with_it(run, monitor):
    monitor.logged = replace(
        file_taken(taken=1, known=0), asked=("A9 was never received: is the name right?",)
    )
    ran = run("log", "stones-dressed", "--spindle", "S1", "--at", "2026-10-22T06:10")
    assert ran.status == 0
    assert ran.out.splitlines() == [
        "stones-dressed at 2026-10-22T06:10:00+02:00 logged.",
        "asked: A9 was never received: is the name right?",
    ]


@pytest.mark.parametrize(
    ("row", "status", "out", "err"),
    [
        (["--spindle", "S1", "--note", "worn"], 0, "stones-removed: nothing odd about it.\n", ""),
        (["--spindle", "S1"], 0, "asked: No reason is given: worn or chipped ends a life;", ""),
        (
            ["--spindle", "S9"],
            4,
            "",
            "cellmon: stones-removed cannot be logged: The sheet has no such spindle",
        ),
    ],
)
def test_a_row_may_be_looked_at_and_nothing_is_kept(tmp_path, capsys, row, status, out, err):
    """With a real cell: the command says what the page would ask."""
    cell = planned_cell(tmp_path)
    before = cell.last_change()
    capsys.readouterr()
    at = ["--at", "2026-03-02T12:00:00Z", "--cell", str(cell.folder)]
    found = main(["log", "stones-removed", *row, *at, "--look"])
    said = capsys.readouterr()
    assert (found, said.out.startswith(out), said.err.startswith(err)) == (status, True, True), said
    assert cell.last_change() == before
    cell.close()
