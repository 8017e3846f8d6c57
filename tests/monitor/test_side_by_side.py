"""Spindles that hone the same bores side by side: each is watched as if the others were not there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cellmon.monitor.judge.audits import audited_spindles
from cellmon.monitor.judge.budget import budget
from cellmon.monitor.judge.inputs import Share
from cellmon.monitor.judge.joining import grouped
from cellmon.records import Characteristics, no_rows
from cellmon.shifts import to_utc
from tests.monitor.judge.making import called, demo_sheet, stream
from tests.monitor.shifting_cell import (
    BLOCK,
    FIRST,
    SHIFTING_EVENTS,
    SHIFTING_HEADER,
    SHIFTING_SHEET,
    event_rows,
    shifting_rows,
)
from tests.small_cell import new_cell, write

SECOND = 'id = "S2"\nbores = ["3"]'
OTHER_LINE = '\n[[spindles]]\nid = "S3"\nbores = ["1", "2"]\n[[spindles]]\nid = "S4"\nbores = ["3"]'
TWICE_SHEET = SHIFTING_SHEET.replace(SECOND, SECOND + OTHER_LINE)
BESIDE = {"S1": "S3", "S2": "S4"}


def other_line(lines):
    """Return rows as those of the other two spindles, and of other blocks."""
    for line in lines:
        part, bore, spindle, rest = line.split(",", maxsplit=3)
        yield f"C{part[1:]},{bore},{BESIDE[spindle]},{rest}"


def logged():
    """Return what happened to both lines as rows of a file of events: the same, but for the gauge."""
    mine = event_rows()
    theirs = [line.replace(",S1,", ",S3,").replace(",S2,", ",S4,").replace("A1", "C1") for line in mine]
    return [*mine, *(line for line in theirs if "gauge-zeroed" not in line)]


@pytest.fixture(scope="module")
def cells(tmp_path_factory):
    """A line of two spindles, and the same line with another beside it."""
    folder = tmp_path_factory.mktemp("side-by-side")
    mine, others = shifting_rows(), list(other_line(shifting_rows(seed=6, step_at=None)))
    alone = new_cell(folder / "alone", sheet=SHIFTING_SHEET)
    alone.take(
        [
            write(folder, "e1.csv", SHIFTING_EVENTS, event_rows()),
            write(folder, "r1.csv", SHIFTING_HEADER, mine),
        ]
    )
    both = new_cell(folder / "both", sheet=TWICE_SHEET)
    both.take(
        [
            write(folder, "e2.csv", SHIFTING_EVENTS, logged()),
            write(folder, "r2.csv", SHIFTING_HEADER, [*mine, *others]),
        ]
    )
    yield alone, both
    alone.close()
    both.close()


def learned(monitor, spindles):
    """Return the limits in force of the streams of some spindles: bores, centre and sigma."""
    return {
        one.stream: (one.in_force.n, one.in_force.center_um, one.in_force.sigma_um)
        for one in monitor.baselines().baselines
        if one.in_force is not None and one.stream.spindle in spindles
    }


def test_every_stream_of_a_line_learns_what_it_learns_alone(cells):
    alone, both = cells
    mine = learned(alone, {"S1", "S2"})
    assert {(s.bore, s.part_of) for s in mine} >= {("1", "itself"), (None, "itself"), ("3", "distance")}
    assert learned(both, {"S1", "S2"}) == mine
    theirs = learned(both, {"S3", "S4"})
    assert {(s.bore, s.part_of, s.feature) for s in theirs} == {(s.bore, s.part_of, s.feature) for s in mine}
    centres = {centre for _, centre, _ in mine.values()}
    assert not [s for s, (_, centre, _) in theirs.items() if s.feature == "diameter" and centre in centres]


def test_the_mean_of_a_spindle_is_of_its_own_bores(cells):
    _, both = cells
    for spindle in ("S1", "S3"):
        of_bores = [
            both.stream(spindle=spindle, bore=bore, feature="diameter").subgroups.mean_um
            for bore in ("1", "2")
        ]
        found = both.stream(spindle=spindle, bore=None, feature="diameter").subgroups.mean_um
        assert len(found) > 30
        np.testing.assert_allclose(found, np.mean(of_bores, axis=0), atol=1e-9)


def test_the_mean_of_all_takes_the_blocks_of_both_lines(cells):
    alone, both = cells
    of_all = {"spindle": None, "bore": None, "feature": "diameter"}
    one, two = (m.stream(**of_all).subgroups.n for m in (alone, both))
    assert two.sum() > 1.8 * one.sum() and np.median(two) == 3, "blocks of two lines come by turns"


def test_a_step_of_one_line_is_called_of_it_alone_and_the_derived_can_be_rebuilt(cells):
    _, both = cells
    step = FIRST + 117 * BLOCK
    late = [s for s in both.signals(why=0).signals if to_utc(s.change.at) >= step and (s.size_um or 0) > 5]
    assert {s.stream.spindle for s in late} == {"S1"}
    assert both.check(rebuild=True).sound


def test_the_order_of_files_does_not_matter(cells, tmp_path):
    _, both = cells
    mine, others = shifting_rows(), list(other_line(shifting_rows(seed=6, step_at=None)))
    late = new_cell(tmp_path / "cell", sheet=TWICE_SHEET)
    pieces = [others[150:], mine, others[:150]]
    for number, piece in enumerate(pieces):
        late.take([write(tmp_path, f"r{number}.csv", SHIFTING_HEADER, piece)])
    late.take([write(tmp_path, "e.csv", SHIFTING_EVENTS, logged())])
    assert learned(late, {"S1", "S2", "S3", "S4", None}) == learned(both, {"S1", "S2", "S3", "S4", None})
    assert late.check(rebuild=True).sound
    late.close()


PARALLEL = demo_sheet(
    spindles=[
        {"id": "S1", "bores": ["1", "2"]},
        {"id": "S2", "bores": ["3", "4"]},
        {"id": "S3", "bores": ["1", "2"]},
        {"id": "S4", "bores": ["3", "4"]},
    ],
    planning={"bores_per_shift": {"S1": 600, "S2": 600, "S3": 300, "S4": 300}},
)


# By hand: S1 hones bores 1 and 2 of every other block, so half of a block's bores in half of the blocks.
@pytest.mark.parametrize(
    ("of", "shares"),
    [
        (stream(None, None), {"S1": 0.25, "S2": 0.25, "S3": 0.25, "S4": 0.25}),
        (stream("S1", "1"), {"S1": 1.0, "S2": 0.0, "S3": 0.0, "S4": 0.0}),
        (stream("S1", "1", part_of="distance"), {"S1": 0.5, "S2": -0.25, "S3": 0.0, "S4": -0.25}),
    ],
)
def test_what_happens_to_a_spindle_moves_the_blocks_it_hones(of, shares):
    share = Share.of(of, PARALLEL)
    assert {name: share.on(name) for name in shares} == shares


def test_whole_blocks_are_planned_by_all_spindles_that_hone_a_bore():
    found = budget(PARALLEL)
    points = {
        (f.scope, f.spindle): f.points
        for f in found.families
        if f.feature == "diameter" and f.scope in ("all", "distance", "bore")
    }
    assert points["all", None] == points["bore", "S1"] + points["bore", "S3"] == 3 * points["bore", "S3"]
    assert points["distance", "S1"] == points["bore", "S1"]
    assert points["distance", "S3"] == points["bore", "S3"]
    of_all = {f.detectors for f in found.families if f.scope == "all" and f.feature == "diameter"}
    assert of_all == {("level",)}, "lines that differ are no spread"


@pytest.mark.parametrize(
    ("other", "together"),
    [
        (stream("S3", "1"), False),
        (stream("S3", None), False),
        (stream("S3", "1", part_of="distance"), False),
        (stream("S1", "2"), True),
        (stream("S4", "3", part_of="distance"), True),
        (stream(None, None), True),
    ],
)
def test_calls_of_spindles_side_by_side_are_signals_of_their_own(other, together):
    found = grouped([called(stream("S1", "1"), 100), called(other, 110, earliest=92)], PARALLEL)
    assert len(found) == (1 if together else 2)


def test_a_row_without_spindle_belongs_to_the_only_one_that_hones_its_bore_or_to_none():
    none = no_rows(Characteristics)
    columns = {name: np.zeros(3, array.dtype) for name, array in none.arrays()}
    columns |= {"spindle": np.full(3, None, dtype=object), "bore": np.array(["1", "3", "9"], dtype=object)}
    rows = replace(none, **columns)
    assert audited_spindles(rows, demo_sheet()).tolist() == ["S1", "S2", ""]
    assert audited_spindles(rows, PARALLEL).tolist() == ["", "", ""]
