"""The record of honing by hand on one page, its table and its blank form."""

from __future__ import annotations

from datetime import UTC
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from cellmon.errors import WrongUsage
from cellmon.export.bore_drawing import exaggeration
from cellmon.export.bore_paper import record_pdf
from cellmon.export.bore_record import record_table, write_record
from cellmon.export.paper import PaperSize
from cellmon.monitor.bore.record_results import RecordTold
from tests.monitor.hand_cell import PLACES, SHEET, hand_cell

FOUR = SHEET.replace('bores = ["1", "2"]', 'bores = ["1", "2", "3", "4"]')
FORM = "[features.taper]\nlower = -8\nupper = 8\n[features.ovality]\nlower = -8\nupper = 8\n"


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    """Four bores of eight rounds each, from one file: 8 um a round, 9 um of taper at first and 1 at last."""
    folder = tmp_path_factory.mktemp("bench")
    cell = hand_cell(folder, sheet=FOUR, more=FORM)
    lines = [
        "part,bore,round,at,plane,direction,deviation_um,stones,strokes_full,strokes_bottom,part_temp_c,by"
    ]
    for minute, (bore, i) in enumerate((bore, i) for bore in "1234" for i in range(9)):
        made = ("fine" if i > 6 else "rough", 12, 3) if i else ("", 0, 0)
        for (plane, direction), um in zip(PLACES, [-55, -56, -60, -59, -64, -65], strict=True):
            size = um + 8 * i if i < 8 else 9 + (um + 60) / 9
            at = f"2026-03-02T05:{minute:02d}:00Z"
            row = ("K1", bore, i, at, plane, direction, f"{size:.1f}", *made, 20.5, "A. Person")
            lines.append(",".join(map(str, row)))
    (folder / "rounds.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert cell.take([folder / "rounds.csv"]).files[0].taken == 216
    return cell


@pytest.fixture(scope="module")
def block(cell):
    cell.tell_block("K1", by="C. Person", job="12", reference="R-7", cleaned=True)
    return cell.hand_record("K1", told=RecordTold(by="C. Person"))


def words_of(content):
    pages = PdfReader(BytesIO(content)).pages
    return len(pages), " ".join(" ".join(page.extract_text() for page in pages).split())


ORDER = (
    *("Bench", "customer's reference R-7", "job 12", "K1, B-1", "4 of 4 bores are finished"),
    *(
        "Sizes as received and as finished",
        "not corrected",
        "conforms",
        "Limits 0.0 to +24.0",
        "times; x solid",
    ),
    *("Rounds and stones", "12/0/3", "clearances not measured", "crosshatch", "gauge", "its checks"),
    *("decision rule", "ISO 14253-1", "Washed with hot water", "C. Person", "Not measured: odd lobes"),
)


@pytest.mark.parametrize("size", list(PaperSize))
def test_a_block_of_four_bores_stands_on_one_page_in_order(block, size):
    pages, words = words_of(record_pdf(block, size=size))
    assert pages == 1
    places = [words.find(one) for one in ORDER]
    assert -1 not in places, [one for one, at in zip(ORDER, places, strict=True) if at < 0]
    assert places == sorted(places)


def test_one_bore_has_its_rounds_on_the_page(cell):
    pages, words = words_of(record_pdf(cell.hand_record("K1", bore="2")))
    assert pages == 1
    assert "Part K1, bore 2" in words
    assert words.count("12/0/3") == 8
    assert "as received" in words


def test_the_blank_form_has_the_same_layout_and_no_figure(cell, block):
    pages, words = words_of(record_pdf(cell.blank_record()))
    assert pages == 1
    named = (
        "customer's reference",
        "Sizes as received and as finished",
        "Rounds",
        "clearances",
        "crosshatch",
    )
    named += ("taper, −8 to +8", "its checks", "decision rule", "Washed", "Not measured:")
    places = [words.find(one) for one in named[:3]]
    assert places == sorted(places)
    assert all(one in words for one in named)
    assert "conforms" not in words.replace("a reading conforms", "")


def test_the_same_record_gives_the_same_bytes(block):
    assert record_pdf(block) == record_pdf(block)


def test_a_table_has_a_row_a_round_and_the_verdict_in_the_last(block, tmp_path):
    table = record_table(block, zone=ZoneInfo("UTC"))
    assert len(table) == 36
    assert table.columns["verdict"].tolist().count("conforms") == 4
    assert table.columns["verdict"].tolist()[8] == "conforms"
    for name in ("r.csv", "r.json", "r.pdf"):
        write_record(block, tmp_path / name, zone=ZoneInfo("UTC"))
        assert (tmp_path / name).stat().st_size > 1000
    with pytest.raises(WrongUsage, match="ends in"):
        write_record(block, tmp_path / "r.doc", zone=ZoneInfo("UTC"))
    assert block.as_of.astimezone(UTC)


@given(st.floats(10, 200), st.floats(0.01, 2.0))
def test_every_shape_fits_at_the_exaggeration_that_is_stated(block, room, down):
    scale = exaggeration(block, room=room, down=down)
    furthest = max(
        abs(um - sum(s.um.values()) / len(s.um))
        for one in block.bores
        for s in (one.received, one.after)
        for um in s.um.values()
    )
    assert scale == 20 or furthest / 1000 * down * scale <= room * (1 + 1e-9)
