"""Mating parts in another unit are doubted as readings are; a size of no bore is set aside alone."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.intake import read_text
from cellmon.records import Kind
from tests.intake.conftest import is_accounted_for, reasons

MM = [87.2651, 87.2702, 87.2688]


def text(header, values):
    return "\n".join([header, *(f"P{i},{v}" for i, v in enumerate(values))])


def test_a_file_that_says_inch_is_taken_in_inch(sheet):
    taken = read_text(
        text("part,diameter_in", [f"{v / 25.4:.6f}" for v in MM]), sheet, kind=Kind.MATING_PARTS
    )
    assert taken.batch.diameter_mm == pytest.approx(MM, abs=5e-5)
    assert not taken.refused and not taken.notes


@pytest.mark.parametrize("header", ["part,diameter_mm", "part,diameter"])
def test_a_file_in_inch_that_says_nothing_of_it_is_set_aside_whole(sheet, header):
    rows = text(header, [f"{v / 25.4:.6f}" for v in MM])
    taken = read_text(rows, sheet, kind=Kind.MATING_PARTS)
    assert taken.batch is None and [why for _, why in reasons(taken)] == ["unit-doubt"] * 3
    assert "--unit in takes it" in taken.notes[0]
    is_accounted_for(taken)
    again = read_text(rows, sheet, kind=Kind.MATING_PARTS, unit="in")
    assert again.batch.diameter_mm == pytest.approx(MM, abs=5e-5)


def test_a_size_of_no_bore_is_set_aside_alone(sheet):
    taken = read_text(text("part,diameter_mm", [*MM, 3.4352, 99.1]), sheet, kind=Kind.MATING_PARTS)
    assert reasons(taken) == [(5, "not-this-bore"), (6, "not-this-bore")]
    assert np.asarray(taken.batch.diameter_mm) == pytest.approx(MM)


def test_a_file_that_fits_in_no_unit_is_set_aside_row_by_row(sheet):
    taken = read_text(text("part,diameter_mm", [12.0, 12.1]), sheet, kind=Kind.MATING_PARTS)
    assert [why for _, why in reasons(taken)] == ["not-this-bore"] * 2 and not taken.notes
