"""What judging makes of readings: measurements, first complete ones, subgroups, verdicts, limits."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.records import Verdict
from tests.small_cell import EVENTS, HEADER, SHEET, new_cell, rows, write

PLACES = [(p, d) for p in ("top", "bottom") for d in ("x", "y")]


def bore_rows(part, bore, at, um, *, places=PLACES, spindle=None):
    """Return rows of one bore; um is one figure for all places or one for each."""
    values = np.broadcast_to(np.asarray(um, dtype=float), (len(places),))
    return [
        f"B{part:04d},{bore},{spindle or f'S{bore}'},{at},{plane},{direction},{50 + v / 1000:.4f}"
        for (plane, direction), v in zip(places, values, strict=True)
    ]


def judged(monitor):
    return monitor.bores().bores


def test_readings_of_one_bore_split_over_two_files_make_one_bore(tmp_path):
    monitor = new_cell(tmp_path)
    lines = bore_rows(1, "1", "2026-03-02T05:00:00Z", [1.0, 2.0, 3.0, 4.0])
    monitor.take([write(tmp_path, "a.csv", HEADER, lines[:2])])
    assert np.isnan(judged(monitor).average[0])
    monitor.take([write(tmp_path, "b.csv", HEADER, lines[2:])])
    bores = judged(monitor)
    assert len(bores) == 1
    assert bores.average[0] == pytest.approx(2.5)
    assert bores.taper[0] == pytest.approx(1.5 - 3.5)


@pytest.mark.parametrize("first_file", ["early", "late"])
def test_the_first_complete_measurement_is_charted_whichever_arrives_first(tmp_path, first_file):
    monitor = new_cell(tmp_path)
    early = write(tmp_path, "early.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", 1.0))
    late = write(tmp_path, "late.csv", HEADER, bore_rows(1, "1", "2026-03-02T20:00:00Z", 3.0))
    monitor.take([early, late] if first_file == "early" else [late, early])
    bores = judged(monitor)
    assert bores.charted.tolist() == [1, 0]
    assert bores.average.tolist() == pytest.approx([1.0, 3.0])


def test_an_incomplete_first_measurement_leaves_the_chart_to_the_next(tmp_path):
    monitor = new_cell(tmp_path)
    first = bore_rows(1, "1", "2026-03-02T05:00:00Z", 1.0)[:3]
    monitor.take([write(tmp_path, "a.csv", HEADER, first + bore_rows(1, "1", "2026-03-02T05:30:00Z", 2.0))])
    assert judged(monitor).charted.tolist() == [0, 1]


def test_a_contradicting_row_is_set_aside_and_the_first_stands(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "a.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", 1.0))])
    changed = bore_rows(1, "1", "2026-03-02T05:00:00Z", [1.0, 5.0, 1.0, 1.0])
    taken = monitor.take([write(tmp_path, "b.csv", HEADER, changed)]).files[0]
    assert (taken.taken, taken.known, len(taken.set_aside)) == (0, 3, 1)
    assert taken.set_aside[0].reason == "contradicts"
    assert judged(monitor).average[0] == pytest.approx(1.0)


def test_bores_finished_by_hand_are_in_no_stream_of_a_machine(tmp_path):
    monitor = new_cell(tmp_path)
    lines = [
        row
        for i in range(30)
        for row in bore_rows(
            i, "1", f"2026-03-02T{5 + i // 6:02d}:{i % 6 * 10:02d}:00Z", i % 5, spindle="hand"
        )
    ]
    monitor.take([write(tmp_path, "hand.csv", HEADER, lines)])
    assert monitor.streams() == ()
    assert len(judged(monitor)) == 30


# Guard band 1.645 u at each limit: u = sqrt(0.3^2 + 0.3^2) = 0.424 um for one reading, so 0.70 um;
# limits are -10 and +10 um (ISO 14253-1, default 95 %; arithmetic by hand)
@pytest.mark.parametrize(
    ("um", "verdict"),
    [
        (0.0, Verdict.CONFORMS),
        (9.2, Verdict.CONFORMS),
        (9.4, Verdict.UNDECIDED),
        (10.6, Verdict.UNDECIDED),
        (10.8, Verdict.DOES_NOT_CONFORM),
        (-9.4, Verdict.UNDECIDED),
        (-10.8, Verdict.DOES_NOT_CONFORM),
    ],
)
def test_the_verdict_follows_the_guard_band(tmp_path, um, verdict):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "a.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", um))])
    bores = judged(monitor)
    assert bores.verdict_of(0) is verdict
    status = monitor.state().spindles[0].status
    assert (status == "stop") is (verdict is not Verdict.CONFORMS)


def test_subgroups_break_at_shifts_dressings_and_stones(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take(
        [
            write(tmp_path, "e.csv", EVENTS, ["2026-03-02T06:05:00Z,stones-dressed,S1,,"]),
            write(tmp_path, "r.csv", HEADER, rows(20)),
        ]
    )
    view = monitor.stream(spindle="S1", bore="1", feature="diameter")
    # blocks every 10 minutes from 05:00Z (a shift starts at 05:00Z): 0 to 6 before the dressing, 7 to 19
    # after it; subgroups of three: 0-2, 3-5, then 6 alone (left out: one bore), then 7-9, 10-12, ...
    assert view.subgroups.first_part.tolist() == ["B0000", "B0003", "B0007", "B0010", "B0013", "B0016"]
    assert view.subgroups.n.tolist() == [3] * 6


def test_a_remainder_of_two_counts_once_its_segment_is_over(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "r.csv", HEADER, rows(20))])
    view = monitor.stream(spindle="S1", bore="1", feature="diameter")
    assert view.subgroups.n.tolist() == [3] * 6
    monitor.take([write(tmp_path, "e.csv", EVENTS, ["2026-03-02T08:15:00Z,stones-dressed,S1,,"])])
    monitor.take([write(tmp_path, "r2.csv", HEADER, [r for r in rows(21) if r.startswith("B0020")])])
    view = monitor.stream(spindle="S1", bore="1", feature="diameter")
    assert view.subgroups.n.tolist() == [3] * 6 + [2]


def test_a_subgroup_holds_the_mean_and_range_of_its_bores(tmp_path):
    monitor = new_cell(tmp_path)
    lines = rows(30)
    monitor.take([write(tmp_path, "r.csv", HEADER, lines)])
    view = monitor.stream(spindle="S2", bore="2", feature="diameter")
    sizes: dict[str, list[float]] = {}
    for line in lines:
        part, bore, *_, size = line.split(",")
        if bore == "2":
            sizes.setdefault(part, []).append((float(size) - 50) * 1000)
    means = np.array([np.mean(v) for v in sizes.values()]).reshape(-1, 3)
    assert view.subgroups.mean_um == pytest.approx(means.mean(axis=1))
    assert view.subgroups.range_um == pytest.approx(np.ptp(means, axis=1))


def test_provisional_limits_come_from_the_first_25_subgroups(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "r.csv", HEADER, rows(100))])
    view = monitor.stream(spindle="S1", bore="1", feature="diameter")
    groups = view.subgroups
    first = slice(0, 25)
    # d2 of 3: 1.6926 (ASTM MNL 7 factor table: 1.693)
    assert view.baseline is not None and view.baseline.provisional
    assert view.baseline.center_um == pytest.approx(
        np.average(groups.mean_um[first], weights=groups.n[first])
    )
    assert view.baseline.sigma_um == pytest.approx(groups.range_um[first].mean() / 1.6926, rel=1e-3)


@pytest.mark.parametrize("blocks", [30, 57])
def test_below_20_subgroups_nothing_is_called_a_limit(tmp_path, blocks):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "r.csv", HEADER, rows(blocks))])
    for stream in monitor.state().streams:
        assert stream.baseline is None
        assert "baseline" in stream.why_not
    assert monitor.signals().signals == ()


def test_a_gauge_too_coarse_to_show_spread_gets_no_limits_and_says_why(tmp_path):
    monitor = new_cell(tmp_path)
    lines = [
        row
        for i in range(100)
        for row in bore_rows(i, "1", f"2026-03-02T{5 + i // 12:02d}:{i % 12 * 5:02d}:00Z", 1.0)
    ]
    monitor.take([write(tmp_path, "same.csv", HEADER, lines)])
    for stream in monitor.state().streams:
        assert stream.baseline is None and "do not differ" in stream.why_not["baseline"]
    answer = monitor.capability()
    assert all(row.cpk is None and row.claim == "not supported" for row in answer.capability)
    assert all("do not differ" in row.why_not["cpk"] for row in answer.capability)


def test_a_sheet_may_let_subgroups_reach_across_shifts(tmp_path):
    sheet = SHEET.replace("size = 3", 'size = 3\nwithin = ["stone_set"]')
    monitor = new_cell(tmp_path, sheet=sheet)
    lines = rows(110)
    monitor.take(
        [write(tmp_path, "b.csv", HEADER, lines[400:]), write(tmp_path, "a.csv", HEADER, lines[:400])]
    )
    view = monitor.stream(spindle="S1", bore="1", feature="diameter")
    assert view.subgroups.first_part.tolist() == [f"B{i:04d}" for i in range(0, 108, 3)]
    assert monitor.check(rebuild=True).sound


def test_two_drawings_keep_their_own_nominal_and_streams(tmp_path):
    head, tail = SHEET.split("[part]")
    features = tail.split("[measuring]")[0].split("[features.diameter]")[1]
    parts = "".join(
        f'[[parts]]\nnumber = "{number}"\nbores = ["1", "2"]\nlength_mm = 100.0\n[parts.features.diameter]'
        + features.replace("50.0", f"{nominal}.0")
        .replace("49.99", f"{nominal - 1}.99")
        .replace(f"{nominal}.010", f"{nominal}.010")
        .replace("[features.taper]", "[parts.features.taper]")
        for number, nominal in (("P-1", 50), ("P-2", 60))
    )
    monitor = new_cell(tmp_path, sheet=head + parts + "[measuring]" + tail.split("[measuring]")[1])
    header = f"part_number,{HEADER}"
    lines = [f"P-1,{r}" for r in bore_rows(1, "1", "2026-03-02T05:00:00Z", 2.0)]
    lines += [
        f"P-2,{r.replace('B0002', 'C0002').replace(',50.', ',60.')}"
        for r in bore_rows(2, "1", "2026-03-02T05:05:00Z", 3.0)
    ]
    monitor.take([write(tmp_path, "two.csv", header, lines)])
    bores = judged(monitor)
    assert bores.part_number.tolist() == ["P-1", "P-2"]
    assert bores.average.tolist() == pytest.approx([2.0, 3.0])
