"""The story of one block: all that is known of it, whatever file it came in."""

from __future__ import annotations

import pytest

from cellmon.errors import NotFound
from tests.monitor.test_judging import bore_rows
from tests.small_cell import HEADER, new_cell, rows, write


def test_a_block_tells_its_measurings_what_an_eye_found_and_what_other_instruments_gave(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = [
        *bore_rows(1, "1", "2026-03-02T05:00:00Z", 1.0),
        *bore_rows(1, "2", "2026-03-02T05:01:00Z", 20.0),
    ]
    named = "part,bore,characteristic,value,at,unit,plane"
    monitor.take(
        [
            write(tmp_path, "a.csv", HEADER, [*lines, *bore_rows(1, "1", "2026-03-02T07:00:00Z", 1.2)]),
            write(tmp_path, "c.csv", named, ["B0001,1,Rz,2.5,2026-03-02T06:00:00Z,um,top"]),
            write(
                tmp_path, "f.csv", "part,bore,at,finding,count,by", ["B0001,2,2026-03-02T05:30:00Z,pore,2,A"]
            ),
            write(
                tmp_path, "g.csv", "part,bore,at,finding,count,by", ["B0002,2,2026-03-02T05:30:00Z,pore,2,A"]
            ),
        ]
    )
    story = monitor.part("B0001")
    assert [(m.bore, m.charted) for m in story.measurements] == [("1", True), ("2", True), ("1", False)]
    assert [(n.bore, n.what, n.value, n.unit, n.plane, n.by) for n in story.notes] == [
        ("2", "pore", 2.0, None, None, "A"),
        ("1", "Rz", 2.5, "um", "top", None),
    ]
    assert story.sentence.startswith("B0001: bore 2 does not conform, last seen")
    with pytest.raises(NotFound, match="no part B9999"):
        monitor.part("B9999")


def test_a_block_names_the_signals_that_rest_on_it_and_no_others(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(110, jump_at=95))])
    resting = {
        s.id
        for s in monitor.signals().signals
        if s.kind == "level" and s.stream.feature == "diameter" and s.part >= "B0095"
    }
    assert resting and resting <= set(monitor.part("B0100").signals)
    assert not resting & set(monitor.part("B0050").signals)
