"""A folder of files made to break a reader: each ends in one sentence or in refused rows, and soon."""

from __future__ import annotations

import io
import random
import time
import zipfile

import pyarrow as pa
import pytest
from pyarrow import parquet

from cellmon.errors import FileUnreadable
from cellmon.intake import read_file
from tests.intake.conftest import LONG, is_accounted_for, reasons
from tests.intake.test_tables import HEADER, ROWS, delimited, workbook

RNG = random.Random(11)


def archive(**members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in members.items():
            packed.writestr(name.replace("__", "/").replace("_dot_", "."), content)
    return out.getvalue()


def workbook_with(xml):
    """Return a sound workbook whose first sheet is replaced."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook(ROWS))) as sound,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made,
    ):
        for member in sound.namelist():
            made.writestr(member, xml if member.endswith("sheet1.xml") else sound.read(member))
    return out.getvalue()


def far_apart():
    head = '<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    cells = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    return head + cells + "</sheetData></worksheet>"


def parquet_file():
    out = io.BytesIO()
    parquet.write_table(pa.table(dict(zip(HEADER, zip(*ROWS, strict=True), strict=True))), out)
    return out.getvalue()


UNREADABLE = {
    "empty": b"",
    "blank": b" \n\n\t\n",
    "mark-alone": b"\xef\xbb\xbf",
    "header-alone": LONG.encode(),
    "noise": RNG.randbytes(50_000),
    "zeros": bytes(10_000),
    "old-workbook": b"\xd0\xcf\x11\xe0" + bytes(600),
    "picture": b"\x89PNG\r\n\x1a\n" + RNG.randbytes(500),
    "page": b"%PDF-1.7 " + RNG.randbytes(500),
    "packed": b"\x1f\x8b\x08" + RNG.randbytes(500),
    "prose": b"Dear colleague,\nplease find the readings attached.\n",
    "one-line-without-end": b"x" * 3_000_000,
    "wide-header": b",".join(b"c" for _ in range(5000)) + b"\n1\n",
    "cut-workbook": workbook(ROWS)[:2000],
    "not-a-workbook": archive(readme_dot_txt="hello"),
    "bomb": lambda: archive(xl__worksheets__sheet1_dot_xml=b"0" * (500 * 1024**2)),  # takes a second
    "far-apart": workbook_with(far_apart()),
    "broken-xml": workbook_with("<worksheet><sheetData><row"),
    "cut-parquet": parquet_file()[:-20],
    "spoilt-parquet": parquet_file()[:60] + bytes(40) + parquet_file()[100:],
    "parquet-not-utf8": parquet_file().replace(b"spindle", b"spind\xf0e"),
    "parquet-magic": b"PAR1PAR1",
    "broken-json": b'{"part": \n{"part"\n',
    "json-of-no-kind": b'{"a": 1}\n',
}


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_in_which_nothing_can_be_read_is_refused_in_one_sentence(sheet, write, name):
    content = UNREADABLE[name]
    path = write(content() if callable(content) else content, name)
    began = time.process_time()
    with pytest.raises(FileUnreadable) as refused:
        read_file(path, sheet)
    assert str(refused.value).startswith(f"{name}: ") and "\n" not in str(refused.value)
    assert len(str(refused.value)) < 300 and time.process_time() - began < 5
    assert refused.value.exit_status == 4


def test_a_file_that_is_not_there_or_is_a_folder_is_refused(sheet, tmp_path):
    for path in (tmp_path / "gone.csv", tmp_path):
        with pytest.raises(FileUnreadable):
            read_file(path, sheet)


ROW = "B1,1,S1,2026-10-19T06:00,{},{},87.31\n"
PARTLY = {
    "nul-bytes": (
        ROW.format("top", "x") + "B2,1,S1,2026-10-19\x00,top,x,87.31\n" + ROW.format("top", "y"),
        "unreadable",
    ),
    "huge-line": (ROW.format("top", "x") + "B" * 2_000_000 + "\n" + ROW.format("top", "y"), "unreadable"),
    "open-quote": (
        ROW.format("top", "x") + '"B2,1,S1,2026-10-19T06:00,top,x,87.31\n' + ROW.format("top", "y"),
        "field-count",
    ),
    "bell": (
        ROW.format("top", "x") + "B2\x07,1,S1,2026-10-19T06:00,top,x,87.31\n" + ROW.format("top", "y"),
        "unreadable",
    ),
    "huge-cell": (
        ROW.format("top", "x") + f"B2,1,S1,2026-10-19T06:00,top,x,{'9' * 50_000}\n" + ROW.format("top", "y"),
        "not-a-number",
    ),
    "year-9999": (
        ROW.format("top", "x") + "B2,1,S1,9999-12-31T23:59,top,x,87.31\n" + ROW.format("top", "y"),
        "not-a-time",
    ),
    "formula": (
        ROW.format("top", "x") + "B2,=1+1,S1,2026-10-19T06:00,top,x,87.31\n" + ROW.format("top", "y"),
        "unknown-bore",
    ),
}


@pytest.mark.parametrize("name", PARTLY)
def test_a_line_that_is_no_row_does_not_stop_the_rest(sheet, write, name):
    text, reason = PARTLY[name]
    taken = read_file(write(LONG + text), sheet)
    assert reasons(taken) == [(3, reason)] and taken.batch.lines[0, 0].tolist() == [2, 4]
    is_accounted_for(taken)


def test_ten_thousand_open_quotes_end_soon(sheet, write):
    began = time.process_time()
    taken = read_file(write(LONG + ROW.format("top", "x") + '"x,1\n' * 10_000), sheet)
    assert len(taken.refused) == 10_000 and time.process_time() - began < 5
    is_accounted_for(taken)


@pytest.mark.parametrize("seed", range(30))
def test_flipped_bytes_never_end_in_anything_but_a_refusal(sheet, write, seed):
    rng = random.Random(seed)
    raw = bytearray([delimited().encode(), workbook(ROWS), parquet_file()][seed % 3])
    for _ in range(rng.randint(1, 6)):
        raw[rng.randrange(len(raw))] = rng.randrange(256)
    try:
        is_accounted_for(read_file(write(bytes(raw), "f"), sheet))
    except FileUnreadable as refused:
        assert str(refused).startswith("f: ")
