"""The watch through a cell: what is called of what happens, and that pieces give what the whole gives."""

import numpy as np
import pytest

from cellmon.monitor.judge.places import Place
from tests.monitor.judge.watched_cell import (
    WATCHED_HEADER,
    cell_of,
    logged,
    stepped,
    watched_rows,
)
from tests.small_cell import derived, write


def called(monitor):
    """Return kind and description of every signal, oldest first."""
    found = sorted(monitor.signals().signals, key=lambda s: (s.raised_at, str(s.stream)))
    return [(s.kind, str(s.stream)) for s in found if s.state != "withdrawn"]


def on(bores, um, *, since=240, until=10_000):
    return lambda block, bore: um if since <= block < until and bore in bores else 0.0


def test_a_quiet_cell_has_no_signal():
    assert called(cell_of(watched_rows(300))) == []


@pytest.mark.parametrize(("bores", "stream"), [("12", "S1 diameter"), ("3", "S2 bore 3 diameter")])
def test_a_shift_is_one_signal_of_what_moved_since_it_moved(bores, stream):
    monitor = stepped() if bores == "12" else cell_of(watched_rows(300, shift=on(bores, 4.0)))
    (signal,) = monitor.signals().signals
    assert (signal.kind, str(signal.stream), signal.over) == ("level", stream, False)
    assert signal.change.part == "B0240"
    assert signal.change.earliest_part <= "B0240" <= signal.change.latest_part
    # 60 blocks after: a mean of 60 bores of 1.2 um has a standard error of 0.16 um, the level before as much
    assert signal.size_um == pytest.approx(4.0, abs=1.0)
    assert len(signal.streams) > 1, "what it moves in other streams is the same signal"


def test_a_shift_of_all_bores_is_one_signal():
    assert called(cell_of(watched_rows(300, shift=on("1234", 3.0)))) == [("level", "all bores diameter")]


def test_a_single_wild_bore_is_told_as_one():
    (signal,) = cell_of(watched_rows(300, shift=on("4", 12.0, since=250, until=251))).signals().signals
    assert (signal.kind, str(signal.stream)) == ("single", "S2 bore 4 diameter")


def test_a_shift_that_goes_back_is_one_signal_that_is_over():
    monitor = cell_of(watched_rows(300, shift=on("12", 4.0, since=180, until=240)))
    (signal,) = monitor.signals().signals
    assert (signal.part, signal.over) == ("B0182", True)
    assert "B0239" <= signal.last_part <= "B0275"


def test_a_spread_that_grows_is_told_as_one_with_its_ratio():
    monitor = cell_of(
        watched_rows(300, wide=lambda block, bore: 3.0 if block >= 240 and bore == "2" else 1.0)
    )
    spread = [s for s in monitor.signals().signals if s.kind == "spread"]
    assert [str(s.stream) for s in spread] == ["S1 bore 2 diameter"]
    # 20 subgroups of 3: 40 degrees of freedom, so 11 % standard error; gauge noise of 0.4 / 2 um beside
    assert spread[0].ratio == pytest.approx(3.0, rel=0.35)


@pytest.mark.parametrize(
    ("event", "moves", "signals"),
    [
        (logged(240, "feed-offset", value="2.0", by="machine"), 2.0, []),
        (logged(240, "feed-offset", value="2.0", by="A. Person"), 2.0, []),
        (logged(240, "feed-offset", value="5.0", by="A. Person"), 5.0, [("level", "S1 diameter")]),
        (logged(240, "stones-fitted", stone_set="A2"), 2.0, []),
    ],
)
def test_what_was_logged_is_taken_out_unless_it_is_strange(event, moves, signals):
    monitor = cell_of(watched_rows(300, shift=on("12", moves)), [event])
    found = called(monitor)
    assert found[: len(signals)] == signals
    assert bool(found) == bool(signals)


def test_an_offset_that_acted_on_another_spindle_than_it_says_is_not_taken_out():
    event = logged(240, "feed-offset", value="2.0", by="machine", spindle="S2")
    found = called(cell_of(watched_rows(300, shift=on("12", 2.0)), [event]))
    assert {kind for kind, _ in found} == {"level"}


def test_pieces_in_any_order_give_what_the_whole_gives():
    lines = watched_rows(260, shift=on("12", 4.0, since=200))
    whole, pieces = cell_of(lines), cell_of(lines[500:700])
    for i, (a, b) in enumerate([(0, 500), (900, 1040), (700, 900)]):
        path = write(pieces.folder.parent, f"piece{i}.csv", WATCHED_HEADER, lines[a:b])
        pieces.take([path])
    assert derived(pieces) == derived(whole)
    assert pieces.check(rebuild=True).sound


def test_a_place_is_read_back_as_it_was_written():
    monitor = stepped()
    with monitor._store.reading() as session:
        units = session.units_watched()
        assert len(units) == 2, "two shifts"
        for unit in units:
            block = session.watched_at(unit)
            place = Place.read(block)
            assert place.block() == block
            standing = np.flatnonzero(place.state.level_side)
            names = {str(place.streams[i]) for i in standing}
            assert ("S1 diameter" in names) == (unit == units[-1])
