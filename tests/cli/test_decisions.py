"""Commands by which a person decides: what reaches the monitor, and what is said."""

from __future__ import annotations

import pytest

from cellmon.cli.main import main
from tests.small_cell import HEADER, new_cell, rows, write

WHO = ["--by", "Ada", "--why", "measured again"]
SAID = {"by": "Ada", "why": "measured again", "knew": 0}
"""What reaches the monitor of these words; a command knows of no decision unless it says `--again`."""


def test_respond_answers(run, monitor):
    ran = run("respond", "7f3a", "--cause", "chip", "--action", "new stones", "--by", "Ada")
    assert ran.status == 0
    options = {"by": "Ada", "cause": "chip", "action": "new stones", "seen": False, "knew": 0}
    assert monitor.calls[-1] == ("respond", ("7f3a",), options)
    assert ran.out == "Signal 7f3a (S1 diameter: moved up by 8.7 µm) answered by Ada; it is answered.\n"


def test_respond_acknowledges(run, monitor):
    run("respond", "7f3a", "--seen", "--by", "Ada")
    assert monitor.calls[-1][2] == {"by": "Ada", "cause": None, "action": None, "seen": True, "knew": 0}


@pytest.mark.parametrize(("option", "accept"), [("--accept", True), ("--keep", False)])
def test_correct(run, monitor, option, accept):
    assert run("correct", "f1", option, *WHO).status == 0
    assert monitor.calls[-1] == ("correct", ("f1",), {**SAID, "accept": accept, "alike": False})


def test_release_names_its_parts(run, monitor):
    ran = run("release", "7f3a", "--parts", "B1", "B2", "--as", "concession", *WHO)
    assert ran.status == 0
    assert monitor.calls[-1][2]["parts"] == ["B1", "B2"]
    assert monitor.calls[-1][2]["as_"] == "concession"


def test_release_all_leaves_out_what_is_decided(run, monitor):
    run("release", "7f3a", "--all", "--as", "released", *WHO)
    assert monitor.calls[-1][2]["parts"] == ["B00412"]


def test_hold_lines(run):
    lines = run("hold", "7f3a").out.splitlines()
    assert lines[0] == ("Signal 7f3a: contain 2 parts from B00412 to B00413; 1 still without a disposition.")
    assert lines[1] == "Bores: 1 does not conform, 1 conforms."
    assert lines[2] == "Measure again."


def test_freeze(run, monitor):
    run("baseline", "--freeze", "--all", *WHO)
    name, _, options = monitor.calls[-1]
    assert name == "freeze"
    assert options == {**SAID, "spindle": None, "bore": None, "feature": None}
    run("baseline", "--freeze", "--spindle", "S1", "--feature", "taper", *WHO)
    assert (monitor.calls[-1][2]["spindle"], monitor.calls[-1][2]["feature"]) == ("S1", "taper")


def test_baseline_shows_without_freezing(run, monitor):
    out = run("baseline", "--bore", "2").out
    assert monitor.calls[-1][0] == "baselines"
    assert out.splitlines()[0] == "0 of 1 stream have frozen limits."
    assert "+11.6" in out


def test_check_ends_with_1_when_the_store_is_not_sound(run, monitor):
    ran = run("check")
    assert ran.status == 0
    assert "would change features.taper.upper" in ran.out
    assert "switched off: planning" in ran.out
    monitor.sound = False
    assert run("check", "--rebuild").status == 1
    assert monitor.calls[-1][2] == {"rebuild": True}


def test_first_bores_shows_what_is_advised_for_each_position(run, monitor):
    lines = run("first-bores").out.splitlines()
    assert monitor.calls[-1] == ("first_bores", (), {})
    assert "S1, first bores after stones fitted: correct by -2.5 µm, then measure 3 more." in lines
    assert "    A qualified person releases the set-up." in lines
    assert "    changed 2026-10-22 17:53+02:00" in lines
    rows = {line[0]: line for line in lines if line[:3] in ("1  ", "2  ", "3  ", "4  ")}
    assert "correct by -2.5 um, measure 3 more" in rows["1"]
    assert "94.9 %" in rows["1"], "never rounded up to the 95 that releases"
    assert "1 of 2" in rows["1"] and "+14.9 +15.1" in rows["1"] and "+11.9 +12.1 +12.0" in rows["1"]
    assert "cannot tell yet: 2 more" in rows["2"]
    assert "cannot tell yet  " in rows["3"] and "more" not in rows["3"]
    assert rows["4"].split()[1] == "run"
    assert "    released 2026-10-22 16:05+02:00 by Ada: three bores inside; the bores say: run" in lines
    assert lines[-1] == "Release one: cellmon first-bores --release S1 --by NAME --why TEXT"


def test_a_release_is_signed(run, monitor):
    assert run("first-bores", "--release", "S1", *WHO).status == 0
    assert monitor.calls[-1] == ("release_setup", ("S1",), SAID)


@pytest.mark.parametrize(
    ("command", "name"),
    [
        (["correct", "f1", "--keep"], "correct"),
        (["release", "7f3a", "--parts", "B1", "--as", "released"], "release"),
        (["baseline", "--freeze", "--all"], "freeze"),
        (["first-bores", "--release", "S1"], "release_setup"),
    ],
)
def test_what_was_decided_already_is_decided_anew_where_a_command_says_so(run, monitor, command, name):
    assert run(*command, "--again", *WHO).status == 0
    assert monitor.calls[-1][0] == name and monitor.calls[-1][2]["knew"] is None


def test_a_command_says_who_decided_a_doubt_already_and_how_it_is_decided_anew(tmp_path, capsys):
    cell = new_cell(tmp_path / "cell")
    lines = [r.replace(",1,S1,", ",1,S2,") if r.startswith("B0020") else r for r in rows(30)]
    cell.take([write(tmp_path, "rows.csv", HEADER, lines)])
    doubt, here = cell.flags().flags[0].id, ["--cell", str(cell.folder)]
    cell.correct(doubt, accept=False, by="B. Ito", why="measured again")
    cell.close()
    assert main(["correct", doubt, "--accept", *WHO, *here]) == 2
    said = capsys.readouterr().err
    assert "B. Ito decided this already" in said and "measured again" in said and "--again" in said
    assert main(["correct", doubt, "--accept", "--again", *WHO, *here]) == 0
    assert "accepted by Ada" in capsys.readouterr().out
