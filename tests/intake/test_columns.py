"""A header to its kind, under our names or the file's own."""

from __future__ import annotations

import pytest

from cellmon.errors import FileUnreadable, WrongUsage
from cellmon.intake import read_text
from cellmon.intake.columns import layout_of
from cellmon.records import Kind
from tests.intake.conftest import LONG, WIDE, sheet_with

AT = "2026-10-19T06:00"


@pytest.mark.parametrize(
    ("header", "kind"),
    [
        (LONG, "readings"),
        (WIDE, "readings"),
        (LONG.strip() + ",stone_set,by,price,temp_c", "readings"),
        ("serial,bore,spindle,measured_at,plane,direction,deviation_um", "readings"),
        ("at,event,spindle", "events"),
        ("at,event,gauge,value,stone_set,kind,bores,by,note", "events"),
        ("stone_set", "stone-sets"),
        ("stone_set,kind,maker,lot,price,received_at,bores_before", "stone-sets"),
        ("at,stone_set,stone,position,thickness_in", "stone-measurements"),
        ("at,kind,change", "stock"),
        ("at,gauge,master_mm,reading_mm", "gauge-checks"),
        ("study,part,trial,reading_mm,gauge,master_mm,at", "gauge-study"),
        ("part,bore,characteristic,value,at", "characteristics"),
        ("part,bore,at,finding,count", "findings"),
        ("part,bore,plane,angle_deg,radius_um,at,gauge", "traces"),
        ("part,diameter_mm", "mating-parts"),
        ("part,diameter,temp_c,height_mm,grade,at,by", "mating-parts"),
        ("part,bore,round,at,plane,direction,diameter", "sizing"),
    ],
)
def test_the_header_says_which_kind_it_is(sheet, header, kind):
    assert layout_of(header.strip().split(","), sheet, kind=None, name="f").kind is Kind(kind)


def test_what_is_missing_is_named(sheet):
    with pytest.raises(FileUnreadable, match="nearest is readings, which also needs: spindle, direction"):
        layout_of(["part", "bore", "measured_at", "plane", "diameter"], sheet, kind=None, name="f")
    with pytest.raises(FileUnreadable, match="lacks what events need: event, spindle or gauge"):
        layout_of(["at", "stone_set"], sheet, kind=Kind.EVENTS, name="f")
    with pytest.raises(FileUnreadable, match="one bore a row, which also needs: bottom_y"):
        layout_of(WIDE.strip().split(",")[:-1], sheet, kind=None, name="f")


def test_where_two_kinds_fit_a_person_says_which(sheet):
    header = "part,bore,at,finding,count,characteristic,value"
    row = f"\nB1,1,{AT},scratch,2,Rz,3.1\n"
    with pytest.raises(FileUnreadable, match="could be characteristics or findings; say which with --kind"):
        read_text(header + row, sheet)
    assert read_text(header + row, sheet, kind=Kind.FINDINGS).batch.finding.tolist() == ["scratch"]
    assert read_text(header + row, sheet, kind="characteristics").batch.value.tolist() == [3.1]
    with pytest.raises(WrongUsage):
        read_text(header + row, sheet, kind="bores")


def test_names_do_not_hang_on_capitals_spaces_or_order(sheet):
    text = f"Diameter MM; Measured-At ;DIRECTION;Plane;Spindle;BORE;Serial\n87.312;{AT};x;top;S1;1;B1\n"
    assert read_text(text, sheet).batch.part.tolist() == ["B1"]


def test_the_sheet_renames_columns():
    sheet = sheet_with(added='[columns]\npart = "Serial No"\ndiameter_in = "Ø"\nmeasured_at = "When"\n')
    text = f"Serial No,part,bore,spindle,When,plane,direction,Ø\nB1,HM,1,S1,{AT},top,x,3.43748\n"
    batch = read_text(text, sheet).batch
    assert batch.part.tolist() == ["B1"] and batch.um[0, 0, 0] == pytest.approx(12, abs=0.1)
    assert batch.extra[0] == '{"part":"HM"}'


def test_two_columns_for_one_of_ours_are_refused(sheet):
    with pytest.raises(FileUnreadable, match="more than one column for part"):
        read_text(LONG.strip() + f",serial\nB1,1,S1,{AT},top,x,87.31,B1\n", sheet)
