"""PDF building blocks: the same bytes, the pages there should be, words that can be read back."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus.doctemplate import LayoutError

from cellmon.errors import WrongUsage
from cellmon.export.paper import (
    Head,
    Leaf,
    PaperSize,
    Picture,
    facts,
    height_of,
    inner_height,
    inner_width,
    lead,
    pdf,
    refusal,
    signatures,
    table,
    text,
    write_pdf,
)
from cellmon.export.pen import Pen, word_width

HEAD = Head(kind="Capability", cell="Line Ł", as_of=datetime(2026, 10, 22, 18, 5, tzinfo=UTC), sheet=3)
SIGNS = "σ µ Ω ± ≥ − Jiří Łukasz Ωмир ≠ ▲"


def leaf(title: str = "One", rows: int = 3) -> Leaf:
    room = inner_width()
    return Leaf(
        title=title,
        blocks=[
            lead(SIGNS),
            table(["name", "value"], [[f"row {i}", f"{i}"] for i in range(rows)], widths=[3, 1], room=room),
            refusal("Not supported", ["too few bores"], room=room),
            facts([("drawing", "HM-214 <b>C</b> & D")], room=room),
            signatures(["Made by", "Checked by"], room=room),
        ],
    )


def read(content: bytes) -> PdfReader:
    return PdfReader(BytesIO(content))


def words(content: bytes) -> list[str]:
    return [page.extract_text() for page in read(content).pages]


def test_the_same_leaves_give_the_same_bytes():
    assert pdf([leaf()], head=HEAD) == pdf([leaf()], head=HEAD)
    assert pdf([leaf()], head=HEAD) != pdf([leaf("Two")], head=HEAD)


def test_each_leaf_begins_a_page_and_goes_on_under_its_title():
    found = words(pdf([leaf("First", rows=90), leaf("Second")], head=HEAD))
    assert len(found) == 4
    titles = [
        next(line for line in page.splitlines() if line.startswith(("First", "Second"))) for page in found
    ]
    assert titles == ["First", "First (continued)", "First (continued)", "Second"]
    assert all(f"page {i} of\n4\n" in page for i, page in enumerate(found, start=1))
    outline = [item.title for item in read(pdf([leaf("First", rows=90), leaf("Second")], head=HEAD)).outline]
    assert outline == ["First", "Second"]


def test_the_head_of_a_table_stands_again_on_its_next_page():
    for page in words(pdf([leaf(rows=90)], head=HEAD))[:2]:
        assert "name" in page.splitlines()


def test_letters_of_other_languages_and_signs_can_be_read_back():
    found = words(pdf([leaf()], head=HEAD))[0]
    assert SIGNS in found
    assert "Line Ł" in found
    fonts = {str(f["/BaseFont"]) for f in _fonts(read(pdf([leaf()], head=HEAD)))}
    assert {name.split("+")[1] for name in fonts if "+" in name} == {
        "DejaVuSansCondensed",
        "DejaVuSansCondensed-Bold",
    }


def _fonts(reader: PdfReader):
    return [font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()]


def test_what_stands_in_a_sheet_is_words_and_never_markup():
    assert "HM-214 <b>C</b> & D" in words(pdf([leaf()], head=HEAD))[0]


@pytest.mark.parametrize(("size", "width", "height"), [("a4", 595.3, 841.9), ("letter", 612.0, 792.0)])
def test_paper_is_a4_or_letter(size, width, height):
    # ISO 216: A4 is 210 by 297 mm; ANSI/ASME Y14.1: letter is 8.5 by 11 in; a point is 1/72 in
    box = read(pdf([leaf()], head=HEAD, size=PaperSize(size))).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((width, height), abs=0.1)


def test_heights_foretell_whether_a_page_is_enough():
    blocks = [text("word " * 40) for _ in range(10)]
    each = height_of(blocks[:1], room=inner_width())
    fits = int(inner_height() // each)
    assert (
        len(words(pdf([Leaf(title="x", blocks=[text("word " * 40) for _ in range(fits)])], head=HEAD))) == 1
    )
    assert (
        len(words(pdf([Leaf(title="x", blocks=[text("word " * 40) for _ in range(fits + 1)])], head=HEAD)))
        == 2
    )


def test_a_block_taller_than_a_page_is_refused():
    with pytest.raises(LayoutError):
        pdf([Leaf(title="x", blocks=[Picture(10, 2000, lambda pen: None)])], head=HEAD)


def test_a_pen_draws_where_it_is_told():
    drawn = []

    def draw(pen: Pen) -> None:
        drawn.append(pen)
        pen.lines([(0, 0), (10, 10)])
        pen.hatched(0, 0, 20, 10)
        pen.dots([(1, 1)])
        pen.ring(5, 5)
        pen.word(20, 0, "end", anchor="end")

    content = pdf([Leaf(title="x", blocks=[Picture(100, 50, draw)])], head=HEAD)
    assert len(drawn) == 1
    assert "end" in words(content)[0]
    assert word_width("end", size=7.5) == pytest.approx(2 * word_width("end", size=3.75))


def test_a_file_is_written_whole_under_the_name_of_its_format(tmp_path):
    path = write_pdf([leaf()], tmp_path / "reports" / "claims.pdf", head=HEAD)
    assert path.read_bytes() == pdf([leaf()], head=HEAD)
    with pytest.raises(WrongUsage, match=r"ends in \.pdf"):
        write_pdf([leaf()], tmp_path / "cell.toml", head=HEAD)
    assert [p.name for p in tmp_path.iterdir()] == ["reports"]


def test_the_packaged_fonts_are_small_and_hold_their_licence():
    from pathlib import Path

    import cellmon.export

    folder = Path(cellmon.export.__file__).parent / "fonts"
    assert sum(f.stat().st_size for f in folder.glob("*.ttf")) < 100_000
    assert "Bitstream Vera" in (folder / "LICENCE.txt").read_text()
    for file in folder.glob("*.ttf"):
        known = TTFont("x", file).face.charToGlyph
        assert all(ord(letter) in known for letter in SIGNS)
