"""Readings of both shapes: what becomes a bore, what is set aside and why, what is told twice."""

from __future__ import annotations

import random

import numpy as np
import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.intake import read_file, read_text
from cellmon.records import Kind, Readings
from tests.intake.conftest import LONG, SHEET, WIDE, is_accounted_for, reasons, sheet_with

AT = "2026-10-19T06:00:00+02:00"
ROW = f"B1,1,S1,{AT},top,x,87.3121\n"


def bores(taken):
    assert isinstance(taken.batch, Readings)
    return taken.batch


def test_rows_of_one_bore_become_one_bore(sheet, write):
    text = LONG + "".join(
        f"B1,1,S1,{AT},{plane},{direction},{87.31 + i / 1000:.4f}\n"
        for i, (plane, direction) in enumerate((p, d) for p in ("top", "middle", "bottom") for d in "xy")
    )
    taken = read_file(write(text), sheet)
    batch = bores(taken)
    assert taken.kind is Kind.READINGS and taken.rows == 6 and len(batch) == 1
    assert batch.um[0].tolist() == [[10.0, 11.0], [12.0, 13.0], [14.0, 15.0]]
    assert batch.lines[0].tolist() == [[2, 3], [4, 5], [6, 7]]
    assert batch.measured_at[0] == np.datetime64("2026-10-19T04:00:00", "us")
    assert (batch.gauge[0], batch.part_number[0], batch.stage[0]) == ("G1", "HM-214", "finish")
    assert batch.nominal_mm[0] == 87.3 and not batch.repeated_hour[0] and batch.extra[0] is None


def test_the_same_bores_come_of_either_shape_and_any_order(sheet, write):
    rng = random.Random(4)
    rows, wide = [], []
    for part in range(40):
        for bore in "1234":
            spindle = "S1" if bore in "12" else "S2"
            sizes = [round(87.312 + rng.gauss(0, 0.002), 4) for _ in range(6)]
            head = f"B{part},{bore},{spindle},2026-10-19T{6 + part // 10:02d}:{part % 10:02d}:00"
            places = [(p, d) for p in ("top", "middle", "bottom") for d in "xy"]
            rows += [f"{head},{p},{d},{s}" for (p, d), s in zip(places, sizes, strict=True)]
            wide.append(head + "," + ",".join(map(str, sizes)))
    rng.shuffle(rows)
    one = bores(read_file(write(LONG + "\n".join(rows)), sheet))
    other = bores(read_file(write(WIDE + "\n".join(wide) + "\n"), sheet))
    order = [np.lexsort((b.bore.astype(str), b.part.astype(str))) for b in (one, other)]
    assert np.array_equal(one.um[order[0]], other.um[order[1]])
    assert np.array_equal(one.measured_at[order[0]], other.measured_at[order[1]])


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (f",1,S1,{AT},top,x,87.31", "missing-field"),
        (f"B2,,S1,{AT},top,x,87.31", "missing-field"),
        (f"B2,1,---,{AT},top,x,87.31", "missing-field"),
        ("B2,1,S1,,top,x,87.31", "missing-field"),
        (f"B2,1,S1,{AT},,x,87.31", "missing-field"),
        (f"B2,9,S1,{AT},top,x,87.31", "unknown-bore"),
        (f"B2,1,S9,{AT},top,x,87.31", "unknown-spindle"),
        (f"B2,1,S1,{AT},rim,x,87.31", "unknown-plane"),
        (f"B2,1,S1,{AT},top,z,87.31", "unknown-direction"),
        ("B2,1,S1,yesterday,top,x,87.31", "not-a-time"),
        ("B2,1,S1,2026-02-30T06:00,top,x,87.31", "not-a-time"),
        ("B2,1,S1,2026-03-29T02:30,top,x,87.31", "no-such-hour"),
        (f"B2,1,S1,{AT},top,x,87.3l", "not-a-number"),
        (f"B2,1,S1,{AT},top,x,inf", "not-a-number"),
        (f"B2,1,S1,{AT},top,x,1e999", "not-a-number"),
        (f"B2,1,S1,{AT},top,x,---", "not-measured"),
        (f"B2,1,S1,{AT},top,x,", "not-measured"),
        (f"B2,1,S1,{AT},top,x,n/a", "not-measured"),
        (f"B2,1,S1,{AT},top,x,NaN", "not-measured"),
        (f"B2,1,S1,{AT},top,x,0.000", "not-measured"),
        (f"B2,1,S1,{AT},top,x,78.312", "not-this-bore"),
        (f"B2,1,S1,{AT},top,x", "field-count"),
        (f"B2,1,S1,{AT},top,x,87.31,1", "field-count"),
        (f"B1,1,S1,{AT},top,x,87.3122", "contradicts"),
    ],
)
def test_a_row_that_cannot_be_used_is_set_aside_with_its_line_reason_and_text(sheet, write, row, reason):
    taken = read_file(write(LONG + ROW + row + "\n" + f"B3,1,S1,{AT},top,x,87.3121\n"), sheet)
    assert reasons(taken) == [(3, reason)]
    assert taken.refused[0].text == row
    assert bores(taken).part.tolist() == ["B1", "B3"]
    is_accounted_for(taken)


@pytest.mark.parametrize(
    ("column", "value", "reason"),
    [
        ("gauge", "G7", "unknown-gauge"),
        ("part_number", "HM-9", "unknown-part"),
        ("stage", "polish", "unknown-word"),
        ("cycle_s", "fast", "not-a-number"),
        ("honed_at", "then", "not-a-time"),
    ],
)
def test_a_column_that_may_be_there_is_checked_where_it_is(sheet, write, column, value, reason):
    text = LONG.strip() + f",{column}\n" + ROW.strip() + ",\n" + f"B2,1,S1,{AT},top,x,87.31,{value}\n"
    taken = read_file(write(text), sheet)
    assert reasons(taken) == [(3, reason)] and bores(taken).part.tolist() == ["B1"]


def test_hand_is_always_a_spindle_and_any_name_is_where_the_sheet_lists_none(sheet, write):
    text = LONG + ROW + f"B2,1,hand,{AT},top,x,87.31\nB3,1,S9,{AT},top,x,87.31\n"
    assert bores(read_file(write(text), sheet)).spindle.tolist() == ["S1", "hand"]
    listed = SHEET[SHEET.index("[[spindles]]") :]
    assert bores(read_file(write(text), sheet_with((listed, "")))).spindle.tolist() == ["S1", "hand", "S9"]


def test_a_gap_in_a_wide_row_leaves_the_rest_and_a_row_of_gaps_is_set_aside(sheet, write):
    text = (
        WIDE
        + f"B1,1,S1,{AT},87.31,---,87.312,0,n/a,\n"
        + f"B2,1,S1,{AT},,---,0.0,0,n/a,\n"
        + f"B3,1,S1,{AT},87.31,87.31,87.31,oops,87.31,87.31\n"
    )
    taken = read_file(write(text), sheet)
    assert reasons(taken) == [(3, "not-measured"), (4, "not-a-number")]
    um = bores(taken).um[0]
    assert um[0, 0] == 10.0 and um[1, 0] == 12.0 and np.isnan(um[[0, 1, 2, 2], [1, 1, 0, 1]]).all()
    is_accounted_for(taken)


def test_a_row_told_twice_is_counted_and_one_told_otherwise_is_set_aside(sheet, write):
    taken = read_file(write(LONG + ROW + ROW + ROW.replace("87.3121", "87.3131") + ROW), sheet)
    assert (taken.repeated, reasons(taken)) == (2, [(4, "contradicts")])
    assert bores(taken).um[0, 0, 0] == 12.1
    is_accounted_for(taken)


def test_a_wide_row_told_again_is_counted_contradicts_or_adds(sheet, write):
    first = f"B1,1,S1,{AT},87.31,87.31,87.31,87.31,87.31,\n"
    adds = f"B1,1,S1,{AT},87.31,,,,,87.311\n"
    other = f"B1,1,S1,{AT},87.32,,,,,87.319\n"
    late = f"B1,1,S1,{AT},,,,,,87.311\n"
    taken = read_file(write(WIDE + first + first + other + adds + late), sheet)
    assert (taken.repeated, reasons(taken)) == (2, [(4, "contradicts")])
    assert bores(taken).lines.reshape(2, 6).tolist() == [[2, 2, 2, 2, 2, 0], [0, 0, 0, 0, 0, 5]]
    is_accounted_for(taken)


def test_rows_that_differ_in_another_column_are_bores_of_their_own(sheet, write):
    text = LONG.strip() + ",operator\n" + f"B1,1,S1,{AT},top,x,87.31,ann\nB1,1,S1,{AT},top,y,87.31,bo\n"
    assert bores(read_file(write(text), sheet)).operator.tolist() == ["ann", "bo"]


def test_columns_nobody_declared_are_kept_as_json(sheet, write):
    head = LONG.strip() + ',Batch "A",probe\n'
    text = (
        head
        + f"B1,1,S1,{AT},top,x,87.31,7,p1\nB1,1,S1,{AT},top,y,87.31,7,p2\n"
        + f"B2,1,S1,{AT},top,x,87.31,,\nB3,1,S1,{AT},top,x,87.31,é,\n"
    )
    batch = bores(read_file(write(text), sheet))
    assert orjson.loads(batch.extra[0]) == {'Batch "A"': "7", "probe": ["p1", "p2"]}
    assert batch.extra[1] is None
    assert orjson.loads(batch.extra[2]) == {'Batch "A"': "é", "probe": None}


# 87.3121 mm / 25.4 = 3.437484 in (the inch is 25.4 mm exactly).
@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("diameter", "87.3121"),
        ("diameter_mm", "87.3121"),
        ("diameter_um", "87312.1"),
        ("diameter_in", "3.43748425"),
        ("deviation_um", "12.1"),
        ("deviation_mm", "0.0121"),
        ("deviation_in", "0.000476378"),
        ("Diameter (not ours)", None),
    ],
)
def test_a_size_column_may_carry_its_unit(sheet, write, column, value):
    if value is None:
        column, value = " DIAMETER-MM ", "87.3121"
    text = LONG.replace("diameter", column) + ROW.replace("87.3121", value)
    assert bores(read_file(write(text), sheet)).um[0, 0, 0] == pytest.approx(12.1, abs=1.01e-4)


def test_a_bare_name_takes_the_unit_of_each_rows_gauge(sheet, write):
    text = (
        LONG.strip()
        + ",gauge\n"
        + f"B1,1,S1,{AT},top,x,87.3121,G1\nB1,1,S1,{AT},top,x,3.43748425,G2\nB2,1,S1,{AT},top,x,87.3121,\n"
    )
    batch = bores(read_file(write(text), sheet))
    assert batch.um[:, 0, 0] == pytest.approx([12.1, 12.1, 12.1], abs=1e-4)
    assert batch.gauge.tolist() == ["G1", "G2", "G1"]


def test_a_gauge_that_reads_deviations_gives_them_under_bare_and_micrometre_names(write):
    deviating = sheet_with(('gauge = "G1"', 'gauge = "G1"\nreads = "deviation"'))
    for column in ("diameter", "diameter_um", "deviation"):
        text = (
            LONG.replace("diameter", column)
            + ROW.replace("87.3121", "0.0").replace("B1", "B2")
            + ROW.replace("87.3121", "12.1")
        )
        assert bores(read_file(write(text), deviating)).um[:, 0, 0].tolist() == [0.0, 12.1]
    wide = WIDE.replace("top_x", "top_x_um") + f"B1,1,S1,{AT},1,2,3,4,5,6\n"
    assert bores(read_file(write(wide), deviating)).um[0].ravel().tolist() == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    ("column", "values", "unit"),
    [
        ("diameter", ("3.43748", "3.43749", "3.43750"), "in"),
        ("diameter", ("12.1", "12.2", "12.3"), "um"),
        ("diameter_in", ("87.312", "87.311", "87.313"), "mm"),
        ("deviation_mm", ("12.1", "12.2", "12.3"), "um"),
    ],
)
def test_a_file_in_another_unit_is_set_aside_whole_until_a_person_names_the_unit(
    sheet, write, column, values, unit
):
    text = LONG.replace("diameter", column) + "".join(
        f"B{i},1,S1,{AT},top,x,{value}\n" for i, value in enumerate(values)
    )
    path = write(text)
    taken = read_file(path, sheet)
    assert taken.batch is None
    assert reasons(taken) == [(2, "unit-doubt"), (3, "unit-doubt"), (4, "unit-doubt")]
    assert f"--unit {unit}" in taken.notes[0]
    again = bores(read_file(path, sheet, unit=unit))
    assert (np.abs(again.um[:, 0, 0] - 12) < 3).all()


def test_a_slip_in_a_file_that_fits_is_not_a_doubt_about_its_unit(sheet, write):
    text = LONG + ROW + f"B2,1,S1,{AT},top,x,3.4375\nB3,1,S1,{AT},top,x,87.512\n"
    taken = read_file(write(text), sheet)
    assert reasons(taken) == [(3, "not-this-bore")]
    assert bores(taken).um[1, 0, 0] == 212.0  # a whole turn of the dial is doubted later, not here


def test_each_part_number_has_its_own_nominal_and_bores(write):
    two = sheet_with(
        ("[part]", "[[parts]]"),
        ("[features.diameter]", "[parts.features.diameter]"),
        added="""
[[parts]]
number = "HM-300"
bores = ["1", "5"]
[parts.features.diameter]
nominal = 90.0
lower = 90.0
upper = 90.02
""",
    )
    text = (
        LONG.strip()
        + ",part_number\n"
        + f"B1,1,S1,{AT},top,x,87.31,\nB2,1,S1,{AT},top,x,90.01,HM-300\nB3,5,S1,{AT},top,x,90.01,HM-300\n"
        + f"B4,5,S1,{AT},top,x,87.31,HM-214\n"
    )
    taken = read_file(write(text), two)
    assert reasons(taken) == [(5, "unknown-bore")]
    assert bores(taken).um[:, 0, 0].tolist() == [10.0, 10.0, 10.0]
    assert bores(taken).nominal_mm.tolist() == [87.3, 90.0, 90.0]


def test_words_of_the_sheet_are_known_in_any_case_and_as_spreadsheets_write_numbers(sheet, write):
    text = LONG + f" B1 ,1.0, s1 ,{AT},TOP,X,87.31\n"
    batch = bores(read_file(write(text), sheet))
    assert (batch.part[0], batch.bore[0], batch.spindle[0]) == ("B1", "1", "S1")


def test_the_same_moment_written_in_two_ways_is_one_moment(sheet, write):
    text = LONG + ROW + ROW.replace(AT, "2026-10-19T04:00:00Z") + ROW.replace(AT, "19.10.2026 06:00")
    assert read_file(write(text), sheet).repeated == 2


def test_what_was_set_aside_is_a_file_again_with_its_header(sheet, write):
    path = write(LONG.replace(",", ";") + ROW.replace(",", ";").replace(".", ",").replace("S1", "S9"))
    taken = read_file(path, sheet)
    text = taken.header + "\n" + "\n".join(row.text for row in taken.refused).replace("S9", "S1")
    assert bores(read_text(text, sheet)).um[0, 0, 0] == 12.1


def test_sequence_settles_the_repeated_hour_of_each_stream(sheet, write):
    clock = ["01:50", "02:20", "02:50", "02:10", "02:40", "03:10"]
    text = (
        LONG.strip()
        + ",sequence\n"
        + "".join(
            f"B{i}{bore},{bore},S1,2026-10-25T{at},top,x,87.31,{i}\n"
            for bore in "12"
            for i, at in enumerate(clock)
        )
    )
    batch = bores(read_file(write(text), sheet))
    utc = ["23:50", "00:20", "00:50", "01:10", "01:40", "02:10"]
    assert [str(at)[11:16] for at in batch.measured_at] == utc * 2
    assert batch.repeated_hour.tolist() == [False, True, True, True, True, False] * 2


WORDS = st.sampled_from(
    [
        "",
        "---",
        "B1",
        "B2",
        "1",
        "2",
        "9",
        "S1",
        "top",
        "x",
        "87.312",
        "3.4375",
        "0",
        '"',
        "87,31",
        "\x00",
        "é",
    ]
)
GOOD = st.builds(
    "B{},{},S1,2026-10-19T06:{:02d},{},{},87.31{}".format,
    st.integers(1, 3),
    st.integers(1, 2),
    st.integers(0, 2),
    st.sampled_from(["top", "middle", "bottom"]),
    st.sampled_from("xy"),
    st.integers(0, 2),
)
DIRTY = st.one_of(
    GOOD, GOOD, GOOD, st.lists(WORDS, min_size=1, max_size=9).map(",".join), st.just(""), st.text(max_size=30)
)


@given(st.lists(DIRTY, min_size=1, max_size=25))
@settings(max_examples=150, deadline=None)
def test_every_row_of_a_dirtied_file_is_accounted_for(sheet, rows):
    rows = [row.replace("\n", " ").replace("\r", " ") for row in rows]
    taken = read_text(LONG + "B0,1,S1,2026-10-19T05:00,top,x,87.31\n" + "\n".join(rows), sheet)
    is_accounted_for(taken)
    assert taken.rows <= len(rows) + 1
    if all(row.isascii() and row.isprintable() and '"' not in row for row in rows):
        assert taken.rows == 1 + sum(bool(row.strip(" ,")) for row in rows)


@given(
    st.lists(
        st.tuples(
            st.integers(1, 2),
            st.lists(st.sampled_from(["", "87.310", "87.311", "x"]), min_size=6, max_size=6),
        ),
        min_size=1,
        max_size=12,
    )
)
@settings(max_examples=100, deadline=None)
def test_every_wide_row_is_accounted_for(sheet, rows):
    text = (
        WIDE
        + "B9,1,S1,2026-10-19T05:00,87.31,87.31,87.31,87.31,87.31,87.31\n"
        + "".join(f"B{part},1,S1,{AT},{','.join(cells)}\n" for part, cells in rows)
    )
    taken = read_text(text, sheet)
    is_accounted_for(taken)
    assert taken.rows == len(rows) + 1
