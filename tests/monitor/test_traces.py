"""The form of traced bores: judged by the sheet, counted once, beside what the two-point gauge saw."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

import cellmon
from cellmon.cli.main import main
from cellmon.errors import NotFound
from cellmon.export.documents import as_json, document
from cellmon.records import Verdict
from tests.small_cell import HEADER, SHEET, new_cell, write

TRACED = SHEET.replace(
    "[measuring]",
    """[features.roundness_trace]
upper = 5.0
filter_upr = 15
[features.cylindricity]
upper = 6.0
reference = "minimum-zone"
filter_upr = 15
[measuring]""",
).replace(
    "[alarms]" if "[alarms]" in SHEET else "[subgroups]",
    """[[gauges]]
id = "R1"
unit = "um"
uncertainty_reading_um = 0.2
[subgroups]""",
)
AT = "2026-03-02T10:00:00Z"
TURN = np.arange(0.0, 360.0, 2.0)
POINTS = "part,bore,plane,angle_deg,radius_um,at,gauge"
FIGURES = "part,bore,characteristic,value,at,unit,gauge"


def lines(um_of, *, part="B1", bore="1", planes=("top", "bottom"), at=AT, keep=None, gauge="R1"):
    kept = TURN if keep is None else TURN[keep]
    return [
        f"{part},{bore},{plane},{angle:g},{um_of(np.radians(angle)):.4f},{at},{gauge}"
        for plane in planes
        for angle in kept
    ]


def three_lobes(turn):
    return 3.5 * np.cos(3 * turn)


def sizes(part="B1", bore="1", um=(0.0, 0.4)):
    return [
        f"{part},{bore},S{bore},{AT},{plane},{direction},{50 + v / 1000:.4f}"
        for plane in ("top", "bottom")
        for direction, v in zip(("x", "y"), um, strict=True)
    ]


@pytest.fixture
def cell(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=TRACED)
    yield monitor
    monitor.close()


def take(monitor, tmp_path, header, rows, name="traces.csv"):
    taken = monitor.take([write(tmp_path, name, header, rows)])
    assert not taken.files[0].set_aside
    return taken


def test_three_lobes_are_judged_by_the_trace_and_missed_by_two_points(cell, tmp_path):
    take(cell, tmp_path, HEADER, sizes(), "sizes.csv")
    take(cell, tmp_path, POINTS, lines(three_lobes))
    (bore,) = cell.traces().bores
    passed = 2 ** -((3 / 15) ** 2)
    assert bore.roundness_trace.value_um == pytest.approx(7.0 * passed, abs=0.01)
    assert bore.roundness_trace.verdict is Verdict.DOES_NOT_CONFORM
    assert bore.roundness_trace.guard_um == pytest.approx(1.645 * 0.2, abs=1e-3)
    assert bore.missed_um == pytest.approx(7.0 * passed, abs=0.02)
    assert [lobe.words for lobe in bore.planes[0].lobes] == ["three lobes"]
    assert bore.planes[0].two_point_roundness_um == pytest.approx(0.0, abs=0.02)
    assert bore.planes[0].largest_inscribed_um == pytest.approx(-7.0 * passed, abs=0.05)
    assert bore.seen is not None and bore.seen.gauge == "G1"
    assert bore.seen.roundness_um == pytest.approx(0.2, abs=0.01)
    assert bore.cylindricity.reference == "minimum-zone"
    assert bore.cylindricity.value_um == pytest.approx(7.0 * passed, abs=0.02)
    assert "three lobes" in bore.sentence and "B1 bore 1" in cell.traces().sentence


def test_a_figure_the_instrument_gave_stands_beside_and_is_not_counted_twice(cell, tmp_path):
    take(cell, tmp_path, POINTS, lines(three_lobes))
    rows = [f"B1,1,roundness_trace,6.9,{AT},um,R1", f"B2,1,roundness_trace,4.8,{AT},um,R1"]
    take(cell, tmp_path, FIGURES, rows, "figures.csv")
    answer = cell.traces()
    assert [(b.part, b.roundness_trace.used, b.roundness_trace.reported_um) for b in answer.bores] == [
        ("B1", "points", 6.9),
        ("B2", "reported", 4.8),
    ]
    other = answer.bores[1]
    assert other.roundness_trace.verdict is Verdict.UNDECIDED  # 4.8 lies inside the guard band of 5
    assert other.cylindricity.used is None and other.cylindricity.verdict is None
    assert "no points" in other.cylindricity.why_not["value_um"]
    assert answer.sentence.startswith("2 bores traced, 1 judged by points; 3 figures are not proven")


def test_a_gap_is_used_or_refused_and_the_reason_said(cell, tmp_path):
    narrow, wide = np.abs(TURN - 100) > 3, np.abs(TURN - 100) > 14
    take(cell, tmp_path, POINTS, lines(three_lobes, keep=narrow))
    take(cell, tmp_path, POINTS, lines(three_lobes, part="B2", keep=wide), "more.csv")
    take(cell, tmp_path, FIGURES, [f"B2,1,roundness_trace,6.7,{AT},um,R1"], "figures.csv")
    used, refused = cell.traces().bores
    assert "points missing between 96 to 104" in used.planes[0].notes[0]
    assert used.roundness_trace.used == "points"
    assert refused.roundness_trace.used == "reported"
    assert "no points from 84 to 116 degrees" in refused.roundness_trace.why_not["value_um"]
    assert refused.planes[0].roundness_um is None
    assert "no points from" in refused.cylindricity.why_not["value_um"]


def test_one_plane_gives_roundness_and_no_cylinder(cell, tmp_path):
    take(cell, tmp_path, POINTS, lines(three_lobes, planes=("top",)))
    (bore,) = cell.traces().bores
    assert bore.roundness_trace.value_um is not None
    assert bore.cylindricity.value_um is None
    assert "planes of a cylinder" in bore.cylindricity.why_not["value_um"]


def test_a_plane_without_a_depth_bars_the_cylinder(cell, tmp_path):
    take(cell, tmp_path, POINTS, lines(three_lobes, planes=("top", "neck")))
    (bore,) = cell.traces().bores
    assert bore.planes[1].plane == "neck" and bore.planes[1].depth_mm is None
    assert "no depth of plane neck" in bore.cylindricity.why_not["value_um"]


def test_an_instrument_without_uncertainty_proves_nothing(cell, tmp_path):
    take(cell, tmp_path, POINTS, lines(lambda turn: 0 * turn, gauge="R9"))
    (bore,) = cell.traces().bores
    assert bore.roundness_trace.verdict is Verdict.UNDECIDED
    assert "no uncertainty of gauge R9" in bore.roundness_trace.why_not["verdict"]


def test_the_week_the_window_and_the_part_choose(cell, tmp_path):
    take(cell, tmp_path, HEADER, sizes("B9"), "sizes.csv")
    old = "2026-02-20T10:00:00Z"
    take(cell, tmp_path, POINTS, lines(three_lobes, at=old) + lines(three_lobes, part="B2"))
    assert [b.part for b in cell.traces().bores] == ["B2"]
    wide = cell.traces(since=datetime(2026, 2, 1, tzinfo=UTC), until=datetime(2026, 2, 21, tzinfo=UTC))
    assert [b.part for b in wide.bores] == ["B1"]
    (one,) = cell.traces(part="B1").bores
    assert one.planes[0].curve is not None and wide.bores[0].planes[0].curve is None
    with pytest.raises(NotFound, match="B7"):
        cell.traces(part="B7")
    assert cell.traces(until=datetime(2026, 1, 1, tzinfo=UTC)).sentence == "No bore was traced in this time."


def test_an_audit_after_the_last_bore_is_seen_and_an_earlier_moment_sees_it_not(cell, tmp_path):
    take(cell, tmp_path, HEADER, sizes(), "sizes.csv")
    take(cell, tmp_path, POINTS, lines(three_lobes, at="2026-03-02T12:00:00Z"))
    assert len(cell.traces().bores) == 1
    assert len(cell.traces(part="B1").bores) == 1
    earlier = cellmon.open_cell(cell.folder, as_of=datetime(2026, 3, 2, 11, tzinfo=UTC))
    assert earlier.traces().bores == ()
    earlier.close()


def test_a_trace_without_a_time_is_found_by_its_part(cell, tmp_path):
    rows = [line.replace(f",{AT},R1", ",") for line in lines(three_lobes)]
    take(cell, tmp_path, "part,bore,plane,angle_deg,radius_um,gauge", rows)
    (one,) = cell.traces(part="B1").bores
    assert one.at is None and one.roundness_trace.used == "points"


def test_the_command_prints_lines_a_document_and_a_drawing(cell, tmp_path, capsys):
    take(cell, tmp_path, HEADER, sizes(), "sizes.csv")
    take(cell, tmp_path, POINTS, lines(three_lobes))
    folder = str(cell.folder)
    assert main(["traces", "--cell", folder]) == 0
    shown = capsys.readouterr().out
    assert "three lobes" in shown and "does not conform" in shown and "two-point gauge" in shown
    drawing = tmp_path / "out" / "B1.html"
    assert main(["traces", "--cell", folder, "--part", "B1", "--draw", str(drawing)]) == 0
    shown = capsys.readouterr().out
    assert "minimum zone" in shown and "largest inscribed" in shown and "gauge G1 had read" in shown
    page = drawing.read_text("utf-8")
    assert "three lobes" in page and "<script src" not in page
    assert main(["traces", "--cell", folder, "--json"]) == 0
    assert '"roundness_trace"' in capsys.readouterr().out
    assert main(["traces", "--cell", folder, "--draw", "x.html"]) == 2
    assert main(["traces", "--cell", folder, "--part", "B1", "--since", "2026-03-02"]) == 2


def test_the_document_of_one_part_carries_the_curve(cell, tmp_path):
    take(cell, tmp_path, POINTS, lines(three_lobes))
    found = document(cell.traces(part="B1"), zone=cellmon.shifts.ZoneInfo("UTC"))
    assert len(found["bores"][0]["planes"][0]["curve"]["um"]) == len(TURN)
    assert as_json(found)


def test_a_bore_that_gives_no_figure_is_not_called_proven(cell, tmp_path):
    take(cell, tmp_path, POINTS, lines(three_lobes, keep=np.r_[0:60, 100:180]))
    said = cell.traces().sentence
    assert said.startswith("1 bore traced, 0 judged by points; none is judged.")
    assert "No roundness is known of B1 bore 1: plane top: a trace with no points from" in said
