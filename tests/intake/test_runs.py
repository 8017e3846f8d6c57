"""What rows of one bore say alike is read once; each row still stands or falls by itself."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from cellmon.intake import read_text
from cellmon.intake.runs import Runs
from cellmon.records import Reason
from tests.intake.conftest import LONG

PLACES = [(plane, direction) for plane in ("top", "middle", "bottom") for direction in ("x", "y")]


def rows(part: str, bore: str = "1") -> list[str]:
    return [
        f"{part},{bore},S1,2026-01-05T05:13:55Z,{plane},{direction},87.31{i}"
        for i, (plane, direction) in enumerate(PLACES)
    ]


def read(lines, sheet):
    return read_text(LONG + "\n".join(lines) + "\n", sheet)


def test_a_run_ends_where_any_column_changes():
    found = Runs.of([pa.array(list(each)).dictionary_encode() for each in ("aabba", "xyyyy")], 5)
    assert found.heads.tolist() == [0, 1, 2, 4]
    assert found.run.tolist() == [0, 1, 2, 2, 3]
    kept, place = found.select(np.array([1, 3, 4]))
    assert (kept.tolist(), place.tolist()) == ([1, 2, 3], [0, 1, 2])


def test_rows_of_two_bores_in_turns_are_read_as_one_bore_after_the_other(sheet):
    one, other = rows("B1"), rows("B2")
    apart = read([*one, *other], sheet).batch
    in_turns = read([line for pair in zip(one, other, strict=True) for line in pair], sheet).batch
    assert in_turns.part.tolist() == apart.part.tolist() == ["B1", "B2"]
    assert np.array_equal(in_turns.um, apart.um)
    assert in_turns.lines.ravel().tolist() == [2, 4, 6, 8, 10, 12, 3, 5, 7, 9, 11, 13]


def test_a_word_that_fails_sets_its_rows_aside_and_a_size_its_own(sheet):
    lines = [*rows("B1"), *rows("B2", bore="9"), *rows("B3")]
    lines[14] = lines[14].replace("87.312", "x")
    found = read(lines, sheet)
    assert [(r.line, r.reason) for r in found.refused] == [
        *((line, Reason.UNKNOWN_BORE) for line in range(8, 14)),
        (16, Reason.NOT_A_NUMBER),
    ]
    assert found.batch.part.tolist() == ["B1", "B3"]
    assert np.isnan(found.batch.um[1, 1, 0]) and np.isfinite(found.batch.um).sum() == 11


@pytest.mark.parametrize("reason", [None, Reason.CONTRADICTS])
def test_a_row_that_comes_again_is_known_or_contradicts(sheet, reason):
    again = rows("B1")[1] if reason is None else rows("B1")[3].replace("87.313", "87.320")
    found = read([*rows("B1"), *rows("B2"), again], sheet)
    assert found.repeated == (reason is None)
    assert [r.reason for r in found.refused] == ([] if reason is None else [reason])


def test_a_file_of_no_row_that_can_be_cut_into_cells_has_no_runs(sheet):
    found = read(["B1,1,S1"], sheet)
    assert found.batch is None
    assert [r.reason for r in found.refused] == [Reason.FIELD_COUNT]
