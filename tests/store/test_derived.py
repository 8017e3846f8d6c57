"""What was judged is kept unit by unit, read back by stream, time and block, and dropped without a trace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cellmon.errors import StoreRefused
from cellmon.judged import Bores, Doubts, Limit, Subgroups
from cellmon.records import no_rows
from cellmon.store import bores
from cellmon.store.chunks import decode
from tests.store.making import (
    ALL,
    APART,
    MINUTE,
    OF_S1,
    PER_UNIT,
    S1,
    S2,
    START,
    UNIT,
    UNITS,
    alarm,
    filled,
    keep_readings,
    some_bores,
    some_readings,
    some_subgroups,
    texts,
)

LEARNED = {"centre": -0.3, "level": 0.125, "walk": 0.0, "size": 3}


def limit(stream, *, sigma=1.25, learned=None) -> Limit:
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
        learned=learned,
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
            pooled = [some_subgroups(unit, stream) for stream in (ALL, OF_S1, APART)]
            session.add_subgroups(Subgroups.concat(parts), Subgroups.concat(pooled))
            session.add_counts({(UNITS[unit], S1): (3, 1), (UNITS[unit], S2): (unit, 2)})
            session.add(filled(Doubts, 1, id=f"d{unit}", unit_start=UNITS[unit], measured_at=UNITS[unit]))
            session.add(alarm(f"c{unit}", unit))
            session.put_watched({UNITS[unit]: f"place {unit}".encode()})
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


def test_charted_bores_of_one_spindle_are_told_from_the_others(store):
    with store.writing() as session:
        session.add_bores(some_bores(0, charted=np.array([1, 1, 0, 1, 1, 1])))
    with store.reading() as session:
        assert len(session.bores(spindle="S1", charted=True)) == 2
        assert len(session.bores(charted=False)) == 1


@pytest.mark.parametrize("spindle", ["S1", "S2", "S3"])
def test_charted_bores_are_counted_as_they_are_found(store, spindle):
    with store.writing() as session:
        for unit in (0, 1):
            session.add_bores(some_bores(unit, charted=np.arange(PER_UNIT) % 4 < 3))
    with store.reading() as session:
        stretch = {"start": UNITS[0] + 20 * MINUTE, "end": UNITS[1] + 30 * MINUTE}
        found = session.bores(spindle=spindle, charted=True, **stretch)
        assert session.count_charted(spindle, **stretch) == len(found)
        level = float(np.median(found.average)) if len(found) else 0.0
        above = session.count_charted(spindle, **stretch, of=lambda bores: bores.average > level)
        assert above == (found.average > level).sum()
        assert spindle == "S3" or 0 < above < len(found)


def test_of_a_block_it_is_known_when_its_charted_bores_were_made(store):
    with store.writing() as session:
        known_blocks(session, 0)
        session.add_bores(some_bores(0, charted=np.array([1, 1, 0, 1, 1, 1])))
    with store.reading() as session:
        every = session.bores(part="B0001")
        first, second = every.measured_at
        assert every.charted.tolist() == [0, 1]
        assert session.made_of("B0001", until=second).tolist() == [second.item()]
        assert len(session.made_of("B0001", until=first)) == 0
        assert len(session.made_of("nobody", until=second)) == 0


def test_shifts_are_those_that_have_bores(judged):
    with judged.reading() as session:
        assert session.shift_starts().tolist() == np.array(UNITS).tolist()


def test_subgroups_are_those_of_one_stream_its_fixture_too(judged):
    with judged.reading() as session:
        found = session.subgroups(S1)
        assert found.mean.tolist() == [unit + i / 10 for unit in range(4) for i in range(PER_UNIT)]
        assert set(found.spindle) == {"S1"} and set(found.fixture) == {None}
        assert len(session.subgroups(replace(S2, fixture=None))) == 0
        assert len(session.subgroups()) == 2 * len(found) == 48, "those of the bores themselves"


@pytest.mark.parametrize("stream", [S1, ALL])
@pytest.mark.parametrize(("start", "end"), [(None, None), (START + 2 * MINUTE, None), (UNITS[1], UNITS[3])])
def test_a_stretch_of_one_stream_is_what_its_units_hold(judged, stream, start, end):
    for _ in range(2):
        with judged.reading() as session:
            found = session.subgroups(stream, start=start, end=end)
            units = [session.subgroups_of_unit(unit, stream) for unit in UNITS]
        every = Subgroups.concat(units)
        inside = np.ones(len(every), dtype=bool)
        if start is not None:
            inside &= every.at >= start
        if end is not None:
            inside &= every.at <= end
        assert found.digest() == every.select(inside).digest()


@pytest.mark.parametrize("stream", [ALL, OF_S1, APART])
def test_subgroups_of_means_and_distances_are_kept_apart_from_those_of_bores(judged, stream):
    with judged.reading() as session:
        found = session.subgroups(stream)
        assert {found.stream_of(i) for i in range(len(found))} == {stream}
        assert found.mean.tolist() == [unit + i / 10 for unit in range(4) for i in range(PER_UNIT)]
        assert session.subgroups(stream, last=7).at.tolist() == found.at[-7:].tolist()
        assert len(session.subgroups(replace(stream, feature="taper"))) == 0


def test_a_unit_holds_the_subgroups_of_all_its_streams(judged):
    with judged.reading() as session:
        found = session.subgroups_of_unit(UNITS[2])
        assert {found.stream_of(i) for i in range(len(found))} == {S1, S2, ALL, OF_S1, APART}
        assert set(found.unit_start) == {UNITS[2]} and len(found) == 5 * PER_UNIT
        assert len(session.subgroups_of_unit(START + 99 * UNIT)) == 0


@pytest.mark.parametrize("many", [1, 6, 8, 24, 99])
def test_the_first_subgroups_of_several_streams_are_found_together(judged, many):
    with judged.reading() as session:
        found = session.first_subgroups([S1, ALL, APART], start=None, count=many)
        every = session.subgroups(S1).at.tolist()
        assert {s: batch.at.tolist() for s, batch in found.items()} == dict.fromkeys(
            (S1, ALL, APART), every[:many]
        )
        later = session.first_subgroups([S2], start=UNITS[2], count=many)[S2]
        assert later.at.tolist() == every[2 * PER_UNIT :][:many]
        assert session.first_subgroups([], start=None, count=many) == {}


def test_first_subgroups_hold_no_doubted_bore(store):
    with store.writing() as session:
        session.add_subgroups(
            some_subgroups(0, S1, flagged=np.array([0, 1, 0, 2, 0, 0])), some_subgroups(0, ALL, flagged=1)
        )
    with store.reading() as session:
        found = session.first_subgroups([S1, ALL], start=None, count=3)
    assert found[S1].mean.tolist() == [0.0, 0.2, 0.4]
    assert len(found.get(ALL, ())) == 0


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
        session.add_subgroups(some_subgroups(0, S1, flagged=np.array([0, 1, 0, 2, 0, 0])), no_rows(Subgroups))
    with store.reading() as session:
        assert session.subgroups(S1, clean=True).mean.tolist() == [0.0, 0.2, 0.4, 0.5]
        assert session.subgroups(S1, clean=True, first=2).mean.tolist() == [0.0, 0.2]


def test_counts_of_a_stream_are_summed_over_its_units(judged):
    with judged.reading() as session:
        assert session.counts() == {S1: (12, 4), S2: (6, 8)}


def test_bores_of_a_position_by_unit_come_newest_first(judged):
    with judged.reading() as session:
        found = session.made_at_positions(start=UNITS[1], end=UNITS[3])
        assert session.first_unit() == UNITS[0]
    of_s2 = found[S2.part_number, S2.spindle, S2.bore]
    assert of_s2.start.tolist() == [unit.astype(object) for unit in (UNITS[3], UNITS[2], UNITS[1])]
    assert of_s2.bores.tolist() == [3, 2, 1]
    assert set(found) == {(S1.part_number, S1.spindle, S1.bore), (S2.part_number, S2.spindle, S2.bore)}


def test_bores_of_units_since_one_and_whether_any_were_made_between(store):
    made = replace(S1, feature="diameter")
    nobody = replace(made, spindle=None)
    with store.writing() as session:
        session.add_counts({(UNITS[i], made): (7 + i, 2) for i in (0, 1, 3)})
        session.add_counts({(UNITS[0], nobody): (2, 0)})
    with store.reading() as session:
        later = session.bores_by_unit(start=UNITS[1])
        assert (later.start.tolist(), later.bores.tolist()) == ([UNITS[1], UNITS[3]], [8, 10])
        assert session.bores_by_unit().bores.sum() == 27
        assert session.made_between("S1", UNITS[0], UNITS[2])
        assert not session.made_between("S1", UNITS[1], UNITS[3])
        assert session.made_between("", UNITS[0] - UNIT, UNITS[1])
        assert not session.made_between("S9", UNITS[0] - UNIT, UNITS[3])


def test_units_that_may_hold_bores_between_two_moments_begin_with_that_which_holds_the_first(judged):
    second = np.timedelta64(1, "s")

    def held(start, end):
        return [one.start for one in session.units_holding(start, end)]

    with judged.reading() as session:
        every = session.units_since(UNITS[0])
        assert session.units_holding(UNITS[1], UNITS[3]) == every[1:4]
        assert held(UNITS[1] + second, UNITS[2] - second) == [UNITS[1]]
        assert held(UNITS[0] - UNIT, UNITS[0]) == [UNITS[0]]
        assert held(UNITS[3] + second, UNITS[3] + UNIT) == [UNITS[3]]
        assert held(UNITS[0] - UNIT, UNITS[0] - second) == []


def test_of_a_position_with_features_that_tell_of_fewer_bores_the_most_count(store):
    ovality = replace(S1, feature="ovality", fixture="P1")
    with store.writing() as session:
        session.add_counts({(UNITS[0], S1): (7, 2), (UNITS[0], ovality): (3, 1), (UNITS[0], ALL): (14, 4)})
    with store.reading() as session:
        found = session.made_at_positions(start=UNITS[0], end=UNITS[0])
        assert [one.bores.tolist() for one in found.values()] == [[7]]
        assert session.made_at_positions(start=UNITS[1], end=UNITS[3]) == {}


def test_what_was_judged_in_some_units_is_forgotten_and_nothing_else(judged):
    with judged.writing() as session:
        session.put_provisional({S1: limit(S1)})
        session.forget_units([UNITS[1], UNITS[3], START + 99 * UNIT])
    with judged.reading() as session:
        kept = {UNITS[0], UNITS[2]}
        assert set(session.bores().unit_start) == kept
        assert set(session.subgroups().unit_start) == kept
        assert session.doubts().id.tolist() == ["d0", "d2"]
        assert session.alarms().call.tolist() == ["c0", "c2"]
        assert set(session.subgroups(ALL).unit_start) == kept
        assert session.counts() == {S1: (6, 2), S2: (2, 4)}
        assert list(session.provisional()) == [S1]
        assert len(session.readings_between(START, START + 9 * UNIT).readings) == 12, "facts stay"


def test_more_units_than_a_statement_takes_are_forgotten(judged):
    with judged.writing() as session:
        session.forget_units([START + UNIT * i for i in range(-1300, 3)])
    with judged.reading() as session:
        assert set(session.bores().unit_start) == {UNITS[3]}


def test_everything_derived_is_forgotten_and_no_fact(judged):
    with judged.writing() as session:
        session.put_provisional({S1: limit(S1)})
        session.forget_all()
    with judged.reading() as session:
        batches = (session.bores(), session.subgroups(), session.subgroups(ALL), session.doubts())
        assert [len(batch) for batch in (*batches, session.alarms())] == [0, 0, 0, 0, 0]
        assert session.units_watched().size == session.units_judged().size == 0
        assert session.counts() == session.provisional() == {}
        assert session.shift_starts().size == 0
        assert session.last_change()


def test_a_unit_is_kept_once(judged):
    with pytest.raises(StoreRefused, match="failed"), judged.writing() as session:
        session.add_bores(some_bores(1))
    with judged.reading() as session:
        assert len(session.bores()) == 4 * PER_UNIT


def test_doubts_are_found_by_name(judged):
    with judged.reading() as session:
        assert session.doubts(id_="d2").measured_at.tolist() == [UNITS[2].astype(object)]
        doubt = session.doubts(id_="d2")
        assert doubt.proposal.tolist() == [None] and np.isnan(doubt.cell).all()


def test_what_was_called_comes_back_whole_and_oldest_first(judged):
    told = {"size": 2.5, "sigma": 0.75, "side": -1, "change_at": START, "change_part": "B0001", "moved": "[]"}
    with judged.writing() as session:
        session.add(alarm("of all", 1, ALL, **told))
        session.add(alarm("of S2", 0, S2))
    with judged.reading() as session:
        found = session.alarms()
    assert found.at.tolist() == sorted(found.at.tolist())
    assert found.call.tolist() == ["c0", "of S2", "c1", "of all", "c2", "c3"]
    assert [found.stream_of(i) for i in (1, 2, 3)] == [S2, S1, ALL]
    assert {name: getattr(found, name)[3] for name in told} == told
    assert np.isnan(found.size[2]) and np.isnat(found.change_at[2]) and found.moved[2] is None


def test_where_the_detectors_stood_is_found_before_and_at_a_unit(judged):
    with judged.writing() as session:
        assert session.watched_before(UNITS[0]) is None
        assert session.watched_before(UNITS[2]) == b"place 1"
        assert session.watched_before(UNITS[2] + MINUTE) == b"place 2"
        assert (session.watched_at(UNITS[3]), session.watched_at(UNITS[3] + MINUTE)) == (b"place 3", None)
        session.put_watched({UNITS[1]: b"again"})
        session.forget_watched(UNITS[2])
    with judged.reading() as session:
        assert session.units_watched().tolist() == np.array([UNITS[i] for i in (0, 1, 3)]).tolist()
        assert session.watched_before(UNITS[3]) == b"again"
        assert session.alarms().call.tolist() == ["c0", "c1", "c3"], "what was called in a unit goes with it"
        assert session.units_judged().tolist() == np.array(UNITS).tolist(), "its subgroups stay"
        assert session.units_judged(UNITS[1] + MINUTE).tolist() == np.array(UNITS[2:]).tolist()


def test_provisional_limits_are_those_of_their_stream_and_replaced_whole(store):
    with store.writing() as session:
        session.put_provisional({S1: limit(S1)})
        session.put_provisional({S2: limit(S2)})
        session.put_provisional({S2: limit(S2, sigma=np.nan)})
        session.put_provisional({ALL: limit(ALL, learned=LEARNED)})
        session.put_provisional({APART: limit(APART)})
    with store.reading() as session:
        found = session.provisional()
    assert set(found) == {S1, S2, ALL, APART}
    assert found[S1] == limit(S1)
    assert found[ALL] == limit(ALL, learned=LEARNED), "what the watch learned comes back to the last digit"
    assert np.isnan([found[S2].sigma, found[S2].centre]).all(), "no centre without a spread"
    assert (found[S2].n, found[S2].window_to) == (75, UNITS[2])
    with store.writing() as session:
        session.put_provisional({S2: None})
        session.put_provisional({APART: None})
    with store.reading() as session:
        assert set(session.provisional()) == {S1, ALL}, "a distance is not the bore, nor a mean its spindle's"


def test_readings_of_which_nothing_is_derived_are_known(store):
    with store.writing() as session:
        assert not session.is_underived(), "an empty store lacks nothing"
        known_blocks(session, 0)
        assert session.is_underived()
        session.add_bores(some_bores(0))
        assert not session.is_underived()


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
    monkeypatch.setattr(bores, "decode", lambda data: read.append(1) or decode(data))
    bores._unpacked.cache_clear()
    with judged.reading() as session:
        assert len(session.bores(part="B0000")) == 2
    assert len(read) == 2, "the two units that touch its one day"
