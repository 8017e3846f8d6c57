"""What was judged is kept unit by unit, read back by stream, time and block, and dropped without a trace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cellmon.errors import StoreRefused
from cellmon.judged import Bores, Doubts, Limit, Subgroups
from cellmon.store import derived
from cellmon.store.chunks import decode
from tests.store.making import (
    MINUTE,
    PER_UNIT,
    S1,
    S2,
    START,
    UNIT,
    UNITS,
    episode,
    filled,
    keep_readings,
    some_bores,
    some_readings,
    some_subgroups,
    texts,
)


def limit(stream, *, sigma=1.25) -> Limit:
    """Return provisional limits of a stream."""
    return Limit(
        stream=stream,
        centre=-0.3,
        sigma=sigma,
        n=75,
        subgroups=25,
        size=3,
        window_from=UNITS[0],
        window_to=UNITS[2],
    )


def known_blocks(session, unit: int, *, blocks: int = 3) -> None:
    """Keep readings of a unit's blocks, from which the store knows the days of each."""
    batch = some_readings(blocks, first=unit * blocks, minutes=1, start=UNITS[unit])
    keep_readings(session, batch, name=f"{unit}.csv")


@pytest.fixture
def judged(store):
    """A store in which four units were judged, the newest added first."""
    with store.writing() as session:
        for unit in (3, 0, 1, 2):
            known_blocks(session, unit)
            session.add_bores(some_bores(unit))
            parts = [some_subgroups(unit, S1), some_subgroups(unit, S2)]
            session.add_subgroups(Subgroups.concat(parts))
            session.add_counts({(UNITS[unit], S1): (3, 1), (UNITS[unit], S2): (unit, 2)})
            session.add(filled(Doubts, 1, id=f"d{unit}", unit_start=UNITS[unit], measured_at=UNITS[unit]))
            session.add(episode(f"e{unit}", unit))
    return store


def test_bores_come_back_with_every_column_oldest_first(judged):
    with judged.reading() as session:
        found = session.bores()
    wanted = Bores.concat([some_bores(unit) for unit in range(4)])
    for name, array in wanted.arrays():
        got = getattr(found, name)
        assert got.dtype == array.dtype, name
        same = got.tolist() == array.tolist() if array.dtype == object else None
        assert np.array_equal(got, array, equal_nan=True) if same is None else same, name


def test_bores_are_found_by_spindle_bore_and_block(judged):
    with judged.reading() as session:
        on_s1 = session.bores(spindle="S1")
        assert (set(on_s1.spindle), set(on_s1.bore), len(on_s1)) == ({"S1"}, {"1"}, 12)
        assert len(session.bores(spindle="S1", bore="2")) == 0
        block = session.bores(part="B0004")
        assert (block.part.tolist(), block.bore.tolist()) == (["B0004"] * 2, ["1", "2"])
        assert len(session.bores(part="nobody")) == 0


def test_a_stretch_of_bores_holds_both_its_ends(judged):
    start, end = UNITS[1] + 20 * MINUTE, UNITS[2] + 30 * MINUTE
    with judged.reading() as session:
        when = session.bores(start=start, end=end).measured_at
        assert (when[0], when[-1], len(when)) == (start, end, 8)
        assert len(session.bores(start=end + MINUTE, end=end + 2 * MINUTE)) == 0


@pytest.mark.parametrize("last", [1, 6, 7, 24, 99])
def test_the_newest_bores_stand_oldest_first(judged, last):
    with judged.reading() as session:
        every, newest = session.bores(), session.bores(last=last)
        assert newest.measured_at.tolist() == every.measured_at[-last:].tolist()
        before = session.bores(end=UNITS[2], last=2)
        assert before.measured_at.tolist() == [UNITS[1] + 50 * MINUTE, UNITS[2]]


def test_bores_of_other_planes_are_laid_on_those_of_the_newest(store):
    three = ("top", "middle", "bottom")
    wide = np.arange(PER_UNIT * 6.0).reshape(PER_UNIT, 3, 2)
    with store.writing() as session:
        session.add_bores(some_bores(0))
        session.add_bores(replace(some_bores(1), planes=three, um=wide))
    with store.reading() as session:
        found, old = session.bores(), session.bores(end=UNITS[0] + UNIT / 2)
    assert found.planes == three
    assert np.isnan(found.um[:PER_UNIT, 1]).all()
    assert np.array_equal(found.um[:PER_UNIT, [0, 2]], some_bores(0).um)
    assert np.array_equal(found.um[PER_UNIT:], wide)
    assert old.planes == ("top", "bottom")


def test_only_charted_bores_of_one_spindle_are_counted(store):
    with store.writing() as session:
        session.add_bores(some_bores(0, charted=np.array([1, 1, 0, 1, 1, 1])))
    with store.reading() as session:
        assert session.count_bores_since("S1", None, UNITS[1]) == 2
        assert session.count_bores_since("S1", UNITS[0], UNITS[0] + 40 * MINUTE) == 1, "its end is left out"
        assert len(session.bores(charted=False)) == 1


def test_shifts_are_those_that_have_bores(judged):
    with judged.reading() as session:
        assert session.shift_starts().tolist() == np.array(UNITS).tolist()


def test_subgroups_are_those_of_one_stream_its_fixture_too(judged):
    with judged.reading() as session:
        found = session.subgroups(S1)
        assert found.mean.tolist() == [unit + i / 10 for unit in range(4) for i in range(PER_UNIT)]
        assert set(found.spindle) == {"S1"} and set(found.fixture) == {None}
        assert len(session.subgroups(replace(S2, fixture=None))) == 0
        assert len(session.subgroups()) == 2 * len(found) == 48
        assert set(session.subgroups_of({S2}).fixture) == {"F1"}
        assert len(session.subgroups_of([S1, S2])) == 48
        assert len(session.subgroups_of(())) == 0


@pytest.mark.parametrize("many", [0, 1, 6, 8, 24, 99])
def test_the_first_and_the_last_subgroups_of_a_stream(judged, many):
    with judged.reading() as session:
        every = session.subgroups(S1).at.tolist()
        assert session.subgroups(S1, first=many).at.tolist() == every[:many]
        assert session.subgroups(S1, last=many).at.tolist() == every[len(every) - min(many, len(every)) :]


def test_a_stretch_of_subgroups_goes_by_their_end_and_holds_both_ends(judged):
    start, end = UNITS[1] + 2 * 60 * MINUTE, UNITS[2] + 60 * MINUTE
    with judged.reading() as session:
        when = session.subgroups(S2, start=start, end=end).at
        assert (when[0], when[-1], len(when)) == (start, end, 6)
        assert session.subgroups(S2, start=start, first=1).at.tolist() == [start.astype(object)]


def test_clean_subgroups_hold_no_doubted_bore(store):
    with store.writing() as session:
        session.add_subgroups(some_subgroups(0, S1, flagged=np.array([0, 1, 0, 2, 0, 0])))
    with store.reading() as session:
        assert session.subgroups(S1, clean=True).mean.tolist() == [0.0, 0.2, 0.4, 0.5]
        assert session.subgroups(S1, clean=True, first=2).mean.tolist() == [0.0, 0.2]


def test_counts_of_a_stream_are_summed_over_its_units(judged):
    with judged.reading() as session:
        assert session.counts() == {S1: (12, 4), S2: (6, 8)}


def test_what_was_judged_in_some_units_is_forgotten_and_nothing_else(judged):
    with judged.writing() as session:
        session.put_provisional(S1, limit(S1))
        session.forget_units([UNITS[1], UNITS[3], START + 99 * UNIT])
    with judged.reading() as session:
        kept = {UNITS[0], UNITS[2]}
        assert set(session.bores().unit_start) == kept
        assert set(session.subgroups().unit_start) == kept
        assert session.doubts().id.tolist() == ["d0", "d2"]
        assert session.episodes().id.tolist() == ["e0", "e2"]
        assert session.counts() == {S1: (6, 2), S2: (2, 4)}
        assert session.holds_only([UNITS[0], UNITS[2]]) and not session.holds_only([UNITS[0], UNITS[1]])
        assert list(session.provisional()) == [S1]
        assert len(session.readings_between(START, START + 9 * UNIT).readings) == 12, "facts stay"


def test_more_units_than_a_statement_takes_are_forgotten(judged):
    with judged.writing() as session:
        session.forget_units([START + UNIT * i for i in range(-1300, 3)])
    with judged.reading() as session:
        assert set(session.bores().unit_start) == {UNITS[3]}


def test_everything_derived_is_forgotten_and_no_fact(judged):
    with judged.writing() as session:
        session.put_provisional(S1, limit(S1))
        session.forget_all()
    with judged.reading() as session:
        batches = (session.bores(), session.subgroups(), session.doubts(), session.episodes())
        assert [len(batch) for batch in batches] == [0, 0, 0, 0]
        assert session.counts() == session.provisional() == {}
        assert session.holds_only([]) and session.shift_starts().size == 0
        assert session.last_change()


def test_a_unit_is_kept_once(judged):
    with pytest.raises(StoreRefused, match="failed"), judged.writing() as session:
        session.add_bores(some_bores(1))
    with judged.reading() as session:
        assert len(session.bores()) == 4 * PER_UNIT


def test_doubts_and_signals_are_found_by_name_stream_and_time(judged):
    with judged.writing() as session:
        session.add(episode("of S2", 1, S2))
    with judged.reading() as session:
        assert session.doubts(id_="d2").measured_at.tolist() == [UNITS[2].astype(object)]
        doubt = session.doubts(id_="d2")
        assert doubt.proposal.tolist() == [None] and np.isnan(doubt.cell).all()
        assert session.episodes(S2).id.tolist() == ["of S2"]
        at = UNITS[1] + 5 * MINUTE
        assert session.episodes(S1, start=at, end=UNITS[2] + 5 * MINUTE).id.tolist() == ["e1", "e2"]
        assert session.episodes(start=at + MINUTE, end=UNITS[2]).id.tolist() == []
    with judged.writing() as session:
        session.forget_episodes(S1)
    with judged.reading() as session:
        assert session.episodes().id.tolist() == ["of S2"]


def test_provisional_limits_are_those_of_their_stream_and_replaced_whole(store):
    with store.writing() as session:
        session.put_provisional(S1, limit(S1))
        session.put_provisional(S2, limit(S2))
        session.put_provisional(S2, limit(S2, sigma=np.nan))
    with store.reading() as session:
        found = session.provisional()
    assert set(found) == {S1, S2}
    assert found[S1] == limit(S1)
    assert np.isnan([found[S2].sigma, found[S2].centre]).all(), "no centre without a spread"
    assert (found[S2].n, found[S2].window_to) == (75, UNITS[2])
    with store.writing() as session:
        session.put_provisional(S2, None)
    with store.reading() as session:
        assert list(session.provisional()) == [S1]


def test_a_bore_charted_earlier_is_known_and_one_charted_later_is_not(judged):
    again = some_bores(2)  # B0006 to B0008, bores 1 and 2
    later = replace(again, measured_at=again.measured_at + MINUTE)
    earlier = replace(again, measured_at=again.measured_at - MINUTE)
    strangers = replace(later, part=texts(*["nobody"] * PER_UNIT))
    with judged.reading() as session:
        assert session.charted_elsewhere(later).all()
        assert not session.charted_elsewhere(again).any(), "itself is not an earlier one"
        assert not session.charted_elsewhere(earlier).any()
        assert not session.charted_elsewhere(strangers).any()
        other_bore = replace(later, bore=later.bore[::-1])
        assert session.charted_elsewhere(other_bore).tolist() == [False, True] * 3


def test_a_bore_that_was_not_charted_makes_no_later_one_a_repeat(store):
    with store.writing() as session:
        known_blocks(session, 0)
        session.add_bores(some_bores(0, charted=np.array([1, 0, 1, 0, 1, 0])))
    later = some_bores(0, measured_at=START + 90 * MINUTE)
    with store.reading() as session:
        assert session.charted_elsewhere(later).tolist() == [True, False] * 3


@pytest.mark.parametrize("order", [(0, 2), (2, 0)])
def test_of_several_charted_measurements_of_a_bore_the_earliest_counts(store, order):
    same = some_bores(0).part
    with store.writing() as session:
        keep_readings(session, some_readings(3, minutes=1))
        keep_readings(session, some_readings(3, minutes=1, start=UNITS[2]), name="b.csv")
        for unit in order:
            session.add_bores(some_bores(unit, part=same))
    between = some_bores(1, part=same)
    with store.reading() as session:
        assert session.charted_elsewhere(between).all()


def test_blocks_of_more_days_than_an_sqlite_condition_may_be_deep_are_found(store):
    """SQLite refuses an expression deeper than 1000 (sqlite.org/limits.html, item 8)."""
    days = 1100
    batch = some_readings(days, minutes=24 * 60)
    batch.part[:] = "master"
    with store.writing() as session:
        keep_readings(session, batch)
        for unit in (0, 3):
            session.add_bores(some_bores(unit, part=texts(*["master"] * PER_UNIT)))
    with store.reading() as session:
        assert len(session.bores(part="master")) == 2 * PER_UNIT
        assert session.charted_elsewhere(some_bores(1, part=texts(*["master"] * PER_UNIT))).all()
        assert len(session.same_bores(batch.select(slice(0, 1))).readings) == days


def test_only_units_of_a_block_s_days_are_read(judged, monkeypatch):
    """Length of history must not count where one block is asked for."""
    read = []
    monkeypatch.setattr(derived, "decode", lambda data: read.append(1) or decode(data))
    with judged.reading() as session:
        assert len(session.bores(part="B0000")) == 2
    assert len(read) == 2, "the two units that touch its one day"
