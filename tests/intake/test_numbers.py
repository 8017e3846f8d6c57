"""Number text in the dialects of gauges and spreadsheets."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.intake import read_text
from cellmon.intake.numbers import Mark, number_columns
from tests.intake.conftest import LONG, reasons


def read(*cells):
    (column,), mark = number_columns([pa.array(list(cells), pa.string())])
    return column, mark


@pytest.mark.parametrize(
    ("cells", "values", "mark"),
    [
        (["87.3", "1e-3", "-.5", "+2", "7"], [87.3, 0.001, -0.5, 2, 7], Mark.POINT),
        (["87,3", "1.234", "-0,5", "1.234,5"], [87.3, 1234, -0.5, 1234.5], Mark.COMMA),
        (["1,234.5", "1,234", "2"], [1234.5, 1234, 2], Mark.POINT),
        (["1.234.567", "1,234"], [1234567, 1.234], Mark.COMMA),
        (["1,234", "0,234"], [1.234, 0.234], Mark.COMMA),
        (["1'234.5", "\u22125", " 6 "], [1234.5, -5, 6], Mark.POINT),
    ],
)
def test_one_mark_is_found_for_the_file_and_used_for_every_cell(cells, values, mark):
    column, found = read(*cells)
    assert column.values.tolist() == values and found is mark and not column.refused.any()


def test_what_may_be_one_or_a_thousand_is_not_guessed():
    column, mark = read("1,234", "12", "5,678")
    assert mark is Mark.UNKNOWN
    assert column.refused.tolist() == [True, False, True] and column.values[1] == 12


def test_another_column_of_the_file_decides():
    columns, mark = number_columns([pa.array(["1,234"]), pa.array(["0,5"])])
    assert mark is Mark.COMMA and columns[0].values.tolist() == [1.234]
    columns, mark = number_columns([pa.array(["1,234"]), pa.array(["0.5"])])
    assert mark is Mark.POINT and columns[0].values.tolist() == [1234]


@pytest.mark.parametrize("cell", ["", "---", "n/a", "N/A", "nan", "NULL", "-", " "])
def test_words_for_nothing_are_nothing(cell):
    column, _ = read(cell, "1")
    assert column.nothing.tolist() == [True, False] and not column.refused.any()


@pytest.mark.parametrize(
    "cell", ["x", "1.2.3", "1,2,3", "12 mm", "0x10", "inf", "1e999", "1,23.4", "1_000", "٣"]
)
def test_what_is_no_number_is_refused(cell):
    column, _ = read(cell, "1.5")
    assert column.refused.tolist() == [True, False] and np.isnan(column.values[0])


def thousands(whole, group):
    return f"{whole:,}".replace(",", group)


@given(
    st.lists(st.tuples(st.integers(-(10**7), 10**7), st.integers(0, 99)), min_size=1, max_size=30),
    st.sampled_from([(".", ","), (".", ""), (",", "."), (",", "")]),
)
@settings(max_examples=150, deadline=None)
def test_numbers_come_back_in_every_dialect(numbers, dialect):
    decimal, group = dialect
    cells = [f"{thousands(whole, group)}{decimal}{part:02d}" for whole, part in numbers]
    column, _ = read(*cells)
    expected = [float(f"{whole}.{part:02d}") for whole, part in numbers]
    assert column.values.tolist() == expected


def test_the_nominal_tells_the_mark_of_a_file_of_three_decimals(sheet):
    text = LONG.replace(",", ";") + "B1;1;S1;2026-10-19 06:00;top;x;87,312\n"
    assert read_text(text, sheet).batch.um[0, 0, 0] == 12.0
    # as deviations, 1,234 is either inside ten tolerances (1.234 um) or far outside (1234 um)
    text = (
        LONG.replace(",", ";").replace("diameter", "deviation_um") + "B1;1;S1;2026-10-19 06:00;top;x;1,234\n"
    )
    assert read_text(text, sheet).batch.um[0, 0, 0] == 1.234


def test_a_file_that_does_not_tell_its_mark_says_so(sheet):
    text = "at;stone_set;stone;position;thickness_mm\n2026-10-19 06:00;A;1;top;2,998\n"
    taken = read_text(text, sheet)
    assert reasons(taken) == [(2, "not-a-number")] and "comma" in taken.notes[0]
