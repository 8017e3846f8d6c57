"""What is known to move a stream: shares of spindles, offsets inside a subgroup, zeroing, temperatures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.judged import Subgroups
from cellmon.monitor.judge import inputs
from cellmon.monitor.judge.columns import LONG, MOST_MISSED, THERMAL_DOUBT, Columns, Laid, side_by_side
from cellmon.monitor.judge.inputs import (
    OFFSET_DOUBT,
    USUAL_SHARE,
    Share,
    moves,
    moves_of,
    unusual,
    usual_events,
    usual_um,
)
from cellmon.records import no_rows
from tests.monitor.judge.making import demo_sheet, events_of, minute, spans_of, stream

SHEET = demo_sheet()
SD = 2.0


def moved(of, rows, spans, *, thermal=None):
    """Return what moved a stream in subgroups that follow the first of the spans."""
    every = spans_of(spans, thermal)
    now = type(every)(first=every.first[1:], last=every.last[1:], thermal=every.thermal[1:])
    first = type(every)(first=every.first[:1], last=every.last[:1], thermal=every.thermal[:1])
    return moves(of, now, now.after(first), usual_events(events_of(rows), SHEET), SHEET)


TENS = [(0, 10), (10, 20), (20, 30), (30, 40)]


def offset(at, value, *, spindle="S1", by="machine"):
    return {"at": at, "event": "feed-offset", "spindle": spindle, "value": value, "by": by}


@pytest.mark.parametrize(
    ("of", "s1", "s2", "gauge"),
    [
        (stream(), 1.0, 0.0, 1.0),
        (stream("S2", "3"), 0.0, 1.0, 1.0),
        (stream("S1", None), 1.0, 0.0, 1.0),
        (stream(None, None), 0.5, 0.5, 1.0),
        (stream("S1", "1", part_of="distance"), 0.5, -0.5, 0.0),
    ],
)
def test_a_stream_is_moved_by_its_share(of, s1, s2, gauge):
    share = Share.of(of, SHEET)
    assert (share.on("S1"), share.on("S2"), share.gauge) == (s1, s2, gauge)
    assert share.on("S9") == 0.0


def test_shares_of_all_bores_are_the_mean_of_the_bores_and_distances_add_to_nought():
    places = [("S1", "1"), ("S1", "2"), ("S2", "3"), ("S2", "4")]
    for spindle in ("S1", "S2"):
        alone = [Share.of(stream(s, b), SHEET).on(spindle) for s, b in places]
        apart = [Share.of(stream(s, b, part_of="distance"), SHEET).on(spindle) for s, b in places]
        assert Share.of(stream(None, None), SHEET).on(spindle) == pytest.approx(np.mean(alone))
        assert sum(apart) == pytest.approx(0.0)


# By hand: an offset of 2 um at minute 14 of a subgroup honed from 10 to 20 acts on 6 of its 10 minutes, so
# its mean moves by 1.2 um against the one before, and the next by the other 0.8.
def test_an_offset_inside_a_subgroup_moves_it_by_the_share_honed_after():
    found = moved(stream(), [offset(14, 2.0)], TENS)
    np.testing.assert_allclose(found.machine, [1.2, 0.8, 0.0])
    np.testing.assert_allclose(found.by_hand, 0.0)
    np.testing.assert_allclose(found.doubt, [(OFFSET_DOUBT * 1.2) ** 2, (OFFSET_DOUBT * 0.8) ** 2, 0.0])


def test_an_offset_between_subgroups_moves_the_whole_next_one():
    found = moved(stream(), [offset(20.5, -1.0)], [(0, 10), (10, 20), (21, 30), (31, 40)])
    np.testing.assert_allclose(found.machine, [0.0, -1.0, 0.0])


@given(st.floats(-5, 60), st.floats(-3, 3))
def test_an_offset_in_time_of_the_subgroups_is_done_in_full_at_their_end(at, value):
    found = moved(stream(), [offset(at, value)], TENS)
    total = float(found.machine.sum())
    done_before = np.clip((10 - at) / 10, 0, 1)
    done_after = np.clip((40 - at) / 10, 0, 1)
    assert total == pytest.approx(value * (done_after - done_before), abs=1e-6)


@pytest.mark.parametrize(
    ("of", "share"),
    [
        (stream("S2", "3"), 0.0),
        (stream(None, None), 0.5),
        (stream("S2", "3", part_of="distance"), -0.5),
        (stream("S1", None), 1.0),
        (stream(feature="taper"), 0.0),
    ],
)
def test_an_offset_of_one_spindle_moves_pooled_streams_by_its_share(of, share):
    found = moved(of, [offset(10, 2.0)], TENS)
    assert found.machine.sum() == pytest.approx(2.0 * share)


def test_offsets_by_hand_are_kept_apart_and_strange_ones_are_not_known():
    usual, strange = 4.0, 4.1  # the tolerance is 24 um wide, and a sixth of it only follows wear
    assert usual_um(SHEET) == pytest.approx(USUAL_SHARE * 24) == pytest.approx(usual)
    found = moved(stream(), [offset(10, usual, by="A. Person")], TENS)
    assert (found.by_hand.sum(), found.machine.sum()) == (pytest.approx(usual), 0.0)
    found = moved(stream(), [offset(10, strange, by="A. Person")], TENS)
    assert (found.by_hand.sum(), found.doubt.sum()) == (0.0, 0.0)
    found = moved(stream(), [offset(10, strange, by="machine")], TENS)
    assert found.machine.sum() == pytest.approx(strange)


@pytest.mark.parametrize(
    ("second", "strange"),
    [
        (offset(60, -9.0, by="P"), [True, False]),
        (offset(60, 9.0, by="P"), [True, True]),
        (offset(60, -9.0, by="P", spindle="S2"), [True, True]),
        (offset(25 * 60, -9.0, by="P"), [True, True]),
        (offset(60, -1.0, by="P"), [True, False]),
    ],
)
def test_what_undoes_a_strange_offset_within_a_day_is_taken_as_known(second, strange):
    assert unusual(events_of([offset(10, 9.0, by="P"), second]), 4.0).tolist() == strange


def test_zeroing_moves_readings_of_that_gauge_and_no_distance():
    def zeroed(gauge):
        return {"at": 10, "event": "gauge-zeroed", "gauge": gauge, "value": -1.5}

    assert moved(stream(), [zeroed("G1")], TENS).zeroed.sum() == -1.5
    assert moved(stream(), [zeroed(None)], TENS).zeroed.sum() == -1.5
    assert moved(stream(), [zeroed("G2")], TENS).zeroed.sum() == 0.0
    assert moved(stream(part_of="distance"), [zeroed("G1")], TENS).zeroed.sum() == 0.0
    assert moved(stream(), [zeroed("G1")], TENS).doubt.sum() == 0.0
    without_value = {"at": 10, "event": "gauge-zeroed", "gauge": "G1"}
    assert moved(stream(), [without_value], TENS).zeroed.sum() == 0.0


def test_temperatures_move_sizes_by_their_difference_and_leave_a_doubt_where_lost():
    found = moved(stream(), [], TENS, thermal=[1.0, 1.4, np.nan, 2.0])
    np.testing.assert_allclose(found.thermal, [0.4, 0.0, 0.0])
    assert found.thermal_lost.tolist() == [False, True, True]
    taper = moved(stream(feature="taper"), [], TENS, thermal=[1.0, 1.4, np.nan, 2.0])
    assert not taper.thermal.any() and not taper.thermal_lost.any()


@pytest.mark.parametrize(
    ("kind", "dressed", "changed"),
    [("stones-dressed", 1, 0), ("stones-fitted", 0, 1), ("setup-changed", 0, 1), ("rerouted", 0, 0)],
)
def test_dressings_and_changes_fall_into_the_subgroup_whose_bores_come_after(kind, dressed, changed):
    for at, where in ((15, 0), (20, 0), (20.5, 1), (5, None), (10.5, 0)):
        found = moved(stream(), [{"at": at, "event": kind, "spindle": "S1"}], TENS)
        expected = [i == where for i in range(3)]
        assert found.dressed.tolist() == (expected if dressed else [False] * 3)
        assert found.changed.tolist() == (expected if changed else [False] * 3)


def test_a_dressing_of_another_spindle_touches_only_what_it_has_a_share_in():
    row = {"at": 15, "event": "stones-dressed", "spindle": "S2"}
    assert not moved(stream(), [row], TENS).dressed.any()
    assert moved(stream(None, None), [row], TENS).dressed.tolist() == [True, False, False]
    assert moved(stream(feature="taper", bore="3", spindle="S2"), [row], TENS).dressed.any()


def subgroups(count, **other):
    made = no_rows(Subgroups)
    rows = {
        name: np.resize(np.array([0], dtype=a.dtype), count) for name, a in made.arrays() if a.dtype != object
    }
    texts = {name: np.full(count, None, dtype=object) for name, a in made.arrays() if a.dtype == object}
    given_ = {
        "at": np.array([minute(10 * i) for i in range(count)], dtype="datetime64[us]"),
        "n": np.full(count, 5, dtype=np.int64),
        "mean": np.arange(count, dtype=float),
    }
    return Subgroups(**{**rows, **texts, **given_, **other})


def laid(*columns, slope=0.0, events=()):
    """Lay out columns of one stream, each given as its rows, its spans and perhaps its temperatures."""
    edges = np.cumsum([0, *(len(rows) for rows, *_ in columns)])
    rows = np.array([row for rows, *_ in columns for row in rows], dtype=np.int64)
    whole = Laid.of(rows, edges[:-1], edges[1:])
    pieces = [spans_of(spans, *thermal) for _, spans, *thermal in columns]
    every, first = (joined([piece.select(part) for piece in pieces]) for part in (slice(None), slice(1)))
    before = whole.before(every, first)
    found = moves_of([stream()] * len(columns), whole.column, every, before, events_of(events), SHEET)
    sizes = {"bore_sd": np.full(len(columns), SD), "slope": np.full(len(columns), slope)}
    return Columns(laid=whole, moves=found, spans=every, before=before, **sizes)


def joined(pieces):
    names = ("first", "last", "thermal")
    return type(spans_of([]))(
        **{n: np.concatenate([getattr(p, n) for p in (spans_of([]), *pieces)]) for n in names}
    )


def test_streams_lie_side_by_side_each_from_its_first_subgroup_on():
    steps = side_by_side(subgroups(5), laid(([0, 2, 4], TENS[:3]), ([1], TENS[:1])))
    assert steps.mean.shape == (3, 2)
    np.testing.assert_array_equal(steps.mean[:, 0], [0, 2, 4])
    np.testing.assert_array_equal(np.isnan(steps.mean[:, 1]), [False, True, True])
    assert steps.n[:, 1].tolist() == [5, 0, 0]
    assert steps.at[1, 0] == minute(20).astype(np.int64)
    assert side_by_side(subgroups(1), laid()).mean.shape == (0, 0)


def test_lost_temperatures_and_offsets_leave_their_variance():
    one = laid(([0, 1, 2], TENS[:3], [1.0, np.nan, np.nan]), events=[offset(20, 2.0)])
    doubt = side_by_side(subgroups(3), one).doubt[:, 0]
    np.testing.assert_allclose(doubt, [0, (THERMAL_DOUBT * SD) ** 2, (OFFSET_DOUBT * 2.0) ** 2])


# By hand: subgroups usually 10 minutes apart; a pause of 60 may have held 5 x 5 bores more, so a drift of
# 0.1 um a bore leaves 2.5^2 um^2; one under three times the usual leaves nothing.
def test_a_pause_leaves_what_bores_not_charted_may_have_worn():
    spans = [(0, 5), (10, 15), (20, 25), (30, 35), (90, 95), (110, 115)]
    doubt = side_by_side(subgroups(6), laid((range(6), spans), slope=0.1)).doubt[:, 0]
    assert LONG == 3.0
    np.testing.assert_allclose(doubt, [0, 0, 0, 0, 2.5**2, 0])
    far = [*spans[:4], (100_000, 100_005), (100_010, 100_015)]
    doubt = side_by_side(subgroups(6), laid((range(6), far), slope=0.1)).doubt[:, 0]
    assert doubt[4] == pytest.approx((0.1 * MOST_MISSED) ** 2)
    assert not side_by_side(subgroups(6), laid((range(6), far))).doubt.any()


def test_many_events_while_a_spindle_stood_still_move_it_by_their_sum_whatever_is_looked_at_together(
    monkeypatch,
):
    rng = np.random.default_rng(4)
    values = rng.normal(size=300).round(2)
    rows = [offset(20 + i, float(v), spindle="S1" if i % 3 else "S2") for i, v in enumerate(values)]
    spans = [(0, 10), (10, 20), (900, 910), (910, 920)]
    ones = [(i, float(v)) for i, v in enumerate(values) if i % 3]
    for at_once in (1, 7, 500_000):
        monkeypatch.setattr(inputs, "AT_ONCE", at_once)
        found = moved(stream(), rows, spans)
        assert found.machine[1] == pytest.approx(sum(v for _, v in ones), abs=1e-9)
        assert found.doubt[1] == pytest.approx(sum((OFFSET_DOUBT * v) ** 2 for _, v in ones))
        assert found.machine[[0, 2]].tolist() == [0.0, 0.0]
