"""The Files page in a real Chromium: a file is dropped, its bad row corrected, and seen taken."""

from __future__ import annotations

import pytest

from tests.dashboards.serving import dashboard
from tests.small_cell import HEADER, new_cell, rows, write

GOOD = "B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010"
BAD = "B2,1,S1,2026-03-02T05:10:00Z,top,x,<b>50.O012</b>"
DROP = """
([text, name, size]) => {
  const data = new DataTransfer();
  const parts = size ? [new Uint8Array(size)] : [text];
  data.items.add(new File(parts, name, { type: "text/csv" }));
  const box = document.querySelector("#files-upload button");
  for (const kind of ["dragenter", "dragover", "drop"])
    box.dispatchEvent(new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true }));
}
"""
SIZES = [(1440, 900), (1024, 768), (390, 844), (360, 700)]


@pytest.fixture
def monitor(tmp_path):
    return new_cell(tmp_path / "cell")


def opened(look, address, *size):
    page = look(address, *size)
    page.page.goto(f"{address}/files")
    page.page.wait_for_selector("#files-sentence:not(:empty)")
    page.page.wait_for_selector("#files-upload button")
    return page.page


@pytest.fixture
def address(monitor):
    with dashboard(monitor) as address:
        yield address


@pytest.mark.browser
def test_a_file_is_dropped_its_bad_row_is_corrected_and_seen_taken(address, look, monitor):
    page = opened(look, address)
    assert page.inner_text("#files-sentence") == "No file was taken yet."
    page.evaluate(DROP, [f"{HEADER}\n{GOOD}\n{BAD}\n", "../../shift.csv", 0])
    page.wait_for_selector("#files-said .said")
    assert page.inner_text("#files-said .said") == (
        "shift.csv, readings: 2 rows, of which 1 taken, 0 already known, 1 set aside."
    )
    page.wait_for_selector("#files-rows-list button")
    assert "<b>50.O012</b>" in page.inner_text("#files-rows-list button .row-text")
    assert page.query_selector("#files-rows-list button .row-text b") is None
    page.click("#files-rows-list button")
    page.wait_for_function("() => document.querySelector('#files-row-text').value.includes('50.O012')")
    page.fill("#files-row-text", BAD.replace("<b>50.O012</b>", "50.0012"))
    page.fill("#files-row-why", "an O for a 0")
    assert monitor.take_bytes(f"{HEADER}\n{rows(5)[-1]}\n".encode(), name="meanwhile.csv").files[0].taken
    page.wait_for_selector("#files-table >> text=meanwhile.csv")
    assert page.input_value("#files-row-text").endswith("50.0012"), "a half-written row was lost"
    page.click("#files-row-take")
    page.wait_for_selector("#files-row-said >> text=Say who says so.")
    page.fill("#files-row-by", "R. Hale")
    page.click("#files-row-take")
    page.wait_for_selector("#files-row-said >> text=Taken as R. Hale wrote it")
    page.wait_for_selector("#files-table >> text=shift.csv, line 3 corrected")
    page.wait_for_selector("#files-rows-lead >> text=No row set aside waits.")
    (row,) = monitor.aside().rows
    assert (row.state, row.text, row.corrected.by) == ("taken", BAD, "R. Hale")


@pytest.mark.browser
def test_a_drop_that_is_too_large_is_refused_in_words_and_one_that_misses_opens_nothing(
    address, look, monitor
):
    page = opened(look, address)
    page.evaluate(DROP, ["", "big.csv", 60 * 1024 * 1024])
    page.wait_for_selector("#files-said >> text=more than 32 MB")
    missed = DROP.replace("#files-upload button", "#files-table")
    page.evaluate(missed, [f"{HEADER}\n{GOOD}\n", "missed.csv", 0])
    page.wait_for_timeout(300)
    assert page.url.endswith("/files")
    assert monitor.files().total == 0


@pytest.mark.browser
def test_a_unit_in_doubt_is_asked_on_the_page_and_taken_as_answered(address, look, monitor):
    page = opened(look, address)
    page.evaluate(DROP, [f"{HEADER}\n{GOOD.replace('50.0010', '1.96854')}\n", "inch.csv", 0])
    page.wait_for_selector("#files-question >> text=In which unit")
    page.click("#files-choice label:first-child")
    page.click("#files-take-so")
    page.wait_for_selector("#files-said >> text=1 taken")
    page.wait_for_selector("#files-ask-box", state="hidden")
    assert monitor.aside(waiting=True).rows == ()


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES, ids=[f"{w}" for w, _ in SIZES])
def test_wide_texts_stay_inside_their_box(address, look, monitor, tmp_path, size):
    wide = "B3,1,S1,noon,top,x," + "9" * 480
    monitor.take([write(tmp_path, "n" * 120 + ".csv", HEADER, [GOOD, wide])])
    page = opened(look, address, *size)
    page.wait_for_selector("#files-rows-list button")
    page.click("#files-rows-list button")
    page.wait_for_selector("#files-row-facts .row-text")
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    boxes = "[...document.querySelectorAll('.row-text, .picks button, .drop')].filter(e => e.offsetParent)"
    assert page.evaluate(f"{boxes}.every(e => e.scrollWidth <= e.clientWidth + 1)")
