"""The answering commands: their documents, field by field, and their lines."""

from __future__ import annotations

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
}
# The names below are the agreement with other programs: the JSON section of the documentation of commands.
STATE_STREAM = (
    "stream bores subgroups mean_um sd_within_um sd_total_um baseline status open_signals "
    "drift_um_per_100_bores bores_to_limit advice why_not"
)
SHIFT_STREAM = "stream shift bores mean_um previous_mean_um subgroups signals why_not"
SUBGROUP = "first_part last_part at n mean_um range_um mean_limits range_limits beyond"
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
        ["capability"],
        ["part", "B00412"],
        ["hold", "7f3a"],
        ["flags"],
        ["aside"],
        ["baseline"],
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
        }
    ]
    (one,) = document["streams"]
    assert set(one) == set(STATE_STREAM.split())
    assert one["stream"] == STREAM
    assert one["status"] == "look"
    assert one["mean_um"] == 11.6789
    assert one["bores_to_limit"] is None
    assert one["why_not"] == {"bores_to_limit": "forecasts are not made yet"}
    assert one["baseline"] == {
        "center_um": 11.64,
        "sigma_um": 1.732,
        "n": 25,
        "frozen_at": "2026-10-22T18:05:00+02:00",
        "by": "Ada",
        "provisional": False,
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
    first, second = run("signals", "--json").document["signals"]
    assert set(SIGNAL.split()) <= set(first)
    assert first["change"] is None
    assert first["why_not"] == {"change": "no change point method yet"}
    assert (first["state"], second["state"]) == ("open", "answered")
    only = run("signals", "--open", "--json").document["signals"]
    assert [s["id"] for s in only] == ["7f3a"]


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
    assert row.split()[4:] == [
        "look",
        "5,685",
        "+11.7",
        "1.73",
        "-",
        "+11.6",
        "1.73",
        "frozen",
        "by",
        "Ada",
        "1",
    ]
    assert lines[-1] == "not known: bores_to_limit: forecasts are not made yet"
    assert any("about 120 false alarms a week" in line for line in lines)


def test_signals_lines_show_the_newest(run):
    lines = run("signals", "--last", "1").out.splitlines()
    assert lines[0] == "1 signal of 2 waits for an answer."
    assert sum("mean above its upper limit" in line for line in lines) == 1
    assert "These are the newest 1 of 2; --last 0 shows all." in lines
    assert "cellmon respond 7f3a" in lines[-1]
    assert "newest" not in run("signals", "--last", "0").out


def test_shifts_lines(run):
    lines = run("shifts", "--feature", "diameter", "--shift", "2026-10-22/late").out.splitlines()
    assert lines[0] == "One stream moved."
    (row,) = [line for line in lines if line.startswith("S1 bore 2 diameter  ") and "7f3a" in line]
    assert row.split()[4:] == ["320", "+12.5", "+11.5", "+1.0", "1", "1", "7f3a"]
    assert any("B00412 to B00416" in line and "+9.3 to +13.9" in line for line in lines)


def test_capability_lines_put_the_interval_beside_the_value(run):
    out = run("capability").out
    assert "2.31 (2.27 to 2.35)" in out
    assert "under 0.01" in out
    assert "S1 bore 2 diameter: an open signal" in out


def test_part_lines_show_every_reading(run):
    out = run("part", "B00412").out
    assert "top x" in out
    assert "+11.2" in out or "+11.3" in out
    assert "single-reading" in out
    assert "disposition: as released, by Ada" in out


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
