"""The record of honing by hand: what item after item stands in it, and what was not measured."""

from __future__ import annotations

import pytest

from cellmon.errors import NotFound
from cellmon.monitor.bore.record_results import RecordTold
from cellmon.monitor.bore.zero import keep_sign, keep_zero
from cellmon.records import Kind, Verdict
from tests.monitor.hand_cell import RECEIVED, SHEET, grown, hand_cell, typed

DONE = ["68.011"] * 6


@pytest.fixture
def cell(tmp_path):
    cell = hand_cell(tmp_path)
    keep_zero(cell, "68.000", state="as-found", by="A. Person")
    keep_sign(cell, "68.020", larger_um=20.0)
    cell.keep_round(typed(RECEIVED, by="A. Person", part_temp_c=20.5))
    cell.keep_round(typed(grown(30), full=40, bottom=2, stones="rough", by="A. Person"))
    cell.keep_round(typed(DONE, full=60, stones="fine", by="B. Person"))
    cell.keep_round(typed(RECEIVED, bore="2"))
    return cell


def test_a_record_of_a_block_holds_every_begun_bore(cell):
    cell.tell_block("K1", by="B. Person", job="12", reference="R-7", cleaned=True)
    record = cell.hand_record("K1", told=RecordTold(by="C. Person"))
    assert (record.shop, record.job, record.reference, record.part_number) == ("Bench", "12", "R-7", "B-1")
    assert (record.by, record.cleaned, record.cleaned_by) == ("C. Person", True, "B. Person")
    assert record.done_on == record.as_of.date()
    assert record.sentence.startswith("1 of 2 bores is finished")
    first, second = record.bores
    assert (first.finished, first.verdict) == (True, Verdict.CONFORMS)
    assert first.received.um["top_x"] == pytest.approx(-55.0)
    assert first.after.um["top_x"] == pytest.approx(11.0)
    assert [(s.stones, s.strokes_full, s.strokes_bottom) for s in first.stones] == [
        ("rough", 40, 2),
        ("fine", 60, 0),
    ]
    assert (second.finished, second.after, second.sentence) == (False, None, "Bore 2 is not finished.")
    assert [c.state for c in record.gauge.checks] == ["as-found"]
    assert record.gauge.sign_checked
    assert record.sizes_at == "not corrected"
    assert "ISO 14253-1" in record.decision
    assert "1.6" in record.decision  # 1.645 x hypot(0.5, 0.8) = 1.55


def test_a_record_of_one_bore_says_what_was_not_measured(cell):
    record = cell.hand_record("K1", bore="1")
    assert record.sentence == "Bore 1 is proven to conform at every place."
    assert record.by == "A. Person, B. Person"
    assert [words.split(":")[0] for words in record.not_measured] == [
        "odd lobes and a bent axis",
        "surface texture",
        "the part that goes in and its clearance",
        "the crosshatch on the wall",
    ]
    assert "bore 2" not in record.not_measured
    with pytest.raises(NotFound):
        cell.hand_record("K9")


def test_clearance_and_crosshatch_that_were_measured_stand_in_it(cell):
    cell.log(Kind.MATING_PARTS, {"part": "P-7", "diameter_mm": "67.960", "at": "2026-03-02T05:00:00Z"})
    angle = {"part": "K1", "bore": "1", "characteristic": "crosshatch_included", "value": "41"}
    cell.log(Kind.CHARACTERISTICS, {**angle, "at": "2026-03-02T05:00:00Z"})
    record = cell.hand_record("K1", bore="1", told=RecordTold(mating_parts={"1": "P-7"}))
    assert record.bores[0].answer.clearance.least_um == pytest.approx(51.0)
    assert record.bores[0].answer.crosshatch.measured_deg == 41.0
    assert [words.split(":")[0] for words in record.not_measured] == [
        "odd lobes and a bent axis",
        "surface texture",
    ]


# Grey iron at 11e-6 per K: 68 mm 2 K above 20 reads 1.5 um large (arithmetic by hand)
def test_sizes_are_at_20_degrees_where_the_sheet_corrects(tmp_path):
    cell = hand_cell(tmp_path, sheet=SHEET.replace('"as-read"', '"correct"'))
    cell.keep_round(typed(DONE, part_temp_c=22.0))
    record = cell.hand_record("K1", bore="1")
    assert record.sizes_at == "sizes at 20 °C"
    assert record.bores[0].received.um["top_x"] == pytest.approx(11.0 - 1.5, abs=0.05)
    cell.keep_round(typed(DONE, bore="2"))
    assert "where a temperature stands" in cell.hand_record("K1").sizes_at


def test_a_blank_record_has_every_bore_and_no_figure(cell):
    blank = cell.blank_record()
    assert blank.blank
    assert [one.bore for one in blank.bores] == ["1", "2"]
    assert set(blank.bores[0].received.um.values()) == {None}
    assert (blank.part, blank.sentence, blank.done_on, blank.by) == ("", "", None, "")
