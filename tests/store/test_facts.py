"""Facts are added and read back, by time and by block, whatever else the store holds."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.errors import StoreRefused
from cellmon.records import Characteristics, Events, Kind, Reason, Refused
from tests.store.making import NOW, START, as_taken, file_fact, keep_readings, some_readings, texts

HOUR = np.timedelta64(1, "h")


def test_readings_come_back_with_everything_that_stood_beside_them(store):
    batch = some_readings(30)
    batch.stone_set[3], batch.extra[4] = "A1\x00ü", '{"colour": "blau"}'
    batch.sequence[5], batch.part_temp_c[6] = 7.0, 21.05
    batch.um[7, 0, 1], batch.repeated_hour[8] = np.nan, True
    with store.writing() as session:
        keep_readings(session, batch)
    with store.reading() as session:
        found = session.readings_between(START, START + 100 * HOUR).readings
    assert np.array_equal(found.um, batch.um, equal_nan=True)
    for name, array in batch.arrays():
        if name not in ("lines", "um"):
            assert getattr(found, name).astype(str).tolist() == array.astype(str).tolist(), name


def test_a_stretch_of_time_holds_its_start_and_not_its_end(store):
    with store.writing() as session:
        keep_readings(session, some_readings(200))  # every ten minutes, over two midnights
    with store.reading() as session:
        found = session.readings_between(START + 2 * HOUR, START + 30 * HOUR).readings.measured_at
        assert (found.min(), found.max()) == (START + 2 * HOUR, START + 30 * HOUR - np.timedelta64(10, "m"))
        assert len(found) == 28 * 6
        assert session.readings_between(START - 5 * HOUR, START) is None
        assert session.newest_reading() == START + 199 * np.timedelta64(10, "m")


def test_blocks_are_found_on_whatever_days_they_were_measured(store):
    with store.writing() as session:
        keep_readings(session, some_readings(200))
        again = some_readings(3, start=START + 240 * HOUR)  # B0000 to B0002, ten days later
        keep_readings(session, again, name="b.csv")
    with store.reading() as session:
        found = session.same_bores(some_readings(2)).readings
        assert found.part.tolist() == ["B0000", "B0001", "B0000", "B0001"]
        assert session.same_bores(some_readings(2, first=5000)) is None


def test_a_block_is_found_with_all_its_rows_and_no_other_of_the_same_day(store):
    batch = some_readings(40)
    batch.part[10:12] = "B0003"  # a serial read three times on one day, in two bores
    batch.bore[11] = "2"
    with store.writing() as session:
        keep_readings(session, batch)
    with store.reading() as session:
        found = session.same_bores(batch.select(np.array([3]))).readings
    assert found.part.tolist() == ["B0003"] * 3
    assert found.measured_at.tolist() == batch.measured_at[[3, 10, 11]].tolist()
    assert np.array_equal(found.um, batch.um[[3, 10, 11]])


def test_rows_given_out_of_order_come_back_by_time_with_what_was_said_of_each(store):
    batch = some_readings(300)  # over three days
    shuffled = np.random.default_rng(2).permutation(300)
    late = np.arange(300) % 7 == 0
    with store.writing() as session:
        file_id = session.add_file(file_fact("rows.csv", rows=300), ())
        session.add_readings(as_taken(batch.select(shuffled), late=late[shuffled]), file_id=file_id)
        other = keep_readings(session, some_readings(2, minutes=15), name="other.csv")
        assert session.newest_file() == other
    with store.reading() as session:
        found = session.readings_between(START, START + 99 * HOUR, not_file=other)
        assert found.readings.part.tolist() == batch.part.tolist()
        assert np.array_equal(found.readings.um, batch.um)
        assert found.late.tolist() == late.tolist()
        only = session.readings_between(START, START + 99 * HOUR, not_file=file_id).readings
        assert only.part.tolist() == ["B0000", "B0001"]
        moments = session.reading_moments()
        assert len(moments) == 301 and (np.diff(moments) > np.timedelta64(0)).all()


def test_a_row_at_midnight_belongs_to_the_day_it_begins(store):
    midnight = np.datetime64("2026-03-03T00:00:00", "us")
    tick = np.timedelta64(1, "us")
    batch = some_readings(3)
    batch.measured_at[:] = [midnight - tick, midnight, midnight + tick]
    with store.writing() as session:
        keep_readings(session, batch)
    with store.reading() as session:
        assert len(session.readings_between(midnight - tick, midnight).readings) == 1
        assert session.readings_between(midnight, midnight + tick).readings.part.tolist() == ["B0001"]
        assert len(session.readings_between(midnight - tick, midnight + 2 * tick).readings) == 3


def test_a_row_known_under_its_key_is_not_added_again_and_leaves_nothing(store):
    batch = events((1, "stones-fitted", "S1", None, "A1"), (2, "stones-dressed", "S1", None, None))
    with store.writing() as session:
        file_id = session.add_file(file_fact("e.csv", rows=2), ())
        session.add_rows(batch, ["k1", "k2"], file_id=file_id)
    with pytest.raises(StoreRefused), store.writing() as session:
        session.add_rows(batch, ["k3", "k2"], file_id=file_id)
    with store.reading() as session:
        assert set(session.known_rows(batch, ["k1", "k2", "k3"])) == {"k1", "k2"}
        many = [f"none {i}" for i in range(1200)]  # more than one question holds
        assert set(session.known_rows(batch, [*many, "k2"])) == {"k2"}
        assert session.known_rows(batch, []) == {}
        names = [c.name for c in batch.columns()]
        known = dict(zip(names, session.known_rows(batch, ["k1"])["k1"], strict=True))
        assert (known["event"], known["spindle"], known["value"]) == ("stones-fitted", "S1", None)


def test_files_of_other_planes_are_laid_side_by_side(store):
    wide = some_readings(2, first=10)
    other = some_readings(2).on_frame(("top", "middle", "bottom"), ("x", "y"))
    with store.writing() as session:
        keep_readings(session, wide)
        keep_readings(session, other, name="b.csv")
    with store.reading() as session:
        found = session.readings_between(START, START + 9 * HOUR).readings
        assert set(found.planes) == {"top", "middle", "bottom"}
        middle = found.um[:, found.planes.index("middle")]
        assert np.isnan(middle).all()
        assert len(session.frames()) == 2


def test_the_rows_of_a_file_set_aside_twice_are_listed_once(store):
    refused = (
        Refused(line=3, reason=Reason.NOT_A_NUMBER, text="B1,1,x"),
        Refused(line=9, reason=Reason.UNKNOWN_BORE, text="B1,9,50"),
    )
    with store.writing() as session:
        for _ in range(2):
            session.add_file(file_fact("rows.csv", rows=2, sha256="same"), refused)
        other = session.add_file(file_fact("other.csv", rows=2, sha256="other"), refused[:1])
        session.mark_retried([a.id for a in session.aside() if a.line == 9], file_id=other)
    with store.reading() as session:
        found = {(a.file, a.line, a.reason, a.text, a.retried) for a in session.aside()}
    assert found == {
        ("rows.csv", 3, "not-a-number", "B1,1,x", False),
        ("rows.csv", 9, "unknown-bore", "B1,9,50", True),
        ("other.csv", 3, "not-a-number", "B1,1,x", False),
    }


def events(*rows):
    at, event, spindle, gauge, stone_set = zip(*rows, strict=True)
    return Events(
        at=START + HOUR * np.array(at),
        event=texts(*event),
        spindle=texts(*spindle),
        gauge=texts(*gauge),
        stone_set=texts(*stone_set),
    )


def test_of_the_events_before_a_moment_the_last_of_each_kind_and_place_counts(store):
    batch = events(
        (1, "stones-fitted", "S1", None, "A1"),
        (2, "stones-fitted", "S1", None, "A2"),
        (2, "stones-fitted", "S2", None, "A3"),
        (3, "stones-dressed", "S1", None, None),
        (4, "gauge-zeroed", None, "G1", None),
        (5, "stones-fitted", "S1", None, "A4"),
    )
    with store.writing() as session:
        file_id = session.add_file(file_fact("e.csv", rows=6), ())
        session.add_rows(batch, [str(i) for i in range(6)], file_id=file_id)
    with store.reading() as session:
        found = session.latest_events(START + 5 * HOUR)
        told = {
            (e, s, g, n)
            for e, s, g, n in zip(found.event, found.spindle, found.gauge, found.stone_set, strict=True)
        }
        assert told == {
            ("stones-fitted", "S1", None, "A2"),
            ("stones-fitted", "S2", None, "A3"),
            ("stones-dressed", "S1", None, None),
            ("gauge-zeroed", None, "G1", None),
        }
        within = session.rows(Kind.EVENTS, start=START + 2 * HOUR, end=START + 4 * HOUR)
        assert within.at.tolist() == sorted(within.at.tolist()) and len(within) == 3
        assert np.isnan(within.value).all() and within.note.tolist() == [None] * 3
        assert set(session.known_rows(batch, ["1", "5", "nine"])) == {"1", "5"}
        assert session.newest_row() == START + 5 * HOUR


def test_events_of_one_moment_are_all_last_and_come_in_the_order_of_their_names(store):
    batch = events(
        (1, "stones-fitted", "S2", None, "A1"),
        (2, "stones-fitted", "S2", None, "A2"),
        (2, "stones-fitted", "S2", None, "A3"),
        (1, "gauge-zeroed", None, "G2", None),
        (1, "gauge-zeroed", None, "G1", None),
        (1, "gauge-zeroed", "S1", "G1", None),
        (1, "gauge-zeroed", None, None, None),
    )
    with store.writing() as session:
        file_id = session.add_file(file_fact("e.csv", rows=7), ())
        session.add_rows(batch, [str(i) for i in range(7)], file_id=file_id)
    with store.reading() as session:
        found = session.latest_events(START + 9 * HOUR)
        assert list(zip(found.spindle, found.gauge, found.stone_set, strict=True)) == [
            (None, None, None),
            (None, "G1", None),
            (None, "G2", None),
            ("S1", "G1", None),
            ("S2", None, "A2"),
            ("S2", None, "A3"),
        ]
        assert len(session.latest_events(START)) == 0


def test_a_number_grows_with_every_file_and_decision(store):
    seen = []
    for i in range(3):
        with store.writing() as session:
            seen.append(session.last_change())
            session.add_file(file_fact(f"{i}.csv"), ())
        with store.writing() as session:
            seen.append(session.last_change())
            session.decide(at=NOW, by="A", why="b", kind="respond", subject="x", body={})
    assert seen == sorted(set(seen))


@pytest.mark.parametrize("word", ["ümlaut 'quoted' \"twice\"", "\U0001f527", "; DROP TABLE files; --"])
def test_odd_serials_are_kept_and_found_again(store, word):
    batch = some_readings(1)
    batch.part[0] = word
    with store.writing() as session:
        keep_readings(session, batch)
    with store.reading() as session:
        assert session.same_bores(batch).readings.part.tolist() == [word]


def test_figures_of_some_characteristics_are_found_of_every_bore(store):
    names, bores = ["Ra", "Rk", "Ra", "Ra", "Rk"], ["1", "2", "Ω 3", "", "10"]
    batch = Characteristics(
        part=texts(*"ABCDE"),
        bore=texts(*bores),
        characteristic=texts(*names),
        value=np.arange(5.0),
        at=START + HOUR * np.array([3, 1, 2, 0, 4]),
    )
    with store.writing() as session:
        assert len(session.rows(Kind.CHARACTERISTICS, characteristics={"Ra"})) == 0
        file_id = session.add_file(file_fact("a.csv", rows=5), ())
        session.add_rows(batch, list("abcde"), file_id=file_id)
    with store.reading() as session:
        found = session.rows(Kind.CHARACTERISTICS, characteristics={"Ra"})
        assert found.value.tolist() == [3.0, 2.0, 0.0] and found.bore.tolist() == ["", "Ω 3", "1"]
        assert len(session.rows(Kind.CHARACTERISTICS, characteristics={"Ra", "Rk"})) == 5
        assert len(session.rows(Kind.CHARACTERISTICS, characteristics={"Rz"})) == 0
        since = session.rows(Kind.CHARACTERISTICS, characteristics={"Ra"}, start=START + HOUR)
        assert since.part.tolist() == ["C", "A"]
