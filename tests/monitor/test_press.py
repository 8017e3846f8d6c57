"""What a page sends again because no answer came is done once, whatever happened in between."""

from __future__ import annotations

import pytest

import cellmon
from cellmon.errors import KeptBefore, WrongUsage
from cellmon.monitor import press
from cellmon.monitor.press import named
from cellmon.records import Kind
from tests.monitor.test_second_person import on_each, url
from tests.small_cell import HEADER, new_cell, rows, write

__all__ = ["url"]
ONE, OTHER = "0" * 31 + "1", "0" * 31 + "2"
WHO = {"by": "A. Weber", "why": "quiet"}


def dressed(at: str) -> dict[str, str]:
    return {"at": at, "event": "stones-dressed", "spindle": "S1"}


@pytest.fixture
def cell(tmp_path, url):
    opened = new_cell(tmp_path / "cell", url=url)
    opened.take([write(tmp_path, "rows.csv", HEADER, rows(60))])
    yield opened
    opened.close()


@on_each
def test_what_is_sent_again_under_its_name_is_done_once_and_told_also_after_a_restart(cell):
    with named(ONE) as first:
        assert cell.kept_before() is None
        cell.freeze(**WHO)
    assert first.was_kept
    decided = len(cell.journal().entries)
    anew = cellmon.open_cell(cell.folder)
    with named(ONE) as again:
        assert anew.kept_before().startswith("This was kept the first time it was pressed, ")
        with pytest.raises(KeptBefore, match="nothing was done twice"):
            anew.freeze(**WHO)
    assert again.was_kept and len(anew.journal().entries) == decided
    with named(OTHER):
        anew.freeze(**WHO)
    anew.freeze(**WHO)
    assert len(anew.journal().entries) == 3 * decided, "another press, and no press, are no repetition"
    anew.close()


def test_rows_typed_by_hand_are_kept_once_though_the_clock_went_on(cell):
    for minute in ("06:00", "06:01"):
        with named(ONE):
            try:
                cell.log(Kind.EVENTS, dressed(f"2026-03-02T{minute}"))
            except KeptBefore:
                assert minute == "06:01"
    assert sum(one.taken for one in cell.files().files if one.file == "typed by hand") == 1


def test_a_press_that_was_refused_is_not_kept_and_may_be_sent_again(cell):
    with named(ONE) as one:
        with pytest.raises(WrongUsage):
            cell.freeze(by="A. Weber", why=" ")
        assert not one.was_kept and cell.kept_before() is None
    with named(ONE) as one:
        cell.freeze(**WHO)
    assert one.was_kept


def test_one_press_may_write_more_than_once(cell):
    with named(ONE):
        cell.freeze(**WHO, spindle="S1")
        cell.freeze(**WHO, spindle="S2")
        assert cell.kept_before() is None
    assert press.now() is None
    with named(ONE):
        assert cell.kept_before()
