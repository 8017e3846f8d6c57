"""Every word on paper comes from the catalogue: in a language of quotation marks none stands without them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from io import BytesIO

import pytest
from pypdf import PdfReader

from cellmon import words
from cellmon.export.calendar import plan_events
from cellmon.export.capability_paper import capability_head, capability_leaves
from cellmon.export.handover_paper import handover_head, handover_leaves
from cellmon.export.paper import pdf
from cellmon.export.part_paper import part_pdf
from cellmon.export.signals_paper import signals_head, signals_leaves
from tests.dashboards.test_words_seen import DAYS, KINDS, NAMES, UNITS, WORD, bracketed
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write
from tests.stone_answers import plan

SAID = re.compile(r"«[^«»]*»")
GIVEN = {"Small", "cell", "early", "late", "night", "csv", "rows", "mm", "cellmon", "Ada"}
"""What the people of a cell wrote: its name, its shifts, its files, who answered."""


def quoted() -> dict[str, str | tuple[str, ...]]:
    """Return the catalogue in quotation marks: the fonts of our papers have no such brackets."""

    def marked(text: str) -> str:
        return text.replace("⟦", "«").replace("⟧", "»")

    said = bracketed()
    return {k: marked(v) if isinstance(v, str) else tuple(map(marked, v)) for k, v in said.items()}


@pytest.fixture(scope="module", autouse=True)
def _in_quotation_marks() -> Iterator[None]:
    words.speak(quoted())
    yield
    words.speak({})


@pytest.fixture(scope="module")
def monitor(tmp_path_factory, _in_quotation_marks):
    folder = tmp_path_factory.mktemp("papers-said")
    opened = new_cell(folder / "cell", sheet=SHEET)
    words.speak(quoted())  # opening a cell speaks its own language
    opened.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, rows(130, seed=3, jump_at=110)),
        ]
    )
    first = opened.signals().signals[0]
    opened.respond(first.id, by="Ada", cause="«stones worn»", action="«new stones fitted»")
    return opened


def bare(text: str) -> list[str]:
    """Return the words of a text that stand outside every pair of marks."""
    while SAID.search(text):
        text = SAID.sub(" ", text)
    for kind in sorted(KINDS, key=len, reverse=True):
        text = text.replace(kind, " ")
    return [w for w in WORD.findall(text) if w.lower() not in NAMES and w not in UNITS | DAYS | GIVEN]


def of_paper(content: bytes) -> list[str]:
    """Return the words outside them on a PDF, as a library of others reads it."""
    pages = PdfReader(BytesIO(content)).pages
    found = " ".join(" ".join(page.extract_text().split()) for page in pages)
    assert found.count("«") > 40
    return bare(re.sub(r"\bsig-\w+|\b[A-Z]\d+\b", " ", found))


def test_a_capability_statement(monitor):
    answer = monitor.submission()
    assert of_paper(pdf(capability_leaves(answer), head=capability_head(answer))) == []


def test_a_shift_handover(monitor):
    answer = monitor.handover()
    assert of_paper(pdf(handover_leaves(answer), head=handover_head(answer))) == []


def test_a_register_of_signals(monitor):
    answer = monitor.signals()
    assert of_paper(pdf(signals_leaves(answer), head=signals_head(answer, cell="Small cell"))) == []


def test_a_block(monitor):
    story = monitor.part(monitor.newest_parts().parts[-1])
    assert of_paper(part_pdf(story, cell="Small cell")) == []


def test_a_calendar():
    for event in plan_events(plan(), cell="Small cell"):
        assert bare(event.title) == []
