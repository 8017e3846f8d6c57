"""Every kind whose rows are plain: whole, in part, and wrong."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.intake import read_file, read_text
from cellmon.records import ROW_BATCHES, ColumnType, Kind
from tests.intake.conftest import is_accounted_for, reasons

AT = "2026-10-19T06:00:00+02:00"
WHOLE = {
    Kind.EVENTS: (
        "at,event,spindle,gauge,value,stone_set,kind,bores,by,note",
        f"{AT},stones-fitted,S1,,1520,FS-1041,D64,,ann,",
        f"{AT},gauge-zeroed,,G1,-4.0,,,,ann,after check",
        f"{AT},rerouted,S1,,,,,1 2 3 4,ann,",
    ),
    Kind.STONE_SETS: (
        "stone_set,kind,maker,lot,price,received_at,bores_before",
        "FS-1041,D64,,L7,420,2026-09-01,1520",
        "FS-1042,D64,,,,,",
    ),
    Kind.STONE_MEASUREMENTS: (
        "at,stone_set,stone,position,thickness_mm,holder,way_up,with_holder,round,by",
        f"{AT},FS-1041,1,top,2.512,H1,up,no,2,ann",
        f"{AT},FS-1041,1,middle,2.515,,,,,",
    ),
    Kind.STOCK: (
        "at,kind,change,lot,order,due,by,movement,use_by",
        f"{AT},D64,3,L7,,2026-11-02,ann,ordered,2027-11-02",
        "2026-10-20T06:00,D64,-1,,,,,,",
    ),
    Kind.GAUGE_CHECKS: (
        "at,gauge,master_mm,reading_mm,state,set_on,temp_c,by",
        f"{AT},G1,87.3120,87.3161,as-found,ring,22.5,ann",
    ),
    Kind.GAUGE_STUDY: (
        "study,part,trial,reading_mm,operator,gauge,bore,plane,direction,master_mm,at,part_number",
        f"GS1,B1,1,87.3121,ann,G1,1,top,x,87.312,{AT},HM-214",
        f"GS1,B1,2,87.3122,ann,G1,1,top,x,87.312,{AT},HM-214",
    ),
    Kind.CHARACTERISTICS: (
        "part,bore,characteristic,value,at,unit,plane,spindle,gauge,cutoff_mm,filter,by",
        f"B1,1,Rz,3.1,{AT},um,middle,S1,R1,0.8,gauss,ann",
    ),
    Kind.FINDINGS: (
        "part,bore,at,finding,count,plane,spindle,by",
        f"B1,1,{AT},scratch,2,top,S1,ann",
    ),
    Kind.TRACES: (
        "part,bore,plane,angle_deg,radius_um,spindle,at,gauge",
        f"B1,1,top,0,0.0,S1,{AT},R1",
        f"B1,1,top,0.5,-1.25,S1,{AT},R1",
    ),
    Kind.MATING_PARTS: (
        "part,diameter_mm,temp_c,height_mm,grade,at,by,part_number",
        f"P1,87.2651,20.4,18.5,A,{AT},ann,HM-214",
    ),
    Kind.SIZING: (
        "part,bore,round,at,plane,direction,diameter,stones,strokes_full,strokes_top,strokes_bottom,rpm,feed_um,"
        "part_temp_c,by,note,part_number,strokes_per_min,master_temp_c",
        f"B1,1,1,{AT},top,x,87.2501,D64,20,5,0,200,4,24.5,ann,tight,HM-214,60,20.5",
    ),
}


def cells(text: tuple[str, ...]):
    head, *rows = text
    return head.split(","), [row.split(",") for row in rows]


def joined(head, rows):
    return "\n".join(",".join(row) for row in [head, *rows]) + "\n"


@pytest.mark.parametrize("kind", WHOLE)
def test_a_whole_file_is_read_column_by_column(sheet, write, kind):
    taken = read_file(write(joined(*cells(WHOLE[kind]))), sheet)
    head, rows = cells(WHOLE[kind])
    assert (taken.kind, taken.rows, taken.refused, taken.repeated) == (kind, len(rows), (), 0)
    assert isinstance(taken.batch, ROW_BATCHES[kind])
    for column in type(taken.batch).columns():
        values = getattr(taken.batch, column.name)
        given = [row[head.index(column.name if column.name in head else "diameter")] for row in rows]
        if column.type is ColumnType.TEXT:
            assert values.tolist() == [cell or None for cell in given]
        elif column.type is ColumnType.TIME:
            assert [np.isnat(v) for v in values] == [not cell for cell in given]
        elif column.name != "diameter_um":
            assert values.tolist() == pytest.approx([float(cell or "nan") for cell in given], nan_ok=True)
    is_accounted_for(taken)


@pytest.mark.parametrize("kind", WHOLE)
def test_columns_that_need_not_be_there_need_not_be_there(sheet, kind):
    head, rows = cells(WHOLE[kind])
    needed = [c.name for c in ROW_BATCHES[kind].columns() if c.needed]
    needed = ["diameter" if name == "diameter_um" else name for name in needed]
    if kind is Kind.EVENTS:
        needed += ["spindle", "gauge", "value", "stone_set"]
    places = [head.index(name) for name in needed]
    taken = read_text(joined(needed, [[row[i] for i in places] for row in rows]), sheet, kind=kind)
    assert taken.refused == () and len(taken.batch) + taken.repeated == len(rows)


@pytest.mark.parametrize("kind", WHOLE)
def test_each_needed_cell_that_is_empty_or_wrong_sets_its_row_aside(sheet, kind):
    head, rows = cells(WHOLE[kind])
    for column in ROW_BATCHES[kind].columns():
        place = head.index(column.name if column.name in head else "diameter")
        spoilt = [row.copy() for row in rows]
        spoilt[0][place] = ""
        taken = read_text(joined(head, spoilt), sheet, kind=kind)
        is_accounted_for(taken)
        if column.needed:
            measured = column.type is ColumnType.LENGTH or column.name == "value"
            blank = all(not cell for cell in spoilt[0])
            assert blank or reasons(taken) == [(2, "not-measured" if measured else "missing-field")]
        if column.type is not ColumnType.TEXT or column.choices:
            spoilt[0][place] = "???"
            wrong = {ColumnType.TIME: "not-a-time", ColumnType.TEXT: "unknown-word"}
            taken = read_text(joined(head, spoilt), sheet, kind=kind)
            assert reasons(taken) == [(2, wrong.get(column.type, "not-a-number"))]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (f"{AT},stones-fitted,S1,,0,", "missing-field"),
        (f"{AT},feed-offset,S1,,,", "missing-field"),
        (f"{AT},gauge-zeroed,S1,,4,", "missing-field"),
        (f"{AT},stones-dressed,,G1,4,", "missing-field"),
        (f"{AT},stones-dressed,S9,,4,", "unknown-spindle"),
        (f"{AT},gauge-zeroed,,G9,4,", "unknown-gauge"),
        (f"{AT},stones-polished,S1,,4,", "unknown-word"),
    ],
)
def test_an_event_must_say_what_it_is_about(sheet, row, reason):
    good = f"{AT},stones-dressed,S1,,,\n"
    taken = read_text(f"at,event,spindle,gauge,value,stone_set\n{good}{row}\n", sheet)
    assert reasons(taken) == [(3, reason)] and len(taken.batch) == 1


@pytest.mark.parametrize(
    ("column", "value", "mm"),
    [
        ("thickness", "2.5", 2.5),
        ("thickness_mm", "2.5", 2.5),
        ("thickness_in", "0.1", 2.54),
        ("thickness_um", "2500", 2.5),
    ],
)
def test_lengths_come_in_the_unit_of_their_header(sheet, column, value, mm):
    text = f"at,stone_set,stone,position,{column}\n{AT},A,1,top,{value}\n"
    assert read_text(text, sheet).batch.thickness_mm.tolist() == [mm]


def test_a_bare_length_takes_its_gauges_unit(sheet):
    text = f"at,gauge,master,reading\n{AT},G1,87.3,87.304\n{AT},G2,3.437,3.4371\n"
    assert read_text(text, sheet).batch.master_mm.tolist() == pytest.approx([87.3, 87.2998])


def test_sizes_in_the_hand_are_deviations_from_nominal(sheet):
    head = "part,bore,round,at,plane,direction,"
    for column, value in (("diameter", "87.2501"), ("diameter_in", "3.43504331"), ("deviation_um", "-49.9")):
        text = f"{head}{column}\nB1,1,1,{AT},top,x,{value}\n"
        assert read_text(text, sheet).batch.diameter_um.tolist() == pytest.approx([-49.9], abs=1e-4)


def test_a_row_told_twice_is_counted_and_one_told_otherwise_is_set_aside(sheet):
    text = f"at,kind,change,by\n{AT},D64,3,ann\n{AT},D64,3,ann\n{AT},D64,4,ann\n{AT},D46,4,ann\n"
    taken = read_text(text, sheet)
    assert (taken.repeated, reasons(taken), taken.batch.line.tolist()) == (1, [(4, "contradicts")], [2, 5])
    is_accounted_for(taken)
