"""What is watched beside the bores: temperatures, expander position, and offsets given per 100 bores."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.judged import OFFSETS, Bores
from cellmon.monitor.judge.calls import detector_calls
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.process import SETTLING, evidence, offsets_given
from cellmon.monitor.rules import Unit
from cellmon.records import ColumnType, Events, no_rows
from tests.monitor.judge.feedback_cell import (
    BORE_SD,
    FEEDBACK_HEADER,
    FEEDBACK_SHEET,
    OFFSET_HEADER,
    held,
    moment,
    offset,
)
from tests.monitor.judge.making import demo_sheet, events_of, minute
from tests.small_cell import answers, new_cell, write

SHEET = demo_sheet()
UNIT_MINUTES = 400
EMPTY = {
    ColumnType.TEXT: lambda size: np.full(size, None, dtype=object),
    ColumnType.TIME: lambda size: np.full(size, "NaT", dtype="datetime64[us]"),
    ColumnType.NUMBER: lambda size: np.full(size, np.nan),
    ColumnType.WHOLE: lambda size: np.zeros(size, dtype=np.int64),
}


def bores_of(minutes, *, spindle="S1", **figures):
    """Return charted bores of the demonstration's part, one at each minute, in units of 400 minutes."""
    size = len(minutes)
    at = np.array([minute(m) for m in minutes], dtype="datetime64[us]")
    start = np.array([minute(m // UNIT_MINUTES * UNIT_MINUTES) for m in minutes], dtype="datetime64[us]")
    columns = {column.name: EMPTY[column.type](size) for column in Bores.columns()}
    columns |= {
        "part_number": np.full(size, "HM-214", dtype=object),
        "part": np.array([f"B{i:04d}" for i in range(size)], dtype=object),
        "bore": np.full(size, "1" if spindle == "S1" else "3", dtype=object),
        "spindle": np.full(size, spindle, dtype=object),
        "measured_at": at,
        "unit_start": start,
        "shift_start": start,
        "charted": np.ones(size, dtype=np.int64),
        **figures,
    }
    return Bores(planes=("a",), directions=("x",), um=np.zeros((size, 1, 1)), **columns)


def units_over(minutes):
    last = int(max(minutes)) // UNIT_MINUTES
    return [
        Unit(start=minute(k * UNIT_MINUTES), end=minute((k + 1) * UNIT_MINUTES), version=1)
        for k in range(last + 1)
    ]


def context_of(events):
    return Context(events=events, suspect=(), corrections={})


def logged(offsets):
    rows = [
        {"at": at, "event": "feed-offset", "spindle": "S1", "value": um, "by": "machine"}
        for at, um in offsets
    ]
    return events_of(sorted(rows, key=lambda row: row["at"]))


def blocks(bores, events, *, over=True):
    minutes = (bores.measured_at - minute(0)) / np.timedelta64(1, "m")
    done = np.full(len(bores), over)
    found = offsets_given(bores, done, SHEET, context_of(events), units=units_over(minutes))
    return found[0] if found else None


def by_hand(minutes, offsets):
    """Return unit, bores and offsets per 100 bores of each block, bore by bore."""
    first, *rest = sorted(offsets)
    found = []
    for unit in sorted({m // UNIT_MINUTES for m in minutes}):
        mine = [m for m in minutes if m // UNIT_MINUTES == unit]
        amount = dict.fromkeys(mine, 0.0)
        for at, um in rest:
            if at // UNIT_MINUTES == unit:
                later = [m for m in mine if m >= at]
                amount[later[0] if later else mine[-1]] += um
        told = [m for m in mine if m >= first[0]]
        for i in range(0, len(told), 100):
            block = told[i : i + 100]
            block = block[: len(block) // 20 * 20]
            if len(block) >= 60:
                found.append((unit, len(block), sum(amount[m] for m in block) * 100 / len(block)))
    return found


MOMENTS = st.integers(0, 1199)
OFFSETS_LOGGED = st.lists(
    st.tuples(st.integers(-50, 1250).map(lambda m: m + 0.5), st.sampled_from([0.5, 1.0, -1.0, 2.5])),
    min_size=1,
    max_size=30,
    unique_by=lambda one: one[0],
)


@settings(max_examples=60, deadline=None)
@given(missing=st.sets(MOMENTS, max_size=700), offsets=OFFSETS_LOGGED)
def test_blocks_hold_what_was_given_bore_by_bore(missing, offsets):
    minutes = [m for m in range(1200) if m not in missing]
    found = blocks(bores_of(minutes), logged(offsets))
    told = by_hand(minutes, offsets)
    assert (0 if found is None else len(found)) == len(told)
    for i, (unit, size, per_100) in enumerate(told):
        assert found.unit_start[i] == minute(unit * UNIT_MINUTES)
        assert found.n[i] == size // 20
        assert found.mean[i] == pytest.approx(per_100, abs=1e-9)
        assert found.sd[i] >= 0 and found.low[i] <= found.mean[i] <= found.high[i]


@settings(max_examples=30, deadline=None)
@given(missing=st.sets(MOMENTS, max_size=300), offsets=OFFSETS_LOGGED)
def test_a_unit_alone_tells_what_it_tells_beside_others(missing, offsets):
    minutes = [m for m in range(1200) if m not in missing]
    bores, events = bores_of(minutes), logged(offsets)
    whole = blocks(bores, events)
    means = []
    for unit in units_over(minutes):
        mine = bores.select(bores.unit_start == unit.start)
        before = events.select(events.at < unit.start)  # of these only the last is loaded
        within = events.select((events.at >= unit.start) & (events.at < unit.end))
        found = blocks(mine, Events.concat([before.select(slice(-1, None)), within]))
        means += [] if found is None else found.mean.tolist()
    assert means == ([] if whole is None else whole.mean.tolist())


def test_a_remainder_counts_once_its_unit_is_over_and_from_three_twenties_on():
    events = logged([(0.5, 1.0), (150.5, 1.5)])
    assert blocks(bores_of(range(180)), events, over=False).n.tolist() == [5]
    assert blocks(bores_of(range(180)), events).n.tolist() == [5, 3]
    assert blocks(bores_of(range(161)), events).n.tolist() == [5, 3], "the first bore came before all offsets"
    assert blocks(bores_of(range(160)), events).n.tolist() == [5]
    # 1.5 um in 60 bores
    assert blocks(bores_of(range(180)), events).mean.tolist() == [0.0, pytest.approx(2.5)]


def test_without_offsets_nothing_is_told_and_one_alone_tells_of_none_after_it():
    bores = bores_of(range(300))
    assert blocks(bores, no_rows(Events)) is None
    assert blocks(bores, logged([(-20.5, 3.0)])).mean.tolist() == [0.0, 0.0, 0.0]
    assert blocks(bores, logged([(500.5, 3.0)])) is None
    lacking = logged([(-20.5, 3.0), (50.5, 1.0)])
    lacking = replace(lacking, value=np.array([3.0, np.nan]))
    assert blocks(bores, lacking).mean.tolist() == [0.0, 0.0, 0.0]


def test_offsets_that_bring_other_stones_to_size_do_not_count():
    bores = bores_of(range(400))
    change = events_of([{"at": 200.0, "event": "stones-fitted", "spindle": "S1", "stone_set": "B"}])
    offsets = logged([(-5.5, 1.0), (150.5, 1.0), (210.5, 8.0), (350.5, 2.0)])
    events = Events.concat([offsets, change])
    assert np.timedelta64(2, "h") == SETTLING
    assert blocks(bores, events).mean.tolist() == [0.0, 1.0, 0.0, 2.0]


def evidence_of(bores):
    segment = np.zeros(len(bores), dtype=np.int64)
    found = evidence(bores, segment, np.ones(len(bores), dtype=bool), SHEET.part(), SHEET)
    return [(one.rows.bores.spindle[0], name, one.figures[name]) for one in found for name in one.figures]


def whole_blocks(count, **figures):
    """Return the four bores of some blocks, with figures of each bore."""
    bores = bores_of(np.repeat(np.arange(count), 4))
    names = np.tile(np.array(["1", "2", "3", "4"], dtype=object), count)
    spindles = np.where(np.isin(names.astype(str), ["1", "2"]), "S1", "S2").astype(object)
    parts = np.repeat(np.array([f"B{i}" for i in range(count)], dtype=object), 4)
    return replace(bores, bore=names, spindle=spindles, part=parts, **figures)


def test_temperatures_are_told_of_all_bores_and_expander_positions_of_each_spindle():
    feed = np.tile([10.0, 20.0, 100.0, 300.0], 6)
    found = evidence_of(whole_blocks(6, part_temp_c=np.repeat(np.arange(6.0), 4), feed_um=feed))
    assert [(spindle, name) for spindle, name, _ in found] == [
        ("S1", "feed_um"),
        ("S2", "feed_um"),
        (None, "part_temp_c"),
    ]
    assert found[0][2].tolist() == [15.0] * 6 and found[1][2].tolist() == [200.0] * 6
    assert found[2][2].tolist() == [0, 1, 2, 3, 4, 5]


def test_half_the_temperatures_empty_leave_the_mean_of_the_others_and_none_no_stream():
    there = np.tile([np.nan, 21.0, np.nan, 23.0], 5)
    there[:4] = np.nan
    ((_, name, figures),) = evidence_of(whole_blocks(5, part_temp_c=there))
    assert name == "part_temp_c"
    np.testing.assert_array_equal(figures, [np.nan, 22.0, 22.0, 22.0, 22.0])
    assert evidence_of(whole_blocks(5)) == []


# Wear of 0.02 um a bore is 2 um in 100 bores; from bore 2700 on it is twice that, and feedback hides it.
DOUBLED_FROM, BORES = 2700, 3700


@pytest.fixture(scope="module")
def doubled(tmp_path_factory):
    made = held(BORES, wear_um=lambda bore: 0.02 if bore < DOUBLED_FROM else 0.04)
    return _taken(tmp_path_factory.mktemp("doubled"), made)


def _taken(folder, made, *, sheet=FEEDBACK_SHEET):
    monitor = new_cell(folder / "cell", sheet=sheet)
    log = write(folder, "log.csv", OFFSET_HEADER, made.offsets)
    monitor.take([log, write(folder, "bores.csv", FEEDBACK_HEADER, made.bores)])
    return monitor


def test_wear_that_doubles_while_feedback_holds_size_is_signalled_on_the_offsets(doubled):
    with doubled._store.reading() as session:
        calls = list(detector_calls(session.alarms()))
    (call,) = [c for c in calls if c.stream.feature == OFFSETS]
    assert call.family == "level" and call.size == pytest.approx(2.0, abs=0.8)
    assert int(call.earliest_part[1:]) <= DOUBLED_FROM <= int(call.latest_part[1:])
    assert int(call.part[1:]) <= DOUBLED_FROM + 700
    (signal,) = doubled.signals().signals
    assert call.stream in signal.streams and "soft-stone" in [c.cause for c in signal.causes]


def test_the_size_itself_stays_where_it_was(doubled):
    """Only against the offsets known does the wear-aware watch of size see it too."""
    with doubled._store.reading() as session:
        bores = session.bores(charted=True)
    before, after = bores.average[:DOUBLED_FROM], bores.average[DOUBLED_FROM + 100 :]
    assert abs(after.mean() - before.mean()) < 0.3 * BORE_SD
    assert after.std() < 1.15 * before.std()


def test_wear_that_stays_while_feedback_holds_size_is_not(tmp_path, monkeypatch):
    monkeypatch.setattr("cellmon.monitor.stream.alarm_budget", lambda view: None)  # seconds, tested elsewhere
    monitor = _taken(tmp_path, held(BORES, wear_um=lambda bore: 0.02))
    assert monitor.signals().signals == ()
    view = monitor.stream(spindle="S1", bore=None, feature=OFFSETS)
    assert view.unit == "µm per 100 bores" and not len(view.bores.at) and len(view.subgroups.at)
    assert view.baseline is not None and view.baseline.center_um == pytest.approx(2.0, abs=0.3)
    monitor.close()


def test_offsets_that_are_always_alike_say_why_they_are_not_watched(tmp_path):
    made = held(2600, wear_um=lambda bore: 0.0, feedback=False)
    one = replace(made, offsets=(offset(-30, 1.0),))
    monitor = _taken(tmp_path, one)
    with monitor._store.reading() as session:
        known = {str(s): limit for s, limit in session.provisional().items()}
    assert known["S1 offsets given"].learned is None and known["S1 offsets given"].why_not
    assert monitor.signals().signals == ()
    monitor.close()


LATE = 2300
LATE_EVENTS = {
    "the first offset of all": [0],
    "the first two": [0, 1],
    "one in the middle": [20],
    "the last": [-1],
    "all": list(range(100)),
}


@pytest.fixture(scope="module")
def in_order(tmp_path_factory):
    made = held(LATE, wear_um=lambda bore: 0.02)
    fitted = f"{moment(1000)}Z,stones-fitted,S1,A2,0,"
    after_the_last = f"{moment(LATE + 300)}Z,feed-offset,S1,,2.0,machine"  # in its shift, after its last bore
    early = offset(-900, 4.0)  # in a shift before any bore
    made = replace(made, offsets=(early, *made.offsets, fitted, after_the_last))
    monitor = _taken(tmp_path_factory.mktemp("in-order"), made)
    return made, answers(monitor)


@pytest.mark.parametrize("late", LATE_EVENTS)
def test_offsets_logged_late_count_as_if_logged_in_time(tmp_path, in_order, late):
    made, expected = in_order
    offsets = [e for e in made.offsets if "feed-offset" in e]
    missing = [offsets[i] for i in LATE_EVENTS[late] if i < len(offsets)]
    monitor = _taken(tmp_path, replace(made, offsets=tuple(e for e in made.offsets if e not in missing)))
    monitor.take([write(tmp_path, "late.csv", OFFSET_HEADER, missing)])
    assert answers(monitor) == expected
    monitor.close()


def test_other_stones_logged_late_and_shuffled_bores_end_in_the_same_state(tmp_path, in_order):
    made, expected = in_order
    fitted = tuple(e for e in made.offsets if "stones-fitted" in e)
    shuffle = random.Random(4)
    mixed = shuffle.sample(made.bores, k=len(made.bores))
    log = tuple(e for e in made.offsets if e not in fitted)
    monitor = _taken(tmp_path, replace(made, offsets=log, bores=tuple(mixed[:900])))
    monitor.take([write(tmp_path, "more.csv", FEEDBACK_HEADER, mixed[900:])])
    monitor.take([write(tmp_path, "fitted.csv", OFFSET_HEADER, fitted)])
    assert answers(monitor) == expected
    assert monitor.check(rebuild=True).sound
    monitor.close()
