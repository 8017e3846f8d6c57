"""Papers and workbooks of a small cell: what a person signs, read back as a reader reads it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from io import BytesIO
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pypdf import PdfReader
from python_calamine import CalamineWorkbook
from reportlab.pdfgen.canvas import Canvas

from cellmon.errors import WrongUsage
from cellmon.export.capability_book import write_capability_book
from cellmon.export.capability_paper import capability_head, capability_leaves
from cellmon.export.edges_drawing import edges_drawing
from cellmon.export.handover_paper import handover_head, handover_leaves
from cellmon.export.paper import PaperSize, inner_width, pdf
from cellmon.export.pen import Pen, word_width
from cellmon.export.signals_paper import register_sentence, signals_head, signals_leaves
from cellmon.monitor.capability_words import down, ppm, share_words
from cellmon.monitor.submission import LeftOut
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write

ZONE = ZoneInfo("Europe/Berlin")
SHEET_ = SHEET.replace('number = "P-1"', 'number = "P-1"\nrevision = "B"')


@pytest.fixture(scope="module")
def monitor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("handed-over")
    opened = new_cell(folder / "cell", sheet=SHEET_)
    opened.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, rows(130, seed=3, jump_at=110)),
        ]
    )
    return opened


@pytest.fixture(scope="module")
def answer(monitor):
    return monitor.submission()


def words(content: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(content)).pages]


@pytest.mark.parametrize("size", list(PaperSize))
def test_a_submission_is_one_page_a_stream(answer, size):
    found = words(pdf(capability_leaves(answer, size=size), head=capability_head(answer), size=size))
    assert len(found) == len(answer.statements) == 4
    for page, statement in zip(found, answer.statements, strict=True):
        assert statement.name in page
        assert "Made by" in page
        assert "Released by" in page
        assert f"page {found.index(page) + 1} of" in page


def test_a_refusal_stands_before_the_figures_with_every_reason(answer):
    page = words(pdf(capability_leaves(answer), head=capability_head(answer)))[0]
    row = answer.statements[0].capability
    assert row.claim == "not supported"
    assert row.reasons
    for reason in row.reasons:
        assert " ".join(reason.split()) in page
    assert page.index("Not supported: Ppk of at least 1.33") < page.index(f"{row.ppk.value:.2f}")


def test_the_page_never_says_that_a_part_is_safe_or_fit(answer):
    for page in words(pdf(capability_leaves(answer), head=capability_head(answer))):
        assert "safe" not in page.lower()
        assert "fit for use" not in page.lower()


def test_a_supported_claim_says_so_and_no_more(answer):
    one = answer.statements[0]
    row = replace(one.capability, claim="supported", reasons=())
    found = replace(answer, statements=(replace(one, capability=row),))
    page = words(pdf(capability_leaves(found), head=capability_head(found)))[0]
    assert "Supported: Ppk of at least 1.33" in page
    assert "Not supported" not in page


def test_figures_drawing_gauge_and_left_out_stand_on_the_page(answer):
    one = answer.statements[0]
    page = words(pdf(capability_leaves(answer), head=capability_head(answer)))[0]
    row = one.capability
    for said in (
        f"{row.ppk.value:.2f}",
        f"{row.ppk.low:.2f} to {row.ppk.high:.2f}",
        "P-1, revision B",
        f"{row.n:,}, serials {one.sampling.first_part}",
        "G1, smallest step not stated",
        "guarded (ISO 14253-1)",
        "sheet version 1",
        "zero-suspect",
    ):
        assert said in page, said


def test_many_exclusions_become_a_table_and_may_need_a_second_page(answer):
    one = answer.statements[0]
    many = tuple(LeftOut(what="doubted", bores=i, reason=f"reason {i}", by="Ada") for i in range(1, 60))
    found = replace(answer, statements=(replace(one, left_out=many),))
    pages = words(pdf(capability_leaves(found), head=capability_head(found)))
    assert len(pages) > 1
    assert all(f"reason {i}" in " ".join(pages) for i in range(1, 60))


def test_a_cell_without_streams_gives_a_page_that_says_so(answer):
    empty = replace(answer, statements=(), sentence="No stream with limits has bores in this time.")
    assert "No stream with limits" in words(pdf(capability_leaves(empty), head=capability_head(empty)))[0]


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (None, "unknown"),
        (0.0, "under 0.01"),
        (0.42, "0.42"),
        (5.13, "5.1"),
        (938.2, "940"),
        (53968.0, "54,000"),
    ],
)
def test_parts_per_million_have_two_digits_that_say_something(value, said):
    assert ppm(value) == said


def test_a_workbook_has_a_sheet_a_stream_numbers_as_numbers_and_raw_bores(answer, tmp_path):
    path = write_capability_book(answer, tmp_path / "claims.xlsx", zone=ZONE)
    book = CalamineWorkbook.from_path(str(path))
    assert book.sheet_names == ["streams", *(s.name for s in answer.statements)]
    one = answer.statements[0]
    cells = book.get_sheet_by_name(one.name).to_python()
    figures = {row[0]: row[1:4] for row in cells if row[0]}
    row = one.capability
    assert figures["Ppk"] == pytest.approx([row.ppk.value, row.ppk.low, row.ppk.high])
    assert figures["bores counted"][0] == row.n
    raw = [line[6:13] for line in cells[1 : 1 + len(one.picture.part)]]
    assert [line[0] for line in raw] == one.picture.part.tolist()
    assert [line[2] for line in raw] == pytest.approx(one.picture.value_um.tolist())
    assert all(isinstance(line[1], date) for line in raw)
    counted = [line[5] for line in raw if line[5] != ""]
    assert counted == pytest.approx(one.picture.value_um[~one.picture.left_out].tolist())


def test_a_workbook_draws_its_charts_itself(answer, tmp_path):
    from zipfile import ZipFile

    path = write_capability_book(answer, tmp_path / "claims.xlsx", zone=ZONE)
    with ZipFile(path) as packed:
        charts = [name for name in packed.namelist() if name.startswith("xl/charts/chart")]
        drawn = packed.read(charts[1]).decode()
    assert len(charts) == 2 * len(answer.statements)
    assert "<c:logBase" in drawn
    assert "S1 bore 1 diameter" in drawn
    assert write_capability_book(answer, tmp_path / "again.xlsx", zone=ZONE).read_bytes() == path.read_bytes()


def test_a_workbook_of_another_name_is_refused(answer, tmp_path):
    with pytest.raises(WrongUsage):
        write_capability_book(answer, tmp_path / "claims.pdf", zone=ZONE)


def test_streams_of_long_or_like_names_get_sheets_of_their_own(answer, tmp_path):
    name = "S1 bore 1 diameter of a part with a very [long] name"
    twice = tuple(replace(s, name=name) for s in answer.statements)
    path = write_capability_book(replace(answer, statements=twice), tmp_path / "x.xlsx", zone=ZONE)
    names = CalamineWorkbook.from_path(str(path)).sheet_names
    assert len({n.lower() for n in names}) == len(names) == 5
    assert all(len(n) <= 31 for n in names)


def test_a_shift_is_handed_over_with_what_moved_is_open_held_and_due(monitor):
    found = monitor.handover()
    page = " ".join(words(pdf(handover_leaves(found), head=handover_head(found))))
    assert found.sentence in page
    for signal in (*found.moved, *found.open):
        assert signal.id in page
    for held in found.holds:
        assert f"{held.from_part} to {held.to_part}" in page
    assert "Handed over by" in page
    assert "locked out" in page
    assert f"{sum(m.made for m in found.made) // len(found.made):,}" in page


def test_the_handover_counts_every_bore_of_the_shift_by_its_verdict(monitor):
    found = monitor.handover()
    bores = monitor.bores().bores
    mine = bores.select(
        (bores.charted == 1)
        & (
            bores.shift_start
            == np.datetime64(found.shift.starts.astimezone(ZoneInfo("UTC")).replace(tzinfo=None), "us")
        )
    )
    assert sum(m.made for m in found.made) == len(mine) > 0
    for made in found.made:
        assert made.made == made.conform + made.undecided + made.do_not_conform
    assert sum(m.doubted for m in found.made) == int((mine.flags != 0).sum())


def test_a_hold_leaves_the_page_when_every_part_has_its_disposition(tmp_path):
    cell = new_cell(tmp_path / "cell", sheet=SHEET_)
    cell.take([write(tmp_path, "rows.csv", HEADER, rows(130, seed=3, jump_at=110))])
    before = cell.handover()
    assert before.holds
    held = before.holds[0]
    parts = sorted({p.part for p in cell.hold(held.signal).parts})
    assert held.waiting == len(parts)
    cell.release(held.signal, parts=parts[:-1], as_="released", by="Ada", why="measured again")
    one = next(h for h in cell.handover().holds if h.signal == held.signal)
    assert (one.waiting, one.decided) == (1, len(parts) - 1)
    cell.release(held.signal, parts=parts[-1:], as_="scrapped", by="Ada", why="oversize")
    assert all(h.signal != held.signal for h in cell.handover().holds)


def test_the_register_has_every_signal_its_answer_and_its_age(tmp_path):
    cell = new_cell(tmp_path / "cell", sheet=SHEET_)
    cell.take([write(tmp_path, "rows.csv", HEADER, rows(130, seed=3, jump_at=110))])
    first = cell.signals().signals[0]
    cell.respond(first.id, by="Ada", cause="stones worn", action="new stones fitted")
    found = cell.signals()
    page = " ".join(words(pdf(signals_leaves(found), head=signals_head(found, cell="Small cell"))))
    assert all(s.id in page for s in found.signals)
    assert "stones worn: new stones fitted. Ada" in page
    assert register_sentence(found.signals) in page
    assert found.caution in page


def test_a_register_of_nothing_says_so():
    assert register_sentence(()) == "No signal was ever raised."


@pytest.mark.parametrize(
    ("value", "said"), [(1.3299, "1.32"), (1.33, "1.33"), (0.0, "0.00"), (-0.001, "-0.01")]
)
def test_a_bound_is_never_rounded_up(value, said):
    assert down(value) == said


@pytest.mark.parametrize(
    ("share", "said"), [(0.17, "17 %"), (0.000894, "890 ppm"), (4.4e-5, "44 ppm"), (1e-9, "under 0.01 ppm")]
)
def test_a_share_is_said_in_per_cent_or_in_a_million(share, said):
    assert share_words(share) == said


@pytest.mark.parametrize("size", list(PaperSize))
def test_no_word_of_the_picture_leaves_its_room(answer, size, monkeypatch):
    spans: list[tuple[float, float, str]] = []

    def recorded(self, x, y, text, *, size=7.5, bold=False, anchor="start", **more):
        wide = word_width(text, size=size, bold=bold)
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * wide
        spans.append((left, left + wide, text))

    room = inner_width(size)
    drawings = [edges_drawing(s.picture, width=room, height=160) for s in answer.statements]
    canvas = Canvas(BytesIO())
    monkeypatch.setattr(Pen, "word", recorded)
    for drawing in drawings:
        drawing.canv = canvas
        drawing.draw()
    assert any(text.startswith("beyond upper") for *_, text in spans)
    outside = [s for s in spans if s[0] < -0.5 or s[1] > room + 0.5]
    assert outside == []


def test_a_shift_is_handed_over_with_the_limits_that_were_frozen_in_it(tmp_path, monkeypatch):
    cell = new_cell(tmp_path / "cell", sheet=SHEET_)
    cell.take([write(tmp_path, "rows.csv", HEADER, rows(130, seed=3))])
    assert cell.handover().decided == () == cell.shifts().decided
    shift = cell.handover().shift
    for hours, why in ((-1, "in the shift before"), (1, "new stones")):
        moment = (shift.starts + timedelta(hours=hours)).astimezone(ZoneInfo("UTC")).replace(tzinfo=None)
        monkeypatch.setattr("cellmon.monitor.clock", lambda at=moment: np.datetime64(at, "us"))
        cell.freeze(by="A. Weber", why=why)
    found = cell.handover()
    [one] = found.decided
    assert (one.kind, one.by, one.why) == ("freeze", "A. Weber", "new stones")
    assert one.at == shift.starts + timedelta(hours=1)
    frozen = [entry.about for entry in cell.journal().entries if entry.why == "new stones"]
    assert list(one.about) == frozen
    page = " ".join(words(pdf(handover_leaves(found), head=handover_head(found))))
    assert "Decided in this shift" in page and "by A. Weber: new stones" in page
    assert f"and {len(frozen) - 3} more" in page and "in the shift before" not in page
    assert cell.shifts().decided == found.decided, "and so the command and its JSON"
    cell.close()
