"""Formats and dialects: the same bores from each, the file line of each row, and what is no row."""

from __future__ import annotations

import io
import json
from datetime import datetime

import numpy as np
import orjson
import pyarrow as pa
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from cellmon.errors import FileUnreadable
from cellmon.intake import read_file, read_text
from cellmon.intake.tables import open_bytes
from tests.intake.conftest import LONG, is_accounted_for, reasons

HEADER = LONG.strip().split(",")
ROWS = [
    ["B1", "1", "S1", "2026-10-19T06:00:00", "top", "x", 87.3121],
    ["B1", "1", "S1", "2026-10-19T06:00:00", "top", "y", 87.31],
    ["B2", "2", "S1", "2026-10-19T06:01:25", "bottom", "y", 87.3199],
]
UM = [[12.1, 10.0], [19.9]]


def read_ums(taken):
    is_accounted_for(taken)
    return [bore[~np.isnan(bore)].tolist() for bore in taken.batch.um]


def delimited(separator=",", decimal=".", end="\n", quote=""):
    rows = [[quote + str(cell).replace(".", decimal) + quote for cell in row] for row in ROWS]
    return end.join(separator.join(row) for row in [HEADER, *rows]) + end


DIALECTS = [
    (separator, decimal, quote)
    for separator in (",", ";", "\t")
    for decimal in (".", ",")
    for quote in ("", '"')
    if separator != decimal or quote  # a decimal comma between commas needs quotes
]


@pytest.mark.parametrize(("separator", "decimal", "quote"), DIALECTS)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimited_text_is_read_in_every_dialect(sheet, write, separator, decimal, end, quote):
    taken = read_file(write(delimited(separator, decimal, end, quote)), sheet)
    assert read_ums(taken) == UM and taken.batch.lines[taken.batch.lines > 0].tolist() == [2, 3, 4]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_text_is_read_in_every_encoding(sheet, write, encoding):
    text = LONG.strip() + ",operator\nB1,1,S1,2026-10-19T06:00,top,x,87.31,Jürgen\n"
    assert read_file(write(text.encode(encoding)), sheet).batch.operator.tolist() == ["Jürgen"]


def workbook(rows, *, sheets=1, above=0):
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    for _ in range(sheets):
        page = book.add_worksheet()
        for i, row in enumerate([HEADER, *rows]):
            for j, cell in enumerate(row):
                if isinstance(cell, datetime):
                    page.write_datetime(i + above, j, cell, moment)
                else:
                    page.write(i + above, j, cell)
    book.add_worksheet("notes").write(0, 0, "nothing of weight")
    book.close()
    return out.getvalue()


def typed_rows():
    return [
        [part, int(bore), s, datetime.fromisoformat(at), p, d, size] for part, bore, s, at, p, d, size in ROWS
    ]


def test_a_workbook_is_read_with_its_own_line_numbers_numbers_and_times(sheet, write):
    taken = read_file(write(workbook(typed_rows(), above=2), "a.xlsx"), sheet)
    assert read_ums(taken) == UM and taken.batch.line.tolist() == [4, 6]
    assert taken.batch.measured_at[0] == np.datetime64("2026-10-19T04:00", "us")
    text = read_file(write(workbook(ROWS), "b.xlsx"), sheet)
    assert read_ums(text) == UM


def test_a_workbook_with_text_and_gaps_among_its_numbers_is_read(sheet, write):
    rows = [
        *typed_rows(),
        ["B3", 1, "S1", None, "top", "x", "---"],
        ["B4", 1, "S1", "2026-10-19 07:00", "top", "x", "87,3121"],
    ]
    taken = read_file(write(workbook(rows), "a.xlsx"), sheet)
    assert reasons(taken) == [(5, "missing-field")] and read_ums(taken) == [*UM, [12.1]]
    assert taken.refused[0].text == "B3,1,S1,,top,x,---"


def test_a_formula_counts_with_the_value_that_stands_beside_it_and_without_one_is_set_aside(sheet, write):
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    page = book.add_worksheet()
    for i, row in enumerate([HEADER, *ROWS]):
        page.write_row(i, 0, row[:-1])
        if i:
            page.write_formula(i, 6, "=87.3+0.0121", value=87.3121 if i == 1 else "")
    page.write(0, 6, HEADER[-1])
    book.close()
    taken = read_file(write(out.getvalue(), "a.xlsx"), sheet)
    assert read_ums(taken) == [[12.1]]
    assert reasons(taken) == [(3, "not-measured"), (4, "not-measured")]


def test_rows_on_two_sheets_are_refused_by_name(sheet, write):
    with pytest.raises(FileUnreadable, match="Sheet1, Sheet2"):
        read_file(write(workbook(ROWS, sheets=2), "a.xlsx"), sheet)


@pytest.mark.parametrize("typed", [False, True])
def test_parquet_is_read_whatever_its_types(sheet, write, typed):
    columns = list(zip(*(typed_rows() if typed else ROWS), strict=True))
    table = pa.table({name: pa.array(column) for name, column in zip(HEADER, columns, strict=True)})
    if typed:
        table = table.set_column(0, "part", table["part"].dictionary_encode())
    out = io.BytesIO()
    parquet.write_table(table, out)
    taken = read_file(write(out.getvalue(), "a.parquet"), sheet)
    assert read_ums(taken) == UM and taken.batch.line.tolist() == [2, 4]


def test_json_lines_are_read_and_a_bad_line_is_refused_alone(sheet, write):
    good = [orjson.dumps(dict(zip(HEADER, row, strict=True))) for row in ROWS]
    raw = b"\n".join([good[0], b"", b'{"part": ', good[1], b"[1, 2]", good[2], b'{"part": "B9"}'])
    taken = read_file(write(raw, "a.jsonl"), sheet)
    assert reasons(taken) == [(3, "unreadable"), (5, "unreadable"), (7, "missing-field")]
    assert read_ums(taken) == UM and taken.rows == 6


def test_a_line_with_too_few_or_too_many_cells_is_refused_alone(sheet, write):
    good = delimited()
    text = good + "B3,1,S1\n\n   \n,,,,,,\nB4,1,S1,2026-10-19T07:00,top,x,87.31,more\n"
    text += "B5,1,S1,2026-10-19T07:00,top,x,87.31"
    taken = read_file(write(text), sheet)
    assert reasons(taken) == [(5, "field-count"), (9, "field-count")]
    assert taken.refused[0].text == "B3,1,S1"
    assert taken.batch.line.tolist() == [2, 4, 10] and taken.rows == 6


def test_quoted_cells_may_hold_separators_quotes_and_line_breaks(sheet, write):
    text = (
        LONG.strip()
        + ",operator\n"
        + 'B1,1,S1,2026-10-19T06:00,top,x,87.31,"a, ""b"""\n'
        + 'B2,1,S1,2026-10-19T06:01,top,x,87.31,"two\nlines"\n'
        + 'B3,1,S1,2026-10-19T06:02,top,x,87.31,"open\n'
        + "B4,1,S1,2026-10-19T06:03,top,x,87.31,d\n"
        + "B5,1,S1,2026-10-19T06:04,top,x,87.31\n"
    )
    taken = read_file(write(text), sheet)
    assert taken.batch.operator.tolist() == ['a, "b"', "two\nlines", "d"]
    assert taken.batch.line.tolist() == [2, 3, 6]
    assert reasons(taken) == [(5, "field-count"), (7, "field-count")]
    is_accounted_for(taken)


def test_a_row_set_aside_keeps_at_most_500_characters(sheet, write):
    taken = read_file(write(delimited() + "B" * 2000 + "\n"), sheet)
    assert len(taken.refused[0].text) == 500


CELLS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=8)


@given(st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=12))
@settings(max_examples=150, deadline=None)
def test_quoted_cells_come_back_as_they_were(rows):
    rows = [["x" + cell.strip() for cell in row] for row in rows]
    quoted = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows]
    table = open_bytes(("a,b,c\n" + "\n".join(quoted)).encode(), name="f").table
    assert [list(row) for row in zip(*(c.to_pylist() for c in table.columns), strict=True)] == rows


def test_header_text_and_hash_are_those_of_the_file(sheet, write):
    taken = read_file(write(delimited(";")), sheet)
    assert taken.header == ";".join(HEADER) and len(taken.sha256) == 64
    assert read_text(delimited(";"), sheet).sha256 == taken.sha256


def test_a_row_with_a_nul_is_set_aside_in_typed_formats_too(sheet, write):
    lines = [dict(zip(HEADER, row, strict=True)) for row in ROWS]
    lines[1]["part"] = "B\x001"
    taken = read_file(write("\n".join(map(json.dumps, lines)) + "\n"), sheet)
    is_accounted_for(taken)
    assert reasons(taken) == [(2, "unreadable")]
