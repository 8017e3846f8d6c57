"""The cell sheet's file: read, or refused with the line."""

from __future__ import annotations

import pytest

from cellmon.errors import FileUnreadable, SheetRefused
from cellmon.intake import parse_sheet, read_sheet
from tests.intake.conftest import SHEET


def test_text_and_sheet_come_together(write):
    found = read_sheet(write("\ufeff" + SHEET, "cell.toml"))
    assert found.text == SHEET and found.sheet.part().number == "HM-214"
    assert parse_sheet(SHEET.replace("\n", "\r\n")).sheet == found.sheet


@pytest.mark.parametrize(
    ("text", "line"),
    [("[cell]\nname = \n", 2), ("[cell]\nname = 'x'\n[cell]\n", 3), ('[cell]\nname = "x', 2)],
)
def test_what_is_no_toml_is_refused_with_its_line(write, text, line):
    with pytest.raises(SheetRefused) as refused:
        read_sheet(write(text, "cell.toml"))
    assert [m.key for m in refused.value.mistakes] == [f"line {line}"]
    assert "cell.toml" in str(refused.value) and refused.value.exit_status == 2


def test_every_mistake_is_told_at_once(write):
    wrong = SHEET.replace('timezone = "Europe/Berlin"', 'timezone = "Berlin"').replace(
        "upper = 87.324", "upper = 8.7"
    )
    with pytest.raises(SheetRefused) as refused:
        read_sheet(write(wrong, "cell.toml"))
    assert len(refused.value.mistakes) == 2


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"x = " + b"[" * 100_000])
def test_a_file_that_is_no_sheet_at_all_is_refused(write, content):
    with pytest.raises((FileUnreadable, SheetRefused)):
        read_sheet(write(content, "cell.toml"))


def test_a_sheet_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(FileUnreadable, match="no such file"):
        read_sheet(tmp_path / "cell.toml")
