"""One block on paper: what it says, that it says no more, and that the same answer gives the same bytes."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pypdf import PdfReader

from cellmon.export.paper import PaperSize
from cellmon.export.part_paper import part_head, part_pdf
from tests.part_answers import story_answer

AT = datetime(2026, 10, 22, 18, 5, tzinfo=ZoneInfo("Europe/Berlin"))


@pytest.fixture(scope="module")
def story():
    return story_answer(AT)


def read(pdf: bytes) -> str:
    """Return the words of a PDF as a library of others reads them."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_the_same_answer_gives_the_same_bytes_and_another_does_not(story):
    first = part_pdf(story, cell="Line 3")
    assert first.startswith(b"%PDF-") and first == part_pdf(story_answer(AT), cell="Line 3")
    assert first != part_pdf(replace(story, sheet=2), cell="Line 3")


def test_the_paper_tells_everything_known_of_the_block(story):
    words = read(part_pdf(story, cell="Line 3"))
    for said in (
        "Part 204418",
        "bore 2 does not conform",
        "HM-214, revision C",
        "guarded (ISO 14253-1), conformance 95 %",
        "+26.10",
        "does not conform",
        "undecided",
        "S-1",
        "nothing decided yet",
        "<too large>",
        "S-9",
        "released by A. Weber",
        "214, dressed",
        "late-station.csv",
        "1,634",
        "Roundness trace 8.00 µm (points, at most 5): does not conform",
        "pore",
        "as of 2026-10-22 21:05",
        "sheet version 1",
    ):
        assert said in words, said


def test_the_paper_never_says_safe_or_fit(story):
    words = read(part_pdf(story, cell="Line 3")).lower()
    assert "safe" not in words
    assert all("not" in words[max(m.start() - 40, 0) : m.start()] for m in re.finditer("fit for use", words))
    assert "not that the part is fit for use" in part_head(story, cell="Line 3").foot


def test_a_block_of_which_little_is_known_fits_a_page_of_either_size(story):
    bare = replace(
        story, measurements=story.measurements[:1], held_for=(), dispositions=(), notes=(), traces=()
    )
    for size in PaperSize:
        pdf = part_pdf(bare, cell="Line 3", size=size)
        assert pdf.count(b"/Type /Page\n") in (1, 2)


def test_readings_that_are_missing_are_drawn_as_nothing(story):
    gone = replace(story.measurements[0], um=np.full((3, 2), np.nan), tolerance=None)
    assert part_pdf(replace(story, measurements=(gone,)), cell="Line 3").startswith(b"%PDF-")
