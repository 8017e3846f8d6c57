"""Columns are codes into their words, however many blocks a file is parsed in and whichever rows are kept."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.intake import delimited, read_text
from cellmon.intake.tables import opened, without_nul_rows
from cellmon.intake.typed import text_cells, typed_table
from cellmon.records import Reason
from tests.intake.conftest import LONG

LINES = [
    f"B{bore},{bore % 2 + 1},S1,2026-01-05T05:{bore:02d}:55Z,{plane},{direction},87.3{bore:02d}{i}"
    for bore in range(40)
    for i, (plane, direction) in enumerate((p, d) for p in ("top", "middle", "bottom") for d in ("x", "y"))
]


def table_of(text):
    return opened(text.encode(), "rows.csv", delimited.delimited_table).table


@pytest.mark.parametrize("at_once", [300, 1000, 5000])
def test_a_file_says_the_same_in_blocks_as_in_one(sheet, monkeypatch, at_once):
    text = LONG + "\n".join(LINES) + "\n"
    whole, columns = read_text(text, sheet), table_of(text).columns
    monkeypatch.setattr(delimited, "PARSED_AT_ONCE", at_once)
    blocks, again = read_text(text, sheet), table_of(text).columns
    assert all(one.equals(other) for one, other in zip(columns, again, strict=True))
    assert [len(one.dictionary) for one in again] == [40, 2, 1, 40, 3, 2, 240]
    assert np.array_equal(blocks.batch.um, whole.batch.um) and len(blocks.batch) == 40
    assert blocks.batch.part.tolist() == whole.batch.part.tolist() == [f"B{bore}" for bore in range(40)]


def test_a_block_with_a_line_that_does_not_fit_is_looked_at_line_by_line(sheet, monkeypatch):
    monkeypatch.setattr(delimited, "PARSED_AT_ONCE", 300)
    found = read_text(LONG + "\n".join([*LINES, "torn,1"]) + "\n", sheet)
    assert [(r.line, r.reason) for r in found.refused] == [(242, Reason.FIELD_COUNT)]
    assert len(found.batch) == 40


@pytest.mark.parametrize("blanks", [" ", " " * 30])
def test_a_row_of_nothing_but_spaces_is_no_row_however_many(blanks):
    cells = ",".join([blanks] * 7)
    columns = table_of(LONG + "\n".join([LINES[0], cells, *LINES[1:]]) + "\n").columns
    assert {len(column) for column in columns} == {240}


def test_words_that_only_rows_set_aside_hold_are_told_no_more():
    table = typed_table(
        ["a", "b"], [text_cells(["x", "y", "x"]), text_cells(["1,5", "2\x00", "3"])], line=np.arange(3)
    )
    kept = without_nul_rows(table)
    assert [column.dictionary.to_pylist() for column in kept.columns] == [["x"], ["1,5", "3"]]
    assert [(r.line, r.reason) for r in kept.refused] == [(1, Reason.UNREADABLE)]
