"""Rows set aside, taken again: as they stand, or as a named person wrote them, beside the original."""

from __future__ import annotations

import json
import sqlite3

import pytest

from cellmon.errors import NotFound, RowStillRefused, WrongUsage
from tests.small_cell import EVENTS, HEADER, SHEET, derived, new_cell, rows, write

GOOD = "B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010"
BAD = "B1,1,S1,2026-03-02T05:00:00Z,top,y,50.O012"
MENDED = "B1,1,S1,2026-03-02T05:00:00Z,top,y,50.0012"


@pytest.fixture
def cell(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, [GOOD, BAD])])
    return monitor


def take(cell, row="a.csv:3", text=MENDED, by="R. Hale", why="an O for a 0"):
    return cell.take_row(row, text=text, by=by, why=why)


def counts(taken):
    return taken.rows, taken.taken, taken.known, len(taken.set_aside)


def test_a_corrected_row_comes_in_and_the_row_as_it_was_stands_beside_it(cell):
    taken = take(cell)
    assert (taken.file, counts(taken)) == ("a.csv, line 3 corrected", (1, 1, 0, 0))
    (row,) = cell.aside().rows
    assert (row.text, row.state, row.line) == (BAD, "taken", 3)
    assert (row.corrected.text, row.corrected.by, row.corrected.why) == (MENDED, "R. Hale", "an O for a 0")
    (came,) = [o for m in cell.part("B1").measurements for o in m.origins if "corrected" in o.file]
    assert (came.file, came.line) == ("a.csv, line 3 corrected", 3)


def test_the_correction_is_journalled_with_both_texts(cell):
    take(cell)
    with cell._store.reading() as session:
        (one,) = session.decisions("take-row")
    assert (one.by, one.why, one.subject) == ("R. Hale", "an O for a 0", f"row {cell.aside().rows[0].id}")
    assert (one.body["before"], one.body["text"], one.body["line"]) == (BAD, MENDED, 3)
    assert cell.check(rebuild=True).sound


def test_what_comes_in_is_what_the_right_file_would_have_brought(cell, tmp_path):
    take(cell)
    right = new_cell(tmp_path / "right")
    right.take([write(tmp_path, "b.csv", HEADER, [GOOD, MENDED])])
    assert derived(cell) == derived(right)


def test_the_same_words_again_change_nothing_and_others_are_refused(cell):
    first, change = take(cell), cell.last_change()
    again = take(cell)
    assert (again.file, counts(again)) == (first.file, counts(first))
    assert again.notes == ("taken before, as R. Hale wrote it; nothing was added",)
    assert cell.last_change() == change
    with pytest.raises(WrongUsage, match="already taken"):
        take(cell, text=MENDED.replace("0012", "0013"))


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (BAD, "not-a-number"),
        ("B1,1,S1", "field-count"),
        (MENDED.replace(",y,", ",z,"), "unknown-direction"),
        (GOOD.replace("0010", "0030"), "contradicts"),
        ("\x00" + MENDED, "unreadable"),
    ],
)
def test_a_row_that_still_cannot_be_used_is_refused_in_words_and_nothing_is_kept(cell, text, reason):
    before, change = derived(cell), cell.last_change()
    with pytest.raises(RowStillRefused, match="Nothing was taken") as refused:
        take(cell, text=text)
    assert (refused.value.reason, refused.value.exit_status) == (reason, 3)
    assert (derived(cell), cell.last_change()) == (before, change)
    assert [row.state for row in cell.aside().rows] == ["waiting"]


@pytest.mark.parametrize(
    ("text", "by", "why"), [(MENDED, " ", "x"), (MENDED, "R. Hale", ""), (" ", "R. Hale", "x")]
)
def test_a_row_without_text_name_or_reason_is_refused(cell, text, by, why):
    change = cell.last_change()
    with pytest.raises(WrongUsage):
        take(cell, text=text, by=by, why=why)
    assert cell.last_change() == change


def test_one_row_is_corrected_at_a_time(cell):
    with pytest.raises(WrongUsage, match="one row"):
        take(cell, text=f"{MENDED}\n{MENDED.replace('top', 'bottom')}")


def test_a_row_is_named_by_file_and_line_or_by_number_and_no_other_way(cell, tmp_path):
    (row,) = cell.aside().rows
    assert cell.aside_row("a.csv:3") == cell.aside_row(str(row.id))
    for wrong in ("a.csv:4", "b.csv:3", "a.csv", "99", "a.csv:x", "9" * 40, "a.csv:" + "9" * 40):
        with pytest.raises(NotFound):
            cell.aside_row(wrong)
    other = tmp_path / "other"
    other.mkdir()
    cell.take([write(other, "a.csv", HEADER, ["B2,1,S1,noon,top,x,50.0", "B3,1,S1,noon,top,x,50.0"])])
    with pytest.raises(WrongUsage, match="by its number"):
        cell.aside_row("a.csv:3")


def test_a_row_is_told_cell_by_cell_and_what_has_no_counterpart_is_seen(cell, tmp_path):
    cell.take([write(tmp_path, "short.csv", HEADER, [GOOD, "B9,1,S1"])])
    told = [(one.column, one.cell) for one in cell.aside_row("short.csv:3").cells]
    assert cell.aside_row("short.csv:3").part == dict(told)["part"]
    assert told[:3] == [("part", "B9"), ("bore", "1"), ("spindle", "S1")]
    assert told[3:] == [(name, None) for name in HEADER.split(",")[3:]]


def test_a_row_that_contradicts_another_is_kept_as_it_was_read_beside_what_it_contradicts(cell, tmp_path):
    other = GOOD.replace("0010", "0030")
    cell.take([write(tmp_path, "other.csv", HEADER, [MENDED.replace("B1", "B2"), other])])
    row = cell.aside_row("other.csv:3")
    assert (row.reason, row.as_read, row.part) == ("contradicts", other, "B1")
    assert "the row says 3.0 µm from nominal, 1.0 µm stands" in row.text
    assert [one.cell for one in row.cells] == other.split(",")
    later = row.as_read.replace("05:00:00", "05:07:00")
    assert counts(cell.take_row("other.csv:3", text=later, by="R. Hale", why="time mistyped")) == (1, 1, 0, 0)
    [told] = [one for one in cell.journal().entries if one.kind == "take-row"]
    assert (told.after["before"], told.after["text"]) == (other, later)


@pytest.mark.parametrize("kind", ["wide", "log", "json lines"])
def test_contradicting_rows_of_every_kind_of_file_are_kept_as_they_were_read(tmp_path, kind):
    monitor = new_cell(tmp_path / "cell")
    wide, at = "part,bore,spindle,measured_at,top_x,top_y,bottom_x,bottom_y", "2026-03-02T05:00:00Z"
    header, first, other = {
        "wide": (wide, f"B1,1,S1,{at},50.0,50.0,50.0,50.001", f"B1,1,S1,{at},50.0,50.0,50.0,50.003"),
        "log": (EVENTS, f"{at},feed-offset,S1,,2", f"{at},feed-offset,S1,,3"),
        "json lines": (EVENTS, f"{at},feed-offset,S1,,2", f"{at},feed-offset,S1,,3"),
    }[kind]
    monitor.take([write(tmp_path, "first.csv", header, [first])])
    path = write(tmp_path, "other.csv", header, [other])
    if kind == "json lines":
        path = tmp_path / "other.jsonl"
        path.write_text(json.dumps(dict(zip(header.split(","), other.split(","), strict=True))) + "\n")
    [taken] = monitor.take([path]).files
    [aside] = taken.set_aside
    row = monitor.aside_row(f"{path.name}:{aside.line}")
    assert (row.reason, row.as_read) == ("contradicts", other)
    assert [one.cell for one in row.cells] == other.split(",")
    text = row.as_read.replace("05:00:00", "05:07:00")
    assert monitor.take_row(str(row.id), text=text, by="R. Hale", why="time mistyped").taken == 1


def test_a_row_that_was_known_all_along_adds_nothing_and_waits_no_longer(cell):
    assert counts(take(cell, text=GOOD)) == (1, 0, 1, 0)
    assert [row.state for row in cell.aside().rows] == ["taken"]


def test_a_row_of_another_unit_is_taken_in_the_unit_a_person_names(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    inch = "B1,1,S1,2026-03-02T05:00:00Z,top,x,1.96854"
    monitor.take([write(tmp_path, "inch.csv", HEADER, [inch])])
    with pytest.raises(RowStillRefused) as refused:
        monitor.take_row("inch.csv:2", text=inch, by="R. Hale", why="inch")
    assert refused.value.reason == "unit-doubt"
    assert "its size fits another unit than its own (in or um): say which" in str(refused.value)
    assert monitor.take_row("inch.csv:2", text=inch, by="R. Hale", why="inch", unit="in").taken == 1


def test_an_event_is_corrected_like_a_reading(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "log.csv", EVENTS, ["2026-03-02T05:00:00Z,stones-dresed,S1,,"])])
    text = "2026-03-02T05:00:00Z,stones-dressed,S1,,"
    assert monitor.take_row("log.csv:2", text=text, by="R. Hale", why="spelling").taken == 1


def test_a_row_of_which_only_the_beginning_is_kept_must_be_written_whole(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    long = "B1,1,S1,noon,top,x,50.0010," + "n" * 600
    monitor.take([write(tmp_path, "long.csv", HEADER + ",note", [long])])
    cut = monitor.aside_row("long.csv:2").text
    with pytest.raises(WrongUsage, match="write it whole"):
        monitor.take_row("long.csv:2", text=cut.replace("noon", "2026-03-02T05:00:00Z"), by="A", why="b")
    assert monitor.retry_aside().files == ()
    whole = long.replace("noon", "2026-03-02T05:00:00Z")
    assert monitor.take_row("long.csv:2", text=whole, by="A", why="b").taken == 1


def test_rows_wait_no_longer_once_the_same_file_brings_them_in(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    path = write(tmp_path, "inch.csv", HEADER, ["B1,1,S1,2026-03-02T05:00:00Z,top,x,1.96854"])
    first = monitor.take([path]).files[0]
    assert (first.units, [r.reason for r in first.set_aside]) == (("in", "um"), ["unit-doubt"])
    assert monitor.take([path], unit="in").files[0].taken == 1
    assert [row.state for row in monitor.aside().rows] == ["taken"]


def test_a_whole_file_that_waited_is_let_in_once_the_sheet_knows_its_gauge(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, rows(4))])
    path = write(tmp_path, "g2.csv", HEADER + ",gauge", ["B9,1,S1,2026-03-02T05:00:00Z,top,x,50.001,G2"])
    monitor.take([path])
    assert monitor.retry_aside().files == ()
    monitor.close()
    wider = SHEET + '\n[[gauges]]\nid = "G2"\nunit = "mm"\nresolution_um = 1.0\nuse = "audit"\n'
    again = new_cell(tmp_path / "cell", sheet=wider)
    again.adopt(by="R. Hale", why="a second gauge")
    assert [f.taken for f in again.retry_aside().files] == [1]
    assert [row.state for row in again.aside().rows] == ["taken"]
    assert again.retry_aside().files == ()


def test_a_text_of_quotes_that_spans_lines_does_not_shift_the_rows_behind_it(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    torn = 'B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010,"two\nlines",G2'
    plain = "B2,1,S1,2026-03-02T05:00:00Z,top,x,50.0010,one,G3"
    monitor.take([write(tmp_path, "a.csv", HEADER + ",note,gauge", [torn, plain])])
    assert [row.reason for row in monitor.aside().rows] == ["unknown-gauge"] * 2
    monitor.close()
    again = new_cell(tmp_path / "cell", sheet=SHEET + '\n[[gauges]]\nid = "G3"\nuse = "audit"\n')
    again.retry_aside()  # no row had served yet, so the sheet needs no adoption
    assert {row.text[:2]: row.state for row in again.aside().rows} == {"B1": "waiting", "B2": "taken"}


def test_nothing_of_a_correction_is_kept_when_the_journal_refuses_it(cell, tmp_path):
    with pytest.raises(WrongUsage):
        take(cell, why="  ")
    with sqlite3.connect(tmp_path / "cell" / "cell.db") as store:
        assert store.execute("SELECT count(*) FROM files").fetchone() == (1,)
        assert store.execute("SELECT count(*) FROM retried").fetchone() == (0,)
