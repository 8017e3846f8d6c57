import tomllib

from cellmon.sheet_checks import checked_sheet
from cellmon.simulate.harrowmere import harrowmere_week
from cellmon.simulate.sheet_text import sheet_text


def test_the_demonstration_sheet_has_no_mistake_and_says_what_is_honed():
    sheet, scenario = checked_sheet(tomllib.loads(sheet_text())), harrowmere_week()
    part = sheet.part()
    assert part.number == scenario.part_number and part.bores == scenario.bores.names
    assert (part.diameter.lower_um, part.diameter.target_um, part.diameter.upper_um) == (0.0, 12.0, 24.0)
    assert tuple(sheet.measuring.planes) == scenario.bores.planes
    assert sheet.gauge_ids == ("G1", "G2", "R1") and sheet.stream_gauges == ("G1",)
    assert [s.bores for s in sheet.spindles] == [("1", "2"), ("3", "4")]
    assert tuple(s.name for s in sheet.shifts) == scenario.shift_names
