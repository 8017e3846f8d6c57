"""The record saved from page Bore: the file each button gives, and words where there is none."""

from __future__ import annotations

import base64
import json

import pytest
from dash import no_update

from dashboards.pages import bore_record as page
from tests.monitor.hand_cell import RECEIVED, hand_cell, typed

SHOWN = {"serial": "K1", "bore": "1"}
TOLD = ["12", " R-7 ", "A. Person", [page.WASHED], []]


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    cell = hand_cell(tmp_path_factory.mktemp("bench"))
    cell.keep_round(typed(RECEIVED))
    return cell


def content(file):
    return base64.b64decode(file["content"])


def test_each_button_gives_the_record_as_its_file(cell):
    paper, said = page.saved(cell, page.PAPER, SHOWN, None, TOLD)
    assert (paper["filename"], said) == ("record-K1-1.pdf", "")
    assert content(paper).startswith(b"%PDF")
    document, _ = page.saved(cell, page.DOCUMENT, SHOWN, None, TOLD)
    kept = json.loads(content(document))
    assert (kept["job"], kept["reference"], kept["by"], kept["cleaned"]) == ("12", "R-7", "A. Person", True)
    table, _ = page.saved(cell, page.TABLE, SHOWN, None, TOLD)
    assert b"-55" in content(table).splitlines()[1]
    whole, _ = page.saved(cell, page.TABLE, {**SHOWN, "bore": "2"}, None, [*TOLD[:4], [page.BLOCK]])
    assert len(content(whole).splitlines()) == 2
    assert page.shown_of(cell, {**SHOWN, "bore": "2"}) == ["12", "R-7", [page.WASHED]]
    assert page.shown_of(cell, {"serial": "K9", "bore": "1"}) == page.shown_of(cell, None) == ["", "", []]
    blank, _ = page.saved(cell, page.BLANK, None, None, TOLD)
    assert blank["filename"] == "record-blank.pdf"


def test_what_is_kept_with_a_block_needs_a_name(cell):
    page.saved(cell, page.PAPER, SHOWN, None, TOLD)
    file, said = page.saved(cell, page.PAPER, SHOWN, None, ["13", "R-7", "", [], []])
    assert file is no_update
    assert "whose name" in said
    page.saved(cell, page.PAPER, SHOWN, None, ["13", "", "B. Person", [], []])
    assert page.shown_of(cell, SHOWN) == ["13", "", []]
    journalled = [one.by for one in cell.journal().entries if one.kind == "hand-work"]
    assert journalled[-2:] == ["A. Person", "B. Person"]


def test_without_a_record_it_says_why(cell):
    for shown, mate in ((None, None), ({"serial": "K9", "bore": "1"}, None), (SHOWN, "P-1")):
        file, said = page.saved(cell, page.PAPER, shown, mate, TOLD)
        assert file is no_update
        assert said
