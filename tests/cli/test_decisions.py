"""Commands by which a person decides: what reaches the monitor, and what is said."""

from __future__ import annotations

import pytest

WHO = ["--by", "Ada", "--why", "measured again"]


def test_respond_answers(run, monitor):
    ran = run("respond", "7f3a", "--cause", "chip", "--action", "new stones", "--by", "Ada")
    assert ran.status == 0
    options = {"by": "Ada", "cause": "chip", "action": "new stones", "seen": False}
    assert monitor.calls[-1] == ("respond", ("7f3a",), options)
    assert ran.out == "Signal 7f3a (S1 diameter: moved up by 8.7 µm) answered by Ada; it is answered.\n"


def test_respond_acknowledges(run, monitor):
    run("respond", "7f3a", "--seen", "--by", "Ada")
    assert monitor.calls[-1][2] == {"by": "Ada", "cause": None, "action": None, "seen": True}


@pytest.mark.parametrize(("option", "accept"), [("--accept", True), ("--keep", False)])
def test_correct(run, monitor, option, accept):
    assert run("correct", "f1", option, *WHO).status == 0
    assert monitor.calls[-1] == ("correct", ("f1",), {"accept": accept, "by": "Ada", "why": "measured again"})


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
    assert options == {"by": "Ada", "why": "measured again", "spindle": None, "bore": None, "feature": None}
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
    assert monitor.calls[-1] == ("release_setup", ("S1",), {"by": "Ada", "why": "measured again"})
