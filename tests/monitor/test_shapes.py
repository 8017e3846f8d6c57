"""Sheets of other shapes: gauges, fixtures, planes, directions, sequence, no shifts."""

from __future__ import annotations

import numpy as np
import pytest

from tests.monitor.test_judging import bore_rows
from tests.small_cell import EVENTS, HEADER, SHEET, new_cell, rows, write

SECOND_GAUGE = """
[[gauges]]
id = "G2"
unit = "mm"
resolution_um = 1.0
uncertainty_reading_um = 0.9
use = "{use}"
"""


def gauged(lines, gauge):
    return [f"{r},{gauge}" for r in lines]


@pytest.mark.parametrize(("use", "charted"), [("audit", [0, 1, 0]), ("streams", [1, 0, 0])])
def test_an_audit_gauge_is_kept_beside_and_another_of_the_streams_counts(tmp_path, use, charted):
    sheet = SHEET + SECOND_GAUGE.replace("{use}", use)
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    lines = gauged(bore_rows(1, "1", "2026-03-02T05:00:00Z", 3.0), "G2")
    lines += gauged(bore_rows(1, "1", "2026-03-02T05:00:30Z", 1.0), "G1")
    lines += gauged(bore_rows(1, "1", "2026-03-02T05:09:00Z", 2.0), "G2")
    monitor.take([write(tmp_path, "rows.csv", f"{HEADER},gauge", lines)])
    bores = monitor.bores().bores
    assert (bores.gauge.tolist(), bores.charted.tolist()) == (["G2", "G1", "G2"], charted)
    assert len(monitor.part("B0001").measurements) == 3, "nothing is erased"
    assert monitor.check(rebuild=True).sound


def test_bores_measured_before_finishing_are_no_points_of_a_chart(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = [f"{r},rough" for r in bore_rows(1, "1", "2026-03-02T05:00:00Z", -40.0)]
    lines += [f"{r},finish" for r in bore_rows(1, "1", "2026-03-02T06:00:00Z", 1.0)]
    monitor.take([write(tmp_path, "rows.csv", f"{HEADER},stage", lines)])
    assert monitor.bores().bores.charted.tolist() == [0, 1]


def test_a_sheet_without_shifts_cuts_by_day_and_says_so(tmp_path):
    sheet = "[[spindles]]".join(
        ["[[shifts]]".join(SHEET.split("[[shifts]]")[:1]), *SHEET.split("[[spindles]]")[1:]]
    )
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(120))])  # 05:00Z to 00:50Z, midnight is 23:00Z
    groups = monitor.stream(spindle="S1", bore="1", feature="diameter").subgroups
    # 108 blocks before local midnight: 36 whole subgroups; then 12 blocks: 4
    assert groups.n.tolist() == [3] * 40
    assert [str(s) for s in monitor.shifts().known] == ["2026-03-02/day", "2026-03-03/day"]
    assert any("[[shifts]]" in words for words in monitor.check().switched_off)


def test_subgroups_follow_the_sequence_where_it_is_given_and_the_clock_where_not(tmp_path):
    lines = []
    for i in range(12):
        at = np.datetime64("2026-03-02T05:00:00") + np.timedelta64(10, "m") * (i ^ 1)  # pairs change places
        lines += [f"{r},{i}" for r in bore_rows(i, "1", f"{at}Z", float(i % 4))]
    numbered = new_cell(tmp_path / "numbered")
    numbered.take([write(tmp_path, "a.csv", f"{HEADER},sequence", lines)])
    groups = numbered.stream(spindle="S1", bore="1", feature="diameter").subgroups
    assert groups.first_part.tolist() == ["B0000", "B0003", "B0006", "B0009"]
    assert groups.last_part.tolist() == ["B0002", "B0005", "B0008", "B0011"]
    shown = numbered.stream(spindle="S1", bore="1", feature="diameter").bores
    assert shown.part.tolist() == [f"B{i:04d}" for i in range(12)], "as they were made"
    timed = new_cell(tmp_path / "timed")
    timed.take([write(tmp_path, "b.csv", HEADER, [r.rsplit(",", 1)[0] for r in lines])])
    groups = timed.stream(spindle="S1", bore="1", feature="diameter").subgroups
    assert groups.first_part.tolist() == ["B0001", "B0002", "B0007", "B0008"]


def test_a_feature_by_fixture_has_a_stream_for_each_fixture_and_the_others_one(tmp_path):
    sheet = SHEET.replace("[features.taper]", "[features.taper]\nby_fixture = true")
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    lines = [f"{r},P{int(r[1:5]) % 2 + 1}" for r in rows(60)]
    monitor.take([write(tmp_path, "rows.csv", f"{HEADER},fixture", lines)])
    streams = {(s.bore, s.feature, s.fixture) for s in monitor.streams()}
    assert streams == {
        *((b, "diameter", None) for b in "12"),
        *((b, "taper", f) for b in "12" for f in ("P1", "P2")),
    }
    one = monitor.stream(spindle="S1", bore="1", feature="taper", fixture="P2")
    assert one.subgroups.first_part.tolist()[:2] == ["B0001", "B0007"]
    assert {int(p[1:]) % 2 for p in one.bores.part} == {1}
    counts = {
        s.stream.fixture: (s.bores, s.subgroups) for s in monitor.state().streams if s.stream.bore == "1"
    }
    assert counts == {None: (60, 20), "P1": (30, 10), "P2": (30, 10)}


def test_every_second_subgroup_is_taken_where_the_sheet_says_so(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=SHEET.replace("size = 3", "size = 3\nevery = 6"))
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(30))])
    groups = monitor.stream(spindle="S1", bore="1", feature="diameter").subgroups
    assert groups.first_part.tolist() == [f"B{i:04d}" for i in range(0, 30, 6)]
    assert groups.n.tolist() == [3] * 5
    assert len(monitor.bores().bores) == 60, "every bore is judged all the same"


def placed(sheet_planes, sheet_directions):
    sheet = SHEET.replace("{ top = 10.0, bottom = 90.0 }", sheet_planes)
    return sheet.replace("{ x = 0, y = 90 }", sheet_directions)


def test_three_directions_see_the_oval_that_two_miss(tmp_path):
    sheet = placed("{ top = 10.0, bottom = 90.0 }", "{ a = 0, b = 60, c = 120 }")
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    places = [(p, d) for p in ("top", "bottom") for d in "abc"]
    angles = np.deg2rad([0, 60, 120, 0, 60, 120])
    um = 1.0 + 3.0 * np.cos(2 * (angles - np.deg2rad(45)))  # an oval of 6 um lying at 45 degrees
    monitor.take(
        [
            write(
                tmp_path,
                "a.csv",
                HEADER,
                bore_rows(1, "1", "2026-03-02T05:00:00Z", um.round(1), places=places),
            )
        ]
    )
    features = monitor.part("B0001").measurements[0].features
    assert features["average"] == pytest.approx(1.0, abs=0.06)
    assert features["taper"] == pytest.approx(0.0, abs=0.06)
    assert features["roundness"] == pytest.approx((um.max() - um.min()) / 2, abs=0.06)


def test_one_plane_gives_no_taper_and_says_nothing_false(tmp_path):
    sheet = placed("{ middle = 50.0 }", "{ x = 0, y = 90 }")
    sheet = sheet.replace("[features.taper]\nlower = -8.0\nupper = 8.0\n", "")
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    lines = [
        row
        for i in range(40)
        for row in bore_rows(
            i,
            "1",
            f"2026-03-02T{5 + i // 6:02d}:{i % 6 * 10:02d}:00Z",
            [i % 3, i % 4],
            places=[("middle", "x"), ("middle", "y")],
        )
    ]
    monitor.take([write(tmp_path, "a.csv", HEADER, lines)])
    story = monitor.part("B0000").measurements[0]
    assert story.features["taper"] is None and story.features["average"] == 0.0
    assert {s.feature for s in monitor.streams()} == {"diameter"}
    assert monitor.check(rebuild=True).sound


def test_a_bore_with_a_place_not_read_has_no_feature_that_needs_it(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = bore_rows(1, "1", "2026-03-02T05:00:00Z", [1.0, 2.0, 3.0, 4.0])[:3]
    monitor.take([write(tmp_path, "a.csv", HEADER, lines)])
    features = monitor.part("B0001").measurements[0].features
    assert features["average"] is None and features["taper"] is None
    assert monitor.part("B0001").measurements[0].charted is False


def test_many_spindles_are_no_reason_to_lose_a_guest(tmp_path):
    """A bore on a spindle that is not its own makes a stream of its own, doubted."""
    monitor = new_cell(tmp_path / "cell")
    lines = [r.replace(",1,S1,", ",1,S2,") if r[:5] < "B0012" else r for r in rows(40)]
    events = write(tmp_path, "e.csv", EVENTS, ["2026-03-02T04:00:00Z,stones-fitted,S2,A2,0"])
    monitor.take([events, write(tmp_path, "rows.csv", HEADER, lines)])
    bores = monitor.bores().bores
    guests = bores.select((bores.bore == "1") & (bores.spindle == "S2"))
    assert len(guests) == 12 and (guests.flags != 0).all() and set(guests.stone_set) == {"A2"}
    own = monitor.stream(spindle="S1", bore="1", feature="diameter")
    assert own.subgroups.first_part[0] == "B0012"
