"""Files, rows set aside and doubts from the command line, on a small cell."""

from __future__ import annotations

import json

import pytest

from cellmon.cli.main import main
from tests.small_cell import EVENTS, HEADER, new_cell, rows, write

GOOD = "B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010"
BAD = "B1,1,S1,2026-03-02T05:00:00Z,top,y,50.O012"
MENDED = "B1,1,S1,2026-03-02T05:00:00Z,top,y,50.0012"
WHO = ("--by", "R. Hale", "--why", "an O for a 0")


@pytest.fixture
def run(tmp_path, capsys):
    """Return a function that runs a command on a small cell with one row set aside."""
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, [GOOD, BAD])])
    monitor.close()

    def run_(*argv: str):
        capsys.readouterr()
        status = main([*argv, "--cell", str(tmp_path / "cell")])
        said = capsys.readouterr()
        return status, said.out, said.err

    return run_


def test_files_says_what_came_and_what_waits(run):
    status, out, _ = run("files")
    assert status == 0
    assert out.splitlines()[0].endswith("a.csv, 2 rows. 1 row set aside waits.")
    assert [w for w in out.splitlines()[4].split() if w.isdecimal()] == ["2", "1", "0", "1", "1", "0"]


def test_the_document_of_files_has_every_field(run):
    status, out, _ = run("files", "--json")
    found = json.loads(out)
    assert (status, found["total"], found["waiting"], found["doubts"]) == (0, 1, {"not-a-number": 1}, {})
    (one,) = found["files"]
    assert (one["file"], one["kind"], one["rows"], one["taken"], one["set_aside"], one["waiting"]) == (
        "a.csv",
        "readings",
        2,
        1,
        1,
        1,
    )


def test_a_row_is_taken_as_a_person_wrote_it_and_again_changes_nothing(run):
    for told in ("1 taken", "1 taken"):
        status, out, _ = run("aside", "--take", "a.csv:3", "--text", MENDED, *WHO)
        assert (status, told in out) == (0, True)
        assert "a.csv, line 3 corrected" in out
    rows_ = json.loads(run("aside", "--json")[1])["rows"]
    assert [(r["state"], r["text"], r["corrected"]["text"]) for r in rows_] == [("taken", BAD, MENDED)]
    assert len(json.loads(run("files", "--json")[1])["files"]) == 2


def test_a_row_that_still_cannot_be_used_ends_with_status_3_and_one_sentence(run):
    status, out, err = run("aside", "--take", "a.csv:3", "--text", BAD, *WHO)
    assert (status, out) == (3, "")
    assert err == (
        "cellmon: line 3 of a.csv cannot be used so: A number was expected, or its comma can be read two "
        "ways. Nothing was taken.\n"
    )


@pytest.mark.parametrize(
    "argv",
    [
        ("--take", "a.csv:3"),
        ("--take", "a.csv:3", "--text", MENDED),
        ("--take", "a.csv:3", "--text", MENDED, "--by", "R. Hale"),
        ("--text", MENDED),
        ("--unit", "in"),
        ("--by", "R. Hale"),
        ("--retry", "--take", "a.csv:3", "--text", MENDED, *WHO),
    ],
)
def test_half_a_correction_is_wrong_usage(run, argv):
    status, out, err = run("aside", *argv)
    assert (status, out) == (2, "") and err.startswith("cellmon: ")


def test_doubts_alike_are_decided_with_one_command(run, tmp_path):
    lines = [r.replace(",S1,", ",S2,") if r[:5] in ("B0003", "B0004") else r for r in rows(6)]
    run("take", str(write(tmp_path, "b.csv", HEADER, lines)))
    waiting = json.loads(run("flags", "--open", "--json")[1])["flags"]
    assert len(waiting) == 2
    status, out, _ = run("correct", waiting[0]["id"], "--keep", "--alike", *WHO)
    assert (status, "So was 1 more like it." in out) == (0, True)
    assert json.loads(run("flags", "--open", "--json")[1])["flags"] == []


def test_baseline_says_which_frozen_limits_are_older_than_a_change(run, tmp_path):
    run("take", str(write(tmp_path, "b.csv", HEADER, rows(80))))
    run("baseline", "--freeze", "--all", *WHO)
    assert "limits:" not in run("baseline")[1]
    late = "2026-03-02T18:00:00Z,setup-changed,S1,,"
    run("take", str(write(tmp_path, "log.csv", EVENTS, [late])))
    said = [line for line in run("baseline")[1].splitlines() if line.startswith("limits: ")]
    assert len(said) == 1 and "S1 bore 1 diameter" in said[0] and "S2 bore 2 taper" not in said[0]
    assert "set-up of S1 changed Mon 2 Mar 19:00" in said[0]
    found = json.loads(run("baseline", "--json")[1])["baselines"]
    ages = {(b["stream"]["spindle"], b["stream"]["feature"]): b["limits_age"] for b in found}
    assert ages["S1", "taper"]["changes"][0]["what"] == "setup-changed"
    assert ages["S2", "taper"] is None
