"""What the points of traces give: form and size of each bore, charted, judged and counted once."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import cellmon
from cellmon.cli.main import main
from cellmon.records import Verdict
from tests.monitor.test_traces import AT, FIGURES, POINTS, TRACED, lines, sizes, take, three_lobes
from tests.small_cell import HEADER, derived, new_cell, rows, write

TURN = np.arange(0.0, 360.0, 4.0)
START = np.datetime64("2026-03-02T05:00:00")
NAMES = itertools.count()


def sheet(size="average", judge="every-reading"):
    return TRACED.replace("nominal = 50.0", f'nominal = 50.0\nsize = "{size}"\njudge = "{judge}"', 1)


def moment(i):
    return f"{START + np.timedelta64(60, 'm') * i}Z"


def block(i, um_of, *, bore="1", planes=("top", "bottom"), every=2):
    """Return a trace of one bore of block i, a point each four degrees."""
    keep = slice(None, None, every)
    return lines(um_of, part=f"T{i:03d}", bore=bore, planes=planes, at=moment(i), keep=keep)


def lobed(height, level=0.0, order=3):
    return lambda turn: level + height / 2 * np.cos(order * turn)


def heights(n, *, seed=3):
    return 1.5 * np.exp(0.15 * np.random.default_rng(seed).standard_normal(n))


@pytest.fixture
def open_with(tmp_path):
    opened = []

    def of(text):
        opened.append(new_cell(tmp_path / f"cell{len(opened)}", sheet=text))
        return opened[-1]

    yield of
    for monitor in opened:
        monitor.close()


def traced(monitor, tmp_path, rows, name="traces.csv"):
    return take(monitor, tmp_path, POINTS, rows, name)


def test_points_of_traces_are_charted_bore_by_bore(open_with, tmp_path):
    cell = open_with(TRACED)
    high = heights(24)
    traced(cell, tmp_path, [r for i, h in enumerate(high) for r in block(i, lobed(h))])
    found = {s.stream.feature: s for s in cell.audits(bore="1").audits}
    assert set(found) == {"roundness_trace", "cylindricity"}
    passed = 2 ** -((3 / 15) ** 2)  # ISO 16610-21: what the filter of 15 upr leaves of three lobes
    assert found["roundness_trace"].value == pytest.approx(high * passed, abs=0.01)
    assert found["cylindricity"].value == pytest.approx(high * passed, abs=0.01), "both planes are one form"
    assert found["roundness_trace"].unit == "µm" and found["roundness_trace"].stream.spindle == "S1"
    assert np.isfinite(found["roundness_trace"].upper).any(), "20 values have limits"


def test_a_trace_beyond_the_limit_is_a_signal(open_with, tmp_path):
    cell = open_with(TRACED)
    rows = [r for i, h in enumerate(heights(6)) for r in block(i, lobed(h))]
    taken = traced(cell, tmp_path, [*rows, *block(6, lobed(9.0))])
    assert taken.files[0].signals
    (signal,) = [s for s in cell.signals().signals if s.kind == "limit"]
    assert {s.feature for s in signal.streams} == {"roundness_trace", "cylindricity"}, "one bore, one signal"
    assert signal.part == "T006"
    assert signal.size_um == pytest.approx(9 * 2 ** -((3 / 15) ** 2), abs=0.02)


def test_what_the_instrument_reported_of_the_same_trace_counts_once(open_with, tmp_path):
    cell = open_with(TRACED)
    reported = [f"T{i:03d},1,roundness_trace,{9.0 if i == 0 else 1.4},{moment(i)},um,R1" for i in range(3)]
    take(cell, tmp_path, FIGURES, reported, "figures.csv")
    assert [s.part for s in cell.signals().signals] == ["T000"]
    traced(cell, tmp_path, block(0, lobed(1.5)))
    (stream,) = cell.audits(feature="roundness_trace").audits
    assert stream.part.tolist() == ["T000", "T001", "T002"]
    assert stream.value[0] == pytest.approx(1.5, abs=0.05), "the points stand, not the 9 µm reported"
    assert all(s.state == "withdrawn" for s in cell.signals().signals)


def test_a_gap_leaves_the_bore_out_and_says_why(open_with, tmp_path):
    cell = open_with(TRACED)
    traced(cell, tmp_path, [r for i in range(3) for r in block(i, lobed(1.5))])
    late = lines(three_lobes, part="T009", at=moment(9), keep=np.r_[0:60, 120:180])
    traced(cell, tmp_path, late, "gap.csv")
    answer = cell.audits(feature="roundness_trace").audits[0]
    assert answer.part.tolist() == ["T000", "T001", "T002"]
    (note,) = answer.notes
    assert note.startswith("1 left out, the newest of T009: plane bottom: a trace with no points from")


def test_a_bore_with_nothing_but_a_gap_is_not_silent(open_with, tmp_path):
    cell = open_with(TRACED)
    traced(cell, tmp_path, lines(three_lobes, keep=np.r_[0:60, 120:180]))
    assert not cell.audits().audits
    assert "no points from" in cell.audits().why_not["roundness_trace"]


@pytest.mark.parametrize(
    ("size", "expected"),
    [("least-squares", 4.0), ("largest-inscribed", 2.0), ("smallest-circumscribed", 6.0)],
)
def test_the_size_is_that_of_the_cylinder_the_sheet_names(open_with, tmp_path, size, expected):
    """Three lobes of 2 µm on a radius 2 µm over: 2 x 2, 2 x (2 - 1) and 2 x (2 + 1) µm of diameter."""
    cell = open_with(sheet(size).replace("filter_upr = 15", "filter_upr = 60"))
    traced(cell, tmp_path, block(0, lobed(2.0, level=2.0), every=1))
    (stream,) = cell.audits(feature="diameter_trace").audits
    assert stream.value == pytest.approx([expected], abs=0.01)
    assert (stream.sheet_lower, stream.sheet_upper) == (-10.0, 10.0)
    (bore,) = cell.traces().bores
    assert bore.diameter_trace.value_um == pytest.approx(expected, abs=0.01)
    assert bore.diameter_trace.verdict is None, "two-point sizes decide"


def test_of_one_plane_the_size_is_that_of_its_circle(open_with, tmp_path):
    cell = open_with(sheet("largest-inscribed").replace("filter_upr = 15", "filter_upr = 60"))
    traced(cell, tmp_path, block(0, lobed(2.0, level=2.0), planes=("top",), every=1))
    (stream,) = cell.audits(feature="diameter_trace").audits
    assert stream.value == pytest.approx([2.0], abs=0.01)


def test_where_no_bore_was_traced_the_size_is_not_known_and_the_average_is_not_called_it(open_with, tmp_path):
    cell = open_with(sheet("least-squares"))
    take(cell, tmp_path, HEADER, sizes(), "sizes.csv")
    answer = cell.audits()
    assert not answer.audits
    assert "least-squares size that the sheet names is not known" in answer.why_not["diameter_trace"]


def test_a_size_from_traces_decides_where_the_sheet_says_so(open_with, tmp_path):
    cell = open_with(sheet("largest-inscribed", "size"))
    take(cell, tmp_path, HEADER, [*sizes("B1"), *sizes("B2")], "sizes.csv")
    assert verdicts(cell) == {"B1": Verdict.UNDECIDED, "B2": Verdict.UNDECIDED}
    (figure,) = [j for j in cell.part("B1").measurements[0].judged if j.feature == "diameter"]
    assert (figure.figure, figure.value_um) == ("trace_size", None)
    traced(cell, tmp_path, lines(lambda a: 0 * a, part="B1"))
    traced(cell, tmp_path, lines(lambda a: 0 * a - 8.0, part="B2"), "small.csv")
    assert verdicts(cell) == {"B1": Verdict.CONFORMS, "B2": Verdict.DOES_NOT_CONFORM}
    assert cell.check(rebuild=True).sound


def verdicts(cell):
    return {p: cell.part(p).measurements[0].verdict for p in ("B1", "B2")}


ROWS = [
    r
    for i, h in enumerate(heights(14, seed=9))
    for r in block(i, lobed(12.0 if i == 11 else h, level=0.3), every=5)
]
REPORTED = [f"T{i:03d},1,roundness_trace,1.4,{moment(i)},um,R1" for i in range(10, 18)]
SIZES = [row.replace(AT, moment(i + 8)) for i in range(14) for row in sizes(f"T{i:03d}")]


def answered(monitor):
    streams = [
        (s.stream, s.part.tolist(), s.value.tolist(), s.notes, dict(s.why_not))
        for s in monitor.audits().audits
    ]
    told = sorted(
        (str(s.stream), s.part, s.size_um, s.kind)
        for s in monitor.signals().signals
        if s.state != "withdrawn"
    )
    return streams, told, derived(monitor)


@pytest.fixture(scope="module")
def in_order(tmp_path_factory):
    folder = tmp_path_factory.mktemp("in-order")
    monitor = new_cell(folder, sheet=sheet("least-squares", "size"))
    monitor.take([write(folder, "s.csv", HEADER, SIZES), write(folder, "r.csv", FIGURES, REPORTED)])
    monitor.take([write(folder, "t.csv", POINTS, ROWS)])
    found = answered(monitor)
    assert found[1], "a state without a signal would be the same in any order"
    monitor.close()
    return found


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1), pieces=st.integers(1, 4), first=st.permutations(["s", "r", "t"]))
def test_points_in_any_order_end_in_the_same_state(tmp_path_factory, in_order, seed, pieces, first):
    shuffle, folder = random.Random(seed), tmp_path_factory.mktemp("shuffled")
    monitor = new_cell(folder, sheet=sheet("least-squares", "size"))
    mixed = shuffle.sample(ROWS, k=len(ROWS))
    cut = [mixed[i::pieces] for i in range(pieces)]
    files = {
        "s": [write(folder, "s.csv", HEADER, SIZES)],
        "r": [write(folder, "r.csv", FIGURES, REPORTED)],
        "t": [write(folder, f"t{i}.csv", POINTS, rows) for i, rows in enumerate([*cut, cut[0]])],
    }
    taken = monitor.take([path for name in first for path in files[name]])
    assert all(f.rows == f.taken + f.known for f in taken.files)
    assert answered(monitor) == in_order
    monitor.close()


def test_a_rebuild_finds_the_same_figures(open_with, tmp_path):
    cell = open_with(sheet("least-squares"))
    traced(cell, tmp_path, ROWS)
    take(cell, tmp_path, HEADER, SIZES, "sizes.csv")
    before = answered(cell)
    assert cell.check(rebuild=True).sound
    assert answered(cell) == before


def test_a_trace_is_judged_by_the_sheet_of_its_time(open_with, tmp_path):
    cell = open_with(TRACED)
    take(cell, tmp_path, HEADER, sizes(), "sizes.csv")
    traced(cell, tmp_path, block(0, lobed(2.0)))
    (before,) = cell.audits(feature="roundness_trace").audits[0].value
    path = cell.folder / "cell.toml"
    path.write_text(path.read_text("utf-8").replace("filter_upr = 15", "filter_upr = 4"), encoding="utf-8")
    cell.close()
    cell = cellmon.open_cell(path.parent)
    cell.adopt(by="A. Person", why="a coarser filter")
    traced(cell, tmp_path, block(20, lobed(2.0)), "later.csv")
    take(cell, tmp_path, HEADER, [r.replace(AT, moment(21)) for r in sizes("B2")], "more.csv")
    found = cell.audits(feature="roundness_trace").audits[0].value
    assert found[0] == before and found[1] == pytest.approx(2 * 2 ** -((3 / 4) ** 2), abs=0.02)
    assert cell.check(rebuild=True).sound
    cell.close()


def test_a_trace_without_a_moment_is_shown_but_has_no_place_in_a_stream(open_with, tmp_path):
    cell = open_with(TRACED)
    rows = [r.replace(AT, "") for r in lines(three_lobes)]
    traced(cell, tmp_path, rows)
    assert not cell.audits().audits
    assert cell.traces(part="B1").bores[0].roundness_trace.value_um is not None


def many(n, **how):
    return [r for i, h in enumerate(heights(n, seed=11)) for r in block(i, lobed(h, **how), every=5)]


def test_figures_of_traces_reach_capability_and_the_paper(open_with, tmp_path):
    cell = open_with(TRACED)
    traced(cell, tmp_path, many(40))
    (row,) = cell.capability(feature="roundness_trace").capability
    assert row.n == 40 and row.ppk.value > 1 and row.cp is None
    assert row.mean_um == pytest.approx(1.5, abs=0.1)
    assert row.claim == "not supported" and any("40 bores" in r for r in row.reasons)
    assert {r.stream.feature for r in cell.capability().capability} == {"roundness_trace", "cylindricity"}
    (statement,) = cell.submission(feature="roundness_trace").statements
    assert statement.gauge.gauge == "R1" and statement.gauge.reading_um == 0.2
    assert (statement.sampling.size, statement.sampling.bores) == (1, 40)
    assert (
        statement.picture.value_um.tolist() == cell.audits(feature="roundness_trace").audits[0].value.tolist()
    )
    for kind in ("pdf", "xlsx", "csv", "json", "parquet"):
        command = ["export", "capability", "--to", kind, "--feature", "roundness_trace"]
        assert main([*command, "--cell", str(cell.folder)]) == 0


def test_few_audits_are_answered_where_they_are_asked_for(open_with, tmp_path):
    cell = open_with(TRACED)
    traced(cell, tmp_path, many(5))
    assert not cell.capability().capability
    (row,) = cell.capability(feature="cylindricity").capability
    assert row.n == 5 and "not supported" in row.claim


def test_two_point_sizes_carry_no_claim_where_the_size_from_traces_decides(open_with, tmp_path):
    cell = open_with(sheet("least-squares", "size"))
    take(cell, tmp_path, HEADER, rows(), "rows.csv")
    row = next(r for r in cell.capability(feature="diameter").capability)
    assert row.ppk is None and "diameter_trace" in row.why_not["ppk"] and row.claim == "not supported"
    assert "charted from traces" in cell.stream(spindle="S1", bore="1", feature="diameter").sentence
    levels = 1.0 + 0.2 * np.random.default_rng(4).standard_normal(30)
    traced(cell, tmp_path, [r for i, um in enumerate(levels) for r in block(i, lobed(1.5, um), every=5)])
    (row,) = cell.capability(feature="diameter_trace").capability
    assert (
        row.n
        and row.ppk.value is not None
        and row.mean_um == pytest.approx(2 * levels[: row.n].mean(), abs=0.01)
    )
