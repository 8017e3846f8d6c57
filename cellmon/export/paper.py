"""Paper: what every PDF of the program is built from, on A4 or Letter, in ink that prints without colour.

A document is a row of leaves; a leaf is one subject, begins on a new page and flows on where it must.
What stands on it are blocks: a sentence, a table, a picture, a warning, lines to sign on. Figures are
told apart by form, never by colour alone. The same blocks give the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import partial
from html import escape
from io import BytesIO
from pathlib import Path
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
)
from reportlab.platypus import Table as Rows

from cellmon import __version__
from cellmon.export.pen import BOLD, HAIR, INK, LINE, PLAIN, SOFT, Pen, register_fonts
from cellmon.words import say, to_say

Block = Any
"""Something that takes room on a leaf (a reportlab flowable)."""


class PaperSize(StrEnum):
    """Sheets of paper a document is laid out for."""

    A4 = "a4"
    LETTER = "letter"


FOOT = to_say("Says what was measured and computed. What follows from it is for the person who signs.")
_SIZES = {PaperSize.A4: A4, PaperSize.LETTER: LETTER}
MARGIN = 16 * mm
HEAD_ROOM, FOOT_ROOM = 15 * mm, 8 * mm


@dataclass(frozen=True, kw_only=True)
class Head:
    """What stands at the head and foot of every page."""

    kind: str
    """What sort of paper this is: `Capability`, `Shift handover`."""
    cell: str
    as_of: datetime
    """Local, with its offset."""
    sheet: int
    """Version of the cell sheet in force."""
    foot: str = ""
    """Empty: what `FOOT` says."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Leaf:
    """One subject of a document: its title, and the blocks in order."""

    title: str
    blocks: Sequence[Block]


def pdf(leaves: Sequence[Leaf], *, head: Head, size: PaperSize = PaperSize.A4) -> bytes:
    """Return a document as the bytes of a PDF; the same leaves give the same bytes.

    Parameters
    ----------
    leaves : sequence of Leaf
        At least one; each begins on a new page.
    head : Head
    size : PaperSize

    Raises
    ------
    reportlab.platypus.doctemplate.LayoutError
        When one block is taller than a page and cannot be split.
    """
    register_fonts()
    out = BytesIO()
    width, height = _SIZES[size]
    document = BaseDocTemplate(
        out,
        pagesize=(width, height),
        invariant=1,
        title=f"{head.kind}: {head.cell}",
        subject=say("as of {at} · sheet version {version}", at=head.as_of.isoformat(), version=head.sheet),
        author=head.cell,
        creator=f"cellmon {__version__}",
        producer=f"cellmon {__version__}",
        pageCompression=1,
    )
    story: list[Block] = []
    for i, leaf in enumerate(leaves):
        on_page = partial(_page, leaf=leaf, head=head, first=set[int]())
        document.addPageTemplates(PageTemplate(id=f"leaf{i}", frames=[_frame(width, height)], onPage=on_page))
        story += [NextPageTemplate(f"leaf{i}"), PageBreak()] if i else []
        story += leaf.blocks
    document.build([*story, Picture(0, 0, _total)])
    return out.getvalue()


def write_pdf(leaves: Sequence[Leaf], path: Path, *, head: Head, size: PaperSize = PaperSize.A4) -> Path:
    """Write a document to a file, whole or not at all; a name of another format is refused too."""
    from cellmon.export.files import check_name, replacing

    check_name(path, "pdf")
    content = pdf(leaves, head=head, size=size)
    with replacing(path) as beside:
        beside.write_bytes(content)
    return path


def inner_width(size: PaperSize = PaperSize.A4) -> float:
    """Return the room for blocks from margin to margin, in points."""
    return float(_SIZES[size][0] - 2 * MARGIN)


def inner_height(size: PaperSize = PaperSize.A4) -> float:
    """Return the room for blocks from head to foot of a page, in points."""
    return float(_SIZES[size][1] - 2 * MARGIN - HEAD_ROOM - FOOT_ROOM)


def height_of(blocks: Sequence[Block], *, room: float) -> float:
    """Return the height some blocks take one below the other, in points."""
    each = [block.wrap(room, 1e6)[1] + block.getSpaceBefore() + block.getSpaceAfter() for block in blocks]
    return float(sum(each))


class Picture(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A drawing of our own: `draw` is given a pen with its origin at the lower left of the picture."""

    def __init__(self, width: float, height: float, draw: Callable[[Pen], None]) -> None:
        super().__init__()
        self.width, self.height, self._draw = width, height, draw

    def wrap(self, *_: float) -> tuple[float, float]:
        """Tell how much room it takes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw where the page puts it."""
        self._draw(Pen(self.canv))


def _frame(width: float, height: float) -> Frame:
    room = width - 2 * MARGIN, height - 2 * MARGIN - HEAD_ROOM - FOOT_ROOM
    none = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
    return Frame(MARGIN, MARGIN + FOOT_ROOM, *room, **none)


def _page(canvas: Any, document: Any, *, leaf: Leaf, head: Head, first: set[int]) -> None:
    """Draw the head and foot of a page; a leaf's further pages say so."""
    pen = Pen(canvas)
    width, height = document.pagesize
    right, top = width - MARGIN, height - MARGIN
    first.add(document.page)
    again = min(first) < document.page
    if not again:
        canvas.bookmarkPage(f"page{document.page}")
        canvas.addOutlineEntry(leaf.title, f"page{document.page}", level=0)
    pen.word(MARGIN, top - 7, head.kind, size=8, ink=SOFT)
    title = say("{title} (continued)", title=leaf.title) if again else leaf.title
    pen.word(MARGIN, top - 23, title, size=14, bold=True)
    pen.word(right, top - 7, head.cell, size=8, ink=SOFT, anchor="end")
    as_of = f"{head.as_of:%Y-%m-%d %H:%M}"
    at = say("as of {at} · sheet version {version}", at=as_of, version=head.sheet)
    pen.word(right, top - 23, at, size=8, ink=SOFT, anchor="end")
    pen.line(MARGIN, top - 31, right, top - 31, width=0.8)
    pen.line(MARGIN, MARGIN + 12, right, MARGIN + 12, ink=HAIR)
    pen.word(MARGIN, MARGIN + 2, head.foot or say(FOOT), size=7, ink=SOFT)
    number = say("page {number} of", number=document.page)
    pen.word(right - 14, MARGIN + 2, number, size=7, ink=SOFT, anchor="end")
    canvas.saveState()
    canvas.translate(right - 12, MARGIN + 2)
    canvas.doForm("pages")
    canvas.restoreState()


def _total(pen: Pen) -> None:
    """Write the number of pages, once all are made, into the place every foot refers to."""
    canvas = pen.canvas
    canvas.beginForm("pages")
    pen.word(0, 0, str(canvas.getPageNumber()), size=7, ink=SOFT)
    canvas.endForm()


_TEXT = ParagraphStyle("text", fontName=PLAIN, fontSize=9, leading=12.2, textColor=HexColor(INK))
_STYLES: Mapping[str, ParagraphStyle] = {
    "text": _TEXT,
    "lead": ParagraphStyle("lead", _TEXT, fontSize=11, leading=14.5, spaceAfter=4),
    "heading": ParagraphStyle(
        "heading", _TEXT, fontName=BOLD, fontSize=9.5, leading=13, spaceBefore=6, spaceAfter=2
    ),
    "small": ParagraphStyle("small", _TEXT, fontSize=7.8, leading=10.2, textColor=HexColor(SOFT)),
    "cell": ParagraphStyle("cell", _TEXT, fontSize=8.2, leading=10.4),
    "right": ParagraphStyle("right", _TEXT, fontSize=8.2, leading=10.4, alignment=TA_RIGHT),
    "label": ParagraphStyle("label", _TEXT, fontSize=7.8, leading=10.2, textColor=HexColor(SOFT)),
    "label-right": ParagraphStyle(
        "label-right", _TEXT, fontSize=7.8, leading=10.2, textColor=HexColor(SOFT), alignment=TA_RIGHT
    ),
    "stop": ParagraphStyle("stop", _TEXT, fontName=BOLD, fontSize=11.5, leading=15.5),
}


def _style(name: str) -> ParagraphStyle:
    register_fonts()
    return _STYLES[name]


def text(words: str, *, style: str = "text") -> Block:
    """Return a paragraph; what stands in it is words, never markup."""
    return Paragraph(escape(words, quote=False), _style(style))


def lead(words: str) -> Block:
    """Return the sentence a leaf begins with."""
    return text(words, style="lead")


def heading(words: str) -> Block:
    """Return a heading."""
    return text(words, style="heading")


def small(words: str) -> Block:
    """Return words in small soft ink: where figures come from, how they are meant."""
    return text(words, style="small")


def space(points: float = 6.0) -> Block:
    """Return room."""
    return Spacer(1, points)


def together(*blocks: Block) -> Block:
    """Return blocks that stay on one page."""
    return KeepTogether(list(blocks))


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    widths: Sequence[float],
    figures: Sequence[int] = (),
    room: float,
) -> Block:
    """Return a table with hairlines between its rows; its head stands again on every further page.

    Parameters
    ----------
    head, rows : sequences of str, shape (columns,) and (rows, columns)
        Words; a line break in a cell is kept.
    widths : sequence of float
        Shares of the room, one a column.
    figures : sequence of int
        Columns that stand to the right.
    room : float
        Width of the whole, in points.
    """
    whole = sum(widths)
    right = set(figures)
    cells = [[_cell(c, j in right, label=True) for j, c in enumerate(head)]] if any(head) else []
    cells += [[_cell(c, j in right) for j, c in enumerate(row)] for row in rows]
    found = Rows(
        cells, colWidths=[w / whole * room for w in widths], repeatRows=int(any(head)), hAlign="LEFT"
    )
    found.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 6),
            ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 2.2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.6),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, HexColor(HAIR)),
            *([("LINEBELOW", (0, 0), (-1, 0), 0.7, HexColor(LINE))] if any(head) else []),
        ]
    )
    return found


def facts(pairs: Sequence[tuple[str, str]], *, room: float, label: float = 0.24) -> Block:
    """Return names and what stands for them, one a line."""
    cells = [[_cell(name, False, label=True), _cell(value, False)] for name, value in pairs]
    found = Rows(cells, colWidths=[label * room, (1 - label) * room], hAlign="LEFT")
    found.setStyle(_TIGHT)
    return found


def side_by_side(left: Sequence[Block], right: Sequence[Block], *, room: float) -> Block:
    """Return two stacks of blocks beside each other; each has 48 % of the room."""
    found = Rows([[list(left), list(right)]], colWidths=[0.52 * room, 0.48 * room], hAlign="LEFT")
    found.setStyle(
        [*_TIGHT, ("RIGHTPADDING", (0, 0), (0, 0), 0.04 * room), ("RIGHTPADDING", (1, 0), (1, 0), 0)]
    )
    return found


def refusal(title: str, reasons: Sequence[str], *, room: float) -> Block:
    """Return a framed refusal, as prominent as the figures it forbids: a bold line, then its reasons."""
    blocks = [[text(title, style="stop")], *([text(f"•  {reason}")] for reason in reasons)]
    found = Rows(blocks, colWidths=[room], hAlign="LEFT")
    found.setStyle(
        [
            ("BOX", (0, 0), (-1, -1), 1.6, HexColor(INK)),
            ("LEFTPADDING", (0, 0), (-1, -1), 9),
            ("RIGHTPADDING", (0, 0), (-1, -1), 9),
            ("TOPPADDING", (0, 0), (-1, -1), 0.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
            ("TOPPADDING", (0, 0), (-1, 0), 4),
            ("BOTTOMPADDING", (0, -1), (-1, -1), 6),
        ]
    )
    return found


def signatures(roles: Sequence[str], *, room: float) -> Block:
    """Return lines to sign on, side by side: the role below each, with name and date."""
    gap, each = 18.0, (room - 18.0 * (len(roles) - 1)) / len(roles)

    def draw(pen: Pen) -> None:
        for i, role in enumerate(roles):
            x = i * (each + gap)
            pen.line(x, 22, x + each, 22, width=0.7)
            pen.word(x, 12, role, size=8)
            pen.word(x, 2, say("name, date, signature"), size=7, ink=SOFT)

    return Picture(room, 54, draw)


def _cell(words: str, right: bool, *, label: bool = False) -> Block:
    style = ("label-right" if right else "label") if label else ("right" if right else "cell")
    return Paragraph(escape(words, quote=False).replace("\n", "<br/>"), _style(style))


_TIGHT = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 6),
    ("TOPPADDING", (0, 0), (-1, -1), 1.2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.4),
]
