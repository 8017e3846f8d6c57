"""Commands by which a person decides: what reaches the monitor, and what is said."""

from __future__ import annotations

import pytest

WHO = ["--by", "Ada", "--why", "measured again"]


def test_respond_answers(run, monitor):
    ran = run("respond", "7f3a", "--cause", "chip", "--action", "new stones", "--by", "Ada")
    assert ran.status == 0
    options = {"by": "Ada", "cause": "chip", "action": "new stones", "seen": False}
    assert monitor.calls[-1] == ("respond", ("7f3a",), options)
    assert ran.out == "Signal 7f3a (mean above its upper limit) answered by Ada; it is answered.\n"


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
