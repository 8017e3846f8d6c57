"""The command `compare`: which two sides were typed, what is refused, and what is shown."""

from __future__ import annotations

import json
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from cellmon.monitor.compare import Side

ZONE = ZoneInfo("Europe/Berlin")


def asked(monitor) -> tuple[Side, Side]:
    (call,) = (args for name, args, _ in monitor.calls if name == "compare")
    return call


def test_two_windows_are_local_to_the_cell_and_may_be_open(run, monitor):
    assert (
        run("compare", "--window", "2026-10-19..2026-10-20T06:00", "--with", "2026-10-20T06:00..").status == 0
    )
    one, two = asked(monitor)
    border = datetime(2026, 10, 20, 6, tzinfo=ZONE)
    assert one == Side(since=datetime(2026, 10, 19, tzinfo=ZONE), until=border)
    assert two == Side(since=border)


@pytest.mark.parametrize("option", ["sets", "lots", "spindles", "fixtures"])
def test_two_of_a_kind_within_a_time(run, monitor, option):
    assert run("compare", f"--{option}", "A", "B", "--since", "2026-10-20", "--feature", "taper").status == 0
    one, two = asked(monitor)
    assert one.since == two.since == datetime(2026, 10, 20, tzinfo=ZONE)
    assert one.name.endswith(" A") and two.name.endswith(" B")
    assert monitor.calls[-1][2] == {"spindle": None, "bore": None, "feature": "taper"}


@pytest.mark.parametrize(
    "argv",
    [
        [],
        ["--window", "2026-10-19..2026-10-20"],
        ["--with", "2026-10-19..2026-10-20"],
        ["--sets", "A", "B", "--spindles", "S1", "S2"],
        ["--sets", "A", "B", "--window", "2026-10-19..2026-10-20", "--with", "2026-10-20..2026-10-21"],
        ["--window", "2026-10-19..", "--with", "..2026-10-19", "--since", "2026-10-18"],
        ["--window", "2026-10-19", "--with", "2026-10-20..2026-10-21"],
        ["--window", "..", "--with", "2026-10-20..2026-10-21"],
        ["--window", "monday..tuesday", "--with", "2026-10-20..2026-10-21"],
        ["--sets", "A"],
    ],
)
def test_what_names_no_two_sides_is_wrong_usage(run, monitor, argv):
    ran = run("compare", *argv)
    assert ran.status == 2 and ran.out == "" and ran.err.startswith("cellmon: ")
    assert "Traceback" not in ran.err


def test_lines_show_differences_with_intervals_lives_notes_and_what_is_not_known(run):
    out = run("compare", "--sets", "FS-1", "FS-2").out
    assert "-1.3 (-1.9 to -0.7)" in out and "1.03 (0.96 to 1.12)" in out
    assert "set FS-1: 5,000 bores" in out and "12 more are doubted and left out" in out
    assert "at least 4,100" in out and "note: 4 comparisons" in out
    assert "need at least 20, got 9" in out


def test_the_document_has_what_the_answer_has(run):
    document = run("compare", "--sets", "FS-1", "FS-2", "--json").document
    words = "first second confidence each comparisons streams lives notes"
    assert list(document) == ["cellmon", "as_of", "sheet", "sentence", *words.split(), "why_not"]
    level = document["streams"][0]["level_um"]
    assert level == {"value": -1.31, "low": -1.9, "high": -0.72, "confidence": 0.9875}
    assert document["streams"][1]["level_um"] is None and document["streams"][1]["why_not"]["level_um"]
    assert document["lives"]["second"][0]["whole"] is False


@pytest.mark.parametrize("to", ["csv", "xlsx", "json", "parquet"])
def test_it_is_exported_like_the_others(run, tmp_path, to):
    path = tmp_path / f"found.{to}"
    ran = run("export", "compare", "--sets", "FS-1", "FS-2", "--to", to, "--out", str(path))
    assert (ran.status, ran.err) == (0, "") and "2 rows" in ran.out
    if to == "json":
        assert json.loads(path.read_text()) == run("compare", "--sets", "FS-1", "FS-2", "--json").document
    if to == "csv":
        head, first, *_ = path.read_text(encoding="utf-8-sig").splitlines()
        assert "level_um_low" in head and "-1.9" in first


def test_exports_of_other_kinds_take_no_sides(run, tmp_path):
    ran = run("export", "signals", "--with", "2026-10-19..2026-10-20", "--to", "csv")
    assert ran.status == 2 and "takes no --with" in ran.err
    assert run("export", "compare", "--to", "csv").status == 2
