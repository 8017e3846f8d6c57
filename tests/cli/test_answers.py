"""The answering commands: their documents, field by field, and their lines."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

import cellmon

STREAM = {
    "spindle": "S1",
    "bore": "2",
    "feature": "diameter",
    "fixture": None,
    "part_of": "itself",
    "part_number": "HM-214",
    "like": None,
}
# The names below are the agreement with other programs: the JSON section of the documentation of commands.
STATE_STREAM = (
    "stream bores subgroups mean_um sd_within_um sd_total_um baseline status open_signals "
    "drift_um_per_100_bores bores_to_limit planned_dressing advice running why_not"
)
SHIFT_STREAM = "stream shift bores mean_um previous_mean_um moved_um subgroups signals why_not"
SUBGROUP = "first_part last_part at n mean_um range_um mean_limits range_limits beyond"
ADVICE = "what by_um why"
CAUSE = "cause weight check_first correction caution"
SIGNAL = "id stream raised_at part kind detector size_um change causes state owner age_s response why_not"
CAPABILITY = (
    "stream n model mean_um sd_within_um sd_total_um cp cpk pp ppk ppm_expected ppm_observed stable "
    "movement claim reasons why_not"
)
TAKEN = "file kind rows taken known set_aside flagged bores signals seconds"


@pytest.mark.parametrize(
    "argv",
    [
        ["state"],
        ["shifts"],
        ["signals"],
        ["signals", "7f3a"],
        ["alarms"],
        ["first-bores"],
        ["capability"],
        ["part", "B00412"],
        ["hold", "7f3a"],
        ["flags"],
        ["aside"],
        ["baseline"],
        ["baseline", "--check"],
        ["joint", "--spindle", "S2", "--bore", "3"],
        ["gauge"],
        ["check"],
        ["take", __file__],
        ["adopt", "--by", "Ada", "--why", "new drawing"],
        ["release", "7f3a", "--parts", "B1", "--as", "scrapped", "--by", "Ada", "--why", "out"],
    ],
)
def test_every_document_carries_version_moment_and_sheet(run, argv):
    ran = run(*argv, "--json")
    assert (ran.status, ran.err) == (0, "")
    assert list(ran.document)[:3] == ["cellmon", "as_of", "sheet"]
    assert ran.document["cellmon"] == cellmon.__version__
    assert ran.document["as_of"] == "2026-10-22T18:05:00+02:00"
    assert ran.document["sheet"] == 3


def test_state_document(run):
    document = run("state", "--json").document
    assert document["spindles"] == [
        {
            "spindle": "S1",
            "status": "look",
            "sentence": "Bore 2 moved up.",
            "due": [{"what": "master check of G1", "at": "2026-10-22T17:05:00+02:00", "overdue": True}],
            "part_number": "HM-214",
        }
    ]
    (one,) = document["streams"]
    assert set(one) == set(STATE_STREAM.split())
    assert one["stream"] == STREAM
    assert one["status"] == "look"
    assert one["mean_um"] == 11.6789
    assert one["drift_um_per_100_bores"] == {
        "value": -3.3148,
        "low": -3.8732,
        "high": -2.7564,
        "confidence": 0.9,
    }
    assert one["bores_to_limit"] == {"p05": 100.4, "p50": 153.0, "p95": None, "side": "lower"}
    planned = one["planned_dressing"]
    assert (planned["in_bores"], planned["from"]) == (70, "log")
    assert planned["reached_before"] == {"value": 0.0312}
    assert planned["bores_to_limit"] == {"p05": 110, "p50": 640, "p95": None, "side": "lower"}
    assert set(ADVICE.split()) <= set(one["advice"][0])
    assert (one["advice"][0]["by_um"], one["advice"][0]["caution"]) == (2.5, "A qualified person enters it.")
    assert one["why_not"] == {"sd_total_um": "one bore only"}
    assert one["baseline"] == {
        "center_um": 11.64,
        "sigma_um": 1.732,
        "n": 25,
        "frozen_at": "2026-10-22T18:05:00+02:00",
        "by": "Ada",
        "provisional": False,
        "signed_by": None,
    }


def test_shifts_document(run):
    (one,) = run("shifts", "--json").document["shifts"]
    assert set(one) == set(SHIFT_STREAM.split())
    assert one["shift"] == {
        "name": "late",
        "date": "2026-10-22",
        "starts": "2026-10-22T14:00:00+02:00",
        "ends": "2026-10-22T22:00:00+02:00",
    }
    (point,) = one["subgroups"]
    assert set(SUBGROUP.split()) <= set(point)
    assert point["mean_limits"] == {"lower": 9.3, "center": 11.6, "upper": 13.9}
    assert point["range_limits"] is None


def test_signals_document(run):
    document = run("signals", "--json").document
    assert document["caution"] == "Advice only; qualified people come first."
    first, wide, answered, gone = document["signals"]
    assert set(SIGNAL.split()) <= set(first)
    assert first["change"] == {
        "at": "2026-10-22T17:45:00+02:00",
        "part": "B00409",
        "earliest_at": "2026-10-22T17:34:00+02:00",
        "earliest_part": "B00407",
        "latest_at": "2026-10-22T17:57:00+02:00",
        "latest_part": "B00411",
    }
    assert [(c["cause"], c["weight"]) for c in first["causes"]] == [
        ("wrong-offset", 0.634),
        ("expander-slip", 0.072),
    ]
    assert all(set(CAUSE.split()) <= set(c) for c in first["causes"])
    assert first["streams"][1] == STREAM
    assert (wide["size_um"], wide["ratio"]) == (None, 1.63)
    assert (gone["change"], gone["why_not"]) == (None, {"change": "withdrawn"})
    assert [s["state"] for s in document["signals"]] == ["open", "reopened", "answered", "withdrawn"]
    assert answered["response"]["cause"] == "chip"
    only = run("signals", "--open", "--json").document["signals"]
    assert [s["id"] for s in only] == ["7f3a", "bbbb"]
    (one,) = run("signals", "7f3a", "--json").document["signals"]
    assert one == first


def test_alarms_document(run):
    document = run("alarms", "--json").document
    assert document["budget"]["expected_per_week"] == 1.98
    assert document["budget"]["rules"][0]["name"] == "eight-1984"
    assert document["families"][0]["detectors"][0] == {
        "detector": "level",
        "run_length": 38678.4,
        "limits": [22.264, 10.047, 3.937],
    }
    assert document["why_not"] == {"planned": "nothing is planned"}


def test_first_bores_document(run):
    one, two = run("first-bores", "--json").document["checks"]
    assert (one["verdict"], one["released_by"], two["released_by"]) == ("correct", None, "Ada")
    position = one["positions"][0]
    assert (position["by_um"], position["more"], position["probability"]) == (-2.5, 3, 0.9499)
    assert position["verdicts"] == ["conforms", "undecided"]


def test_hold_document(run):
    document = run("hold", "7f3a", "--json").document
    assert (document["signal"], document["from_part"], document["to_part"]) == ("7f3a", "B00412", "B00413")
    assert document["parts"][0] == {
        "part": "B00412",
        "bore": "2",
        "measured_at": "2026-10-22T18:05:00+02:00",
        "verdict": "does not conform",
        "disposition": None,
    }


def test_capability_document_has_null_for_what_is_no_number(run):
    (one,) = run("capability", "--json").document["capability"]
    assert set(CAPABILITY.split()) <= set(one)
    assert one["cp"] == {"value": 2.312, "low": 2.27, "high": 2.354, "confidence": 0.95}
    assert one["ppk"]["value"] is None
    assert (one["pp"], one["stable"], one["claim"]) == (None, False, "not supported")


def test_part_document_has_null_for_a_reading_not_taken(run):
    (one,) = run("part", "B00412", "--json").document["measurements"]
    assert one["um"] == [[11.25, 9.0], [None, 10.0], [12.0, 8.0]]
    assert one["flags"] == ["single-reading"]


def test_take_document(run):
    (one,) = run("take", __file__, "--json").document["files"]
    assert set(TAKEN.split()) <= set(one)


def test_state_lines(run):
    lines = run("state").out.splitlines()
    assert lines[0] == "Look at S1."
    assert "S1: look. Bore 2 moved up." in lines
    assert "    due: master check of G1, 2026-10-22 17:05+02:00 (overdue)" in lines
    (row,) = [line for line in lines if line.startswith("S1 bore 2 diameter")]
    assert re.split(r"  +", row)[1:] == [
        "look",
        "5,685",
        "+11.7",
        "-3.3 (-3.9 to -2.8)",
        "150 (100 to far) lower",
        "1",
        "1.73",
        "-",
        "+11.6",
        "1.73",
        "frozen by Ada",
    ]
    ahead = lines.index("Bores to the next dressing, and to a limit if dressed as planned:")
    assert lines[ahead + 1] == (
        "  S1 bore 2 diameter: next in 70 (log), a limit before it 3.1 %; then 640 (110 to far) lower"
    )
    told = lines.index("Corrections of size (um of diameter, + is larger):")
    assert lines[told + 1] == "A qualified person enters it."
    assert lines[told + 2] == "  S1 bore 2 diameter: correct by +2.5 um. The level is 1.5 µm below target."
    assert "2.0 false alarms a week are expected of all detectors together." in lines
    assert lines[-1] == "not known: sd_total_um: one bore only"


def test_signals_lines_show_the_newest(run):
    lines = run("signals", "--last", "1").out.splitlines()
    assert lines[0] == "2 signals of 3 wait for an answer. 1 withdrawn one not shown; --all shows it."
    (row,) = [line for line in lines if line.startswith("7f3a")]
    assert re.split(r"  +", row)[1:] == [
        "open",
        "S1 diameter",
        "level",
        "+8.7 um",
        "2026-10-22 17:45+02:00 (17:34 to 17:57)",
        "Wrong offset entered (0.63)",
        "2026-10-22 18:10+02:00, still",
        "2026-10-22 18:05+02:00",
        "5 h",
        "-",
    ]
    assert "These are the newest 1 of 3; --last 0 shows all." in lines
    assert "Advice only; qualified people come first." in lines
    assert "cellmon respond 7f3a" in lines[-1]
    assert "newest" not in run("signals", "--last", "0").out


def test_withdrawn_signals_are_shown_when_asked_for(run):
    assert "cccc" not in run("signals").out
    out = run("signals", "--all").out
    assert "cccc" in out and "not shown" not in out
    assert re.search(r"bbbb +reopened .* spread +x 1\.6 .* 2026-10-22 17:05\+02:00, over", out)


def test_one_signal_in_full_gives_causes_what_to_check_first_and_the_caution(run):
    lines = run("signals", "7f3a").out.splitlines()
    assert lines[0] == "7f3a: S1 diameter: moved up by 8.7 µm."
    assert lines[1] == "Advice only; qualified people come first."
    facts = {line[:9].strip(): line[11:] for line in lines if line and line[9:11] == "  "}
    assert facts["since"] == "2026-10-22 17:45+02:00 (17:34 to 17:57)"
    assert facts["in parts"] == "from B00409; at the earliest B00407, at the latest B00411"
    assert facts["called by"] == "2 streams: S1 diameter; S1 bore 2 diameter"
    assert facts["reaction"] == "Stop, measure again."
    first = lines.index("1. Wrong offset entered (0.63)")
    assert [line.split()[0] for line in lines[first + 1 : first + 5]] == [
        "why",
        "check",
        "correction",
        "caution",
    ]
    assert lines[first + 4].endswith("Hold all parts since the entry.")
    assert lines.index("2. Expander slipped (0.07)") > first
    assert "Parts to contain: cellmon hold 7f3a" in lines
    wide = run("signals", "bbbb").out
    assert "not known: causes: no row of the table of causes fits what moved" in wide
    answered = run("signals", "aaaa").out
    assert "chip: new stones (Ada)" in answered and "Answer it" not in answered


def test_long_cautions_are_wrapped_to_the_terminal_not_cut(monkeypatch, run):
    monkeypatch.setattr("cellmon.cli.showing.terminal_width", lambda: 60)
    lines = run("signals", "7f3a").out.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("   why"))
    assert all(len(line) <= 60 for line in lines[start : start + 2])
    assert "before." in lines[start + 1]


def test_alarms_lines_price_each_rule_set(run):
    lines = run("alarms").out.splitlines()
    assert lines[0] == "2.0 false alarms a week are expected of all detectors together."
    assert lines[1] == "Wanted on the sheet: 2 a week. 50 streams make 56,880 subgroups a week, as planned."
    (row,) = [line for line in lines if line.startswith("diameter")]
    assert re.split(r"  +", row) == [
        "diameter",
        "each bore",
        "S1, S2",
        "4",
        "4,550",
        "0.21",
        "38,678",
        "-",
        "154,714",
        "22.26 10.05 3.94",
        "-",
        "4.84",
        "HM-214",
    ]
    (rule,) = [line for line in lines if line.startswith("eight-1984")]
    assert re.split(r"  +", rule) == ["eight-1984", "the eight tests of 1984", "73", "248", "yes"]
    assert lines[-1] == "not known: planned: nothing is planned"


def test_shifts_lines(run):
    lines = run("shifts", "--feature", "diameter", "--shift", "2026-10-22/late").out.splitlines()
    assert lines[0] == "One stream moved."
    (row,) = [line for line in lines if line.startswith("S1 bore 2 diameter  ") and "7f3a" in line]
    assert row.split()[4:] == ["320", "+12.5", "+11.5", "+1.0", "(+0.4", "to", "+1.6)", "1", "1", "7f3a"]
    assert any("B00412 to B00416" in line and "+9.3 to +13.9" in line for line in lines)


def test_capability_lines_put_the_interval_beside_the_value(run):
    out = run("capability").out
    assert "2.31 (2.27 to 2.35)" in out
    assert "under 0.01" in out
    assert "S1 bore 2 diameter: an open signal" in out


def test_part_lines_show_every_reading(run):
    out = run("part", "B00412").out
    assert "top x" in out
    assert "+11.2" in out
    assert "single-reading" in out
    assert "disposition: released by Ada, " in out and "for 7f3a: measured again" in out


def test_options_reach_the_monitor(run, monitor):
    run("shifts", "--feature", "taper", "--shift", "2026-10-22/late", "--cell", "there")
    assert monitor.calls[0][1] == ("there",)
    assert monitor.calls[-1] == ("shifts", (), {"feature": "taper", "shift": "2026-10-22/late"})
    run("capability", "--spindle", "S1", "--since", "2026-10-22T06:00", "--until", "2026-10-22T14:00Z")
    assert monitor.calls[-1][2] == {
        "spindle": "S1",
        "bore": None,
        "feature": None,
        "since": datetime(2026, 10, 22, 4, tzinfo=UTC),
        "until": datetime(2026, 10, 22, 14, tzinfo=UTC),
    }


def test_as_of_without_an_offset_is_the_cells_own_time(run, monitor):
    run("state", "--as-of", "2026-10-22T18:05")
    assert monitor.calls[-2][2]["as_of"] == datetime(2026, 10, 22, 16, 5, tzinfo=UTC)
    run("state", "--as-of", "2026-10-25T02:30+01:00")
    assert monitor.calls[-2][2]["as_of"] == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_the_environment_names_the_cell(run, monitor, monkeypatch):
    monkeypatch.setenv("CELLMON_CELL", "elsewhere")
    run("state")
    assert monitor.calls[0][1] == ("elsewhere",)
    run("state", "--cell", "here")
    assert monitor.calls[-2][1] == ("here",)


JOINT = (
    "sentence part_number spindle bore since until zone shifts features baseline baseline_subgroups "
    "t_squared_limit mewma_limit weight run_length false_alarms_per_week promise points left_out beyond "
    "caution why_not"
)
BEYOND = "chart first_at first_part last_at last_part points at part value contributions words"
TRUST = (
    "stream sentence subgroups n mean_limits range_limits promised range_promised step_um departures why_not"
)
DEPARTURE = (
    "name words one_in low high range_one_in lower_um upper_um range_upper_um matters"  # docs/commands.md
)


def test_joint_document(run, monitor):
    document = run("joint", "--spindle", "S2", "--bore", "3", "--since", "2026-10-21", "--json").document
    name, _, asked = monitor.calls[-1]
    assert (name, asked["spindle"], asked["bore"], asked["until"]) == ("joint", "S2", "3", None)
    assert asked["since"].isoformat() == "2026-10-21T00:00:00+02:00"
    assert set(document) == {"cellmon", "as_of", "sheet", *JOINT.split()}
    assert set(document["beyond"][0]) == set(BEYOND.split())
    assert document["beyond"][0]["contributions"][0]["feature"] == "taper"
    points = document["points"]
    assert len(points["t_squared"]) == len(points["deviation"]) == len(points["at"]) == 40
    assert [f["feature"] for f in document["features"]] == ["diameter", "taper"]


def test_joint_lines_name_the_features_and_the_price(run):
    out = run("joint", "--spindle", "S2", "--bore", "3").out
    for words in (
        "once in about 47,000 subgroups",
        "taper up",
        "taper 9.0 standard errors above its centre",
        "T-squared 22.1, MEWMA (weight 0.2) 23.9, from 99 subgroups (frozen by Ada)",
        "2 subgroups with doubted or missing readings are left out",
        "raises no signal",
    ):
        assert words in out
    assert re.search(r"size +1\.73 +1\.00 +-0\.11", out)


def test_joint_needs_a_bore(run):
    assert run("joint", "--spindle", "S2").status == 2


def test_trust_document(run, monitor):
    document = run("baseline", "--check", "--feature", "diameter", "--json").document
    assert monitor.calls[-1] == ("trust", (), {"spindle": None, "bore": None, "feature": "diameter"})
    one = document["streams"][0]
    assert set(one) == set(TRUST.split())
    assert [set(d) for d in one["departures"]] == [set(DEPARTURE.split())] * 2
    assert one["departures"][1]["range_one_in"] is None and "skew" in one["why_not"]


def test_trust_lines_say_what_is_kept_and_what_would_keep_it(run):
    out = run("baseline", "--check").out
    assert re.search(r"S1 bore 2 diameter +25 +247 +33 +- +- +100 to 1,145 +217 +150", out)
    assert re.search(r"\+9\.32 to \+13\.96 +\+9\.21 to \+14\.07 +\+8\.40 to \+14\.90", out)
    assert "neighbours correlate by 0.31" in out and "not known: skew: values above nought" in out


def test_limits_are_not_looked_at_and_frozen_at_once(run):
    ran = run("baseline", "--check", "--freeze", "--all", "--by", "Ada", "--why", "x")
    assert ran.status == 2 and "leave out one" in ran.err


def test_check_lines_propose_a_split_with_what_to_write(run):
    ran = run("check")
    assert "split: S1 bore 2 diameter: parts on fixture P2 lie 1.20 sigma (0.80 to 1.60) above" in ran.out
    assert "If it is to stay: write `by_fixture = true` under [features.diameter]." in ran.out
    assert "splits: order not asked everywhere: one order only" in ran.out
    told = run("check", "--json").document["splits"]
    assert (told["asked"], told["unasked"], told["why_not"]) == (12, 1, {"order": "one order only"})
    assert told["proposed"][0]["effect_sigma"] == {"value": 1.2, "low": 0.8, "high": 1.6, "confidence": 0.95}
