"""What stands behind a statement: on a small cell whose every figure can be recomputed here."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from cellmon.errors import NotFound
from cellmon.shifts import to_utc
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write

DRAWN = SHEET.replace('number = "P-1"', 'number = "P-1"\nrevision = "B"').replace(
    "[features.diameter]", '[features.diameter]\nnumber = "12"\nclass = "key"'
)


@pytest.fixture(scope="module")
def monitor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("submission")
    opened = new_cell(folder / "cell", sheet=DRAWN)
    opened.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, rows(110, seed=3)),
        ]
    )
    return opened


@pytest.fixture(scope="module")
def size_of_one(monitor):
    return next(s for s in monitor.submission(bore="1", feature="diameter").statements)


def test_the_drawing_is_that_of_the_sheet(size_of_one):
    drawing = size_of_one.drawing
    assert (drawing.part_number, drawing.revision, drawing.number, drawing.class_) == (
        "P-1",
        "B",
        "12",
        "key",
    )
    assert drawing.nominal_mm == 50.0
    assert drawing.judged == "every reading of a bore"


def test_the_figures_are_those_of_the_capability_command(monitor, size_of_one):
    row = next(r for r in monitor.capability(bore="1", feature="diameter").capability if r.stream.bore == "1")
    assert size_of_one.capability == row
    assert monitor.submission().sentence == monitor.capability().sentence


def test_every_bore_is_counted_or_left_out_with_its_reason(monitor, size_of_one):
    bores = monitor.bores().bores
    mine = bores.select((bores.bore == "1") & (bores.charted == 1))
    doubted = sum(one.bores for one in size_of_one.left_out if one.what == "doubted")
    assert size_of_one.sampling.bores == int((mine.flags == 0).sum())
    assert doubted == int((mine.flags != 0).sum()) > 0
    assert size_of_one.sampling.bores + doubted == len(mine)


def test_a_decision_on_a_doubt_is_told_with_its_name(tmp_path):
    folder = tmp_path
    cell = new_cell(folder / "cell", sheet=DRAWN)
    cell.take(
        [
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, rows(60, seed=3)),
        ]
    )
    doubt = next(f for f in cell.flags().flags if f.bore == "1")
    before = cell.submission(bore="1", feature="diameter").statements[0]
    cell.correct(doubt.id, accept=False, by="Ada", why="measured again")
    after = cell.submission(bore="1", feature="diameter").statements[0]
    told = [one for one in after.left_out if one.by == "Ada"]
    assert [one.bores for one in told] == [1]
    assert told[0].what == "counted as read"
    assert after.sampling.bores == before.sampling.bores + 1


def test_sampling_names_times_stones_and_dressings(monitor, size_of_one):
    bores = monitor.bores().bores
    clean = bores.select((bores.bore == "1") & (bores.charted == 1) & (bores.flags == 0))
    taken = size_of_one.sampling
    assert to_utc(taken.first_at) == clean.measured_at[0]
    assert (taken.first_part, taken.last_part) == (clean.part[0], clean.part[-1])
    assert taken.stone_sets == ("A1",)
    assert taken.dressings == 1
    assert taken.shifts == len(np.unique(clean.shift_start))
    assert (taken.size, taken.every) == (3, 3)


def test_a_window_narrows_picture_and_figures_alike(monitor):
    since = datetime.fromisoformat("2026-03-02T15:00:00+01:00")
    found = monitor.submission(bore="2", feature="diameter", since=since).statements[0]
    assert found.sampling.first_at >= since
    kept = ~found.picture.left_out
    assert int(kept.sum()) == found.capability.n
    assert (found.picture.at >= to_utc(since)).all()


def test_the_picture_shows_every_bore_and_counts_those_beyond(monitor, size_of_one):
    picture = size_of_one.picture
    bores = monitor.bores().bores
    mine = bores.select((bores.bore == "1") & (bores.charted == 1))
    assert picture.value_um == pytest.approx(mine.average)
    assert picture.greatest_um == pytest.approx(mine.greatest)
    assert (picture.left_out == (mine.flags != 0)).all()
    clean = mine.select(mine.flags == 0)
    lower, upper = picture.edges
    assert (lower.column, upper.column) == ("least", "greatest")
    assert upper.seen_beyond == int((clean.greatest > 10.0).sum())
    at = np.flatnonzero(upper.seen_size_um == clean.greatest.max())
    assert upper.seen_share[at] == pytest.approx((clean.greatest >= clean.greatest.max()).mean())


def test_the_edges_agree_with_what_the_index_expects_beyond(size_of_one):
    expected = size_of_one.capability.ppm_expected
    beyond = sum(float(np.interp(e.limit_um, e.size_um, e.share)) for e in size_of_one.picture.edges)
    assert 1e6 * beyond == pytest.approx(expected.value, rel=1e-6)


def test_a_feature_with_one_figure_has_edges_of_one_column(monitor):
    taper = monitor.submission(bore="1", feature="taper").statements[0]
    assert [e.column for e in taper.picture.edges] == ["taper", "taper"]
    assert taper.drawing.nominal_mm is None


def test_too_few_bores_give_the_steps_and_the_reason_there_is_no_model(monitor):
    since = monitor.bores().as_of - timedelta(hours=2)
    few = monitor.submission(bore="1", feature="diameter", since=since).statements[0]
    assert 0 < few.capability.n < 25
    for edge in few.picture.edges:
        assert np.isnan(edge.share).all()
        assert "need at least 25" in edge.why_not["share"]
        assert len(edge.seen_share)


def test_the_gauge_behind_it_is_told_with_its_last_check(size_of_one):
    gauge = size_of_one.gauge
    assert (gauge.gauge, gauge.common_um, gauge.reading_um) == ("G1", 0.3, 0.3)
    assert "last read its master" in gauge.on_masters
    assert gauge.study is None
    assert "ISO 14253-1" in gauge.rule


def test_a_stream_nobody_knows_is_refused(monitor):
    with pytest.raises(NotFound):
        monitor.submission(spindle="S9")
