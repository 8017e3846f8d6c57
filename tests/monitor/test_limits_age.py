"""Frozen limits that are older than a declared change say so, and only those."""

from __future__ import annotations

import shutil

import pytest

import cellmon
from cellmon.monitor.limits_age import NEW_KIND, SHEET
from tests.small_cell import EVENTS, HEADER, new_cell, rows, write
from tests.small_cell import SHEET as TEXT

KINDS = """
[[stone_kinds]]
id = "D64"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
[[stone_kinds]]
id = "D91"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
"""
SETS = ("stone_set,kind", ["A1,D64", "A2,D64", "A3,D91", "A4,D64"])
AFTER = "2026-03-02T23:30:00Z"
BEFORE = "2026-03-02T04:00:00Z"


HEAD = f"{EVENTS},gauge,note,bores"


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """A small cell with a day of bores; tests work on copies of it, before and after a freeze."""
    folder = tmp_path_factory.mktemp("base")
    monitor = new_cell(folder / "loose", sheet=TEXT + KINDS)
    fitted = [
        "2026-03-02T03:00:00Z,stones-fitted,S1,A1,0,,,",
        "2026-03-02T03:00:00Z,stones-fitted,S2,A2,0,,,",
    ]
    monitor.take([write(folder, "sets.csv", *SETS), write(folder, "log.csv", HEAD, fitted)])
    monitor.take([write(folder, "a.csv", HEADER, rows(110))])
    monitor.close()
    shutil.copytree(folder / "loose", folder / "frozen")
    monitor = cellmon.open_cell(folder / "frozen")
    monitor.freeze(by="A. Weber", why="quiet")
    monitor.close()
    return folder


@pytest.fixture
def cell(base, tmp_path):
    """Return a function that gives a copy of the cell in which some events came later."""

    def make(*events: str, of: str = "frozen"):
        folder = tmp_path / "cell"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(base / of, folder)
        monitor = cellmon.open_cell(folder)
        if events:
            monitor.take([write(tmp_path, "later.csv", HEAD, list(events))])
        return monitor

    return make


def old(monitor):
    """Return the changes of each stream whose limits are old."""
    return {str(s): [c.what for c in one.changes] for one in monitor.limits_age().old for s in one.streams}


def test_limits_without_a_change_since_are_not_old_and_provisional_ones_never(cell):
    quiet = cell(f"{AFTER},stones-dressed,S1,,,,,", f"{AFTER},stones-fitted,S1,A4,0,,,")
    assert old(quiet) == {}
    assert quiet.limits_age().sentence == "No frozen limits are older than a declared change."
    quiet.close()
    assert old(cell(f"{AFTER},setup-changed,S1,,,,new clamp,", of="loose")) == {}


def test_a_set_up_changed_since_makes_the_limits_of_its_spindle_old(cell):
    monitor = cell(f"{AFTER},setup-changed,S1,,,,new clamp,", f"{BEFORE},setup-changed,S2,,,,old news,")
    found = old(monitor)
    assert found["S1 bore 1 diameter"] == found["S1 bore 1 taper"] == ["setup-changed"]
    assert "S2 bore 2 diameter" not in found
    words = "set-up of S1 changed Tue 3 Mar 00:30 (new clamp)"
    assert words in monitor.limits_age().old[0].sentence
    by_stream = {str(b.stream): b.limits_age for b in monitor.baselines().baselines}
    assert by_stream["S2 bore 2 diameter"] is None
    assert [c.words for c in by_stream["S1 bore 1 diameter"].changes] == [words]
    assert monitor.stream(spindle="S1", bore="1", feature="diameter").limits_age is not None
    assert monitor.stream(spindle="S2", bore="2", feature="diameter").limits_age is None


def test_another_zero_bears_on_sizes_alone_and_is_counted(cell):
    at = (("10", -1.5), ("20", 0.5))
    found = old(monitor := cell(*(f"2026-03-02T23:{m}:00Z,gauge-zeroed,,,{v},G1,," for m, v in at)))
    assert found["S1 bore 1 diameter"] == found["S2 bore 2 diameter"] == ["gauge-zeroed"]
    assert not any("taper" in name or "distance" in name for name in found)
    assert "2 times, the last +0.5 µm Tue 3 Mar 00:20" in monitor.limits_age().old[0].sentence


def test_stones_of_another_kind_make_limits_old_and_the_same_kind_does_not(cell):
    monitor = cell(f"{AFTER},stones-fitted,S2,A3,0,,,", f"{AFTER},stones-fitted,S1,A4,0,,,")
    found = old(monitor)
    assert found["S2 bore 2 diameter"] == [NEW_KIND]
    assert "S1 bore 1 diameter" not in found
    assert "S2 fitted with stones D91 instead of D64" in str(monitor.limits_age().old)


def test_an_adopted_sheet_that_judges_otherwise_makes_limits_old(cell, tmp_path):
    monitor = cell()
    file = tmp_path / "cell" / "cell.toml"
    file.write_text(file.read_text().replace("upper = 50.010", "upper = 50.012"), encoding="utf-8")
    monitor.adopt(by="A. Weber", why="drawing B")
    assert old(monitor)["S1 bore 1 diameter"] == [SHEET]
    assert "(parts)" in monitor.limits_age().old[0].sentence


@pytest.mark.parametrize(("bores", "is_old"), [("1 2", True), ("", False)])
def test_a_spindle_that_hones_other_bores_has_old_limits_until_it_is_back(cell, bores, is_old):
    monitor = cell(
        "2026-03-02T23:10:00Z,rerouted,S1,,,,,1 2", f"2026-03-02T23:20:00Z,rerouted,S1,,,,,{bores}"
    )
    assert ("S1 bore 1 diameter" in old(monitor)) is is_old


def test_a_new_freeze_ends_it(cell, tmp_path):
    monitor = cell(f"{AFTER},setup-changed,S1,,,,new clamp,")
    later = [
        r.replace("2026-03-02", "2026-03-04").replace("2026-03-03", "2026-03-05") for r in rows(110, seed=9)
    ]
    monitor.take([write(tmp_path, "b.csv", HEADER, [r.replace("B0", "C0") for r in later])])
    assert "S1 bore 1 taper" in old(monitor)
    monitor.freeze(by="A. Weber", why="new clamp")
    assert "S1 bore 1 taper" not in old(monitor)
    assert {str(b.stream): b.limits_age for b in monitor.baselines().baselines}["S1 bore 1 taper"] is None
