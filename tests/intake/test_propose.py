"""The sheet a new folder begins with, and the one that a file of readings suggests."""

from __future__ import annotations

import pytest

from cellmon.errors import FileUnreadable
from cellmon.intake import parse_sheet, read_file
from cellmon.intake.propose import blank_sheet, propose_sheet
from cellmon.sheet import Uncertainty
from cellmon.units import LengthUnit
from tests.intake.conftest import LONG, WIDE, is_accounted_for

AT = "2026-10-19T06:00"


def long_text(size="87.3121", places=(("top", "x"), ("bottom", "y"), ("middle", "x"))):
    rows = [
        f"B{part},{bore},{'S1' if bore in '12' else 'S2'},2026-10-19T06:{part:02d},{plane},{direction},{size}"
        for part in range(3)
        for bore in ("1", "2", "10")
        for plane, direction in places
    ]
    return LONG + "\n".join(rows) + "\n"


def test_the_blank_sheet_stands_as_it_is():
    assert parse_sheet(blank_sheet()).sheet.part().bores == ("1", "2")


def test_a_long_file_shows_bores_planes_directions_and_routing(write):
    path = write(long_text())
    text = propose_sheet(path)
    sheet = parse_sheet(text).sheet
    assert sheet.part().bores == ("1", "2", "10")
    assert list(sheet.measuring.planes) == ["top", "middle", "bottom"]
    assert sheet.measuring.directions == {"x": 0, "y": 90}
    assert [(s.id, s.bores) for s in sheet.spindles] == [("S1", ("1", "2")), ("S2", ("10",))]
    assert sheet.part().diameter.nominal == 87.3 and sheet.part().diameter.upper is None
    assert "planes = { top = 10.0, middle = 20.0, bottom = 30.0 }" in text and text.count("FILL IN") >= 6
    taken = read_file(path, sheet)
    assert taken.refused == () and len(taken.batch) == 9
    is_accounted_for(taken)


def test_spindles_that_hone_the_same_bores_are_all_proposed_and_a_few_wrong_rows_are_not(write):
    rows = [("S1", "1"), ("S1", "2"), ("S2", "3"), ("S3", "1"), ("S3", "2"), ("S4", "3")] * 10
    rows += [("S1", "3"), ("S5", "1"), ("hand", "2")]
    text = WIDE + "".join(
        f"B{n},{bore},{spindle},{AT},87.31,87.32,87.31,87.30,87.31,87.31\n"
        for n, (spindle, bore) in enumerate(rows)
    )
    sheet = parse_sheet(propose_sheet(write(text))).sheet
    assert [(s.id, s.bores) for s in sheet.spindles] == [
        ("S1", ("1", "2")),
        ("S2", ("3",)),
        ("S3", ("1", "2")),
        ("S4", ("3",)),
    ]


@pytest.mark.parametrize(
    ("header", "cells", "nominal", "unit"),
    [
        (WIDE, "87.31,87.32,87.31,87.30,87.31,87.31", 87.3, LengthUnit.MM),
        (WIDE, "3.4374,3.4375,3.4374,3.4375,3.4374,3.4374", 87.3, LengthUnit.INCH),
        (WIDE.replace("_x", "_x_um").replace("_y", "_y_um"), "1.5,2,3,4,5,6", 100.0, LengthUnit.MM),
    ],
)
def test_a_wide_file_shows_its_grid_and_what_it_reads(write, header, cells, nominal, unit):
    path = write(header + f"B1,1,S1,{AT},{cells}\n")
    sheet = parse_sheet(propose_sheet(path)).sheet
    assert list(sheet.measuring.planes) == ["top", "middle", "bottom"]
    assert sheet.cell.length_unit is unit and sheet.part().diameter.nominal == pytest.approx(
        nominal, abs=0.05
    )
    assert len(read_file(path, sheet).batch) == 1


def test_names_of_the_files_own_are_proposed_as_renamed_columns(write):
    path = write(
        f"Serial No;Cylinder;Station;Time;Level;Axis;Value\nB1;1;S1;{AT};t;x;87,3121\nB1;1;S1;{AT};b;x;87,3\n"
    )
    sheet = parse_sheet(propose_sheet(path)).sheet
    assert sheet.columns["part"] == "Serial No" and sheet.columns["diameter"] == "Value"
    assert len(read_file(path, sheet).batch) == 1


def test_words_that_toml_must_quote_are_quoted(write):
    path = write(LONG + f'B1,"1""\\","S 1",{AT},"pl.1","x y",87.31\n')
    sheet = parse_sheet(propose_sheet(path)).sheet
    assert sheet.part().bores == ('1"\\',) and list(sheet.measuring.planes) == ["pl.1"]
    assert len(read_file(path, sheet).batch) == 1


@pytest.mark.parametrize(
    "text", ["at,event,spindle\n1,2,3\n", LONG, "part,bore,spindle,measured_at\nB1,1,S1,x\n"]
)
def test_a_file_that_shows_no_cell_is_refused(write, text):
    with pytest.raises(FileUnreadable):
        propose_sheet(write(text))


def test_the_commented_section_of_uncertainties_says_what_holds_without_it():
    text = blank_sheet()
    start = text.index("# [uncertainty]")
    section = text[start : text.index("\n\n", start)]
    spoken = text.replace(section, "\n".join(line.removeprefix("# ") for line in section.splitlines()))
    assert parse_sheet(text).sheet.uncertainty is None
    assert parse_sheet(spoken).sheet.uncertainty == Uncertainty()
