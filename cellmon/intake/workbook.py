"""XLSX to a table, guarded against workbooks that are made to fill the memory."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from typing import Any

import numpy as np
from python_calamine import CalamineError, CalamineWorkbook

from cellmon.errors import FileUnreadable
from cellmon.intake.table import Table
from cellmon.intake.typed import text_cells, typed_table
from cellmon.words import say, to_say

MOST_UNPACKED = 400 * 1024**2
"""Bytes a workbook may unpack to."""
MOST_CELLS = 30_000_000
"""Cells of the rectangle that holds all cells of a sheet."""
DAMAGE = (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError, OSError, ValueError)
"""What reading a spoilt or protected archive ends in."""
ROW = re.compile(rb'<(?:\w+:)?row\b[^>]{0,200}?\br="(\d{1,9})"')
CELL = re.compile(rb'\br="([A-Z]{1,4})(\d{1,9})"')


def workbook_table(raw: bytes, *, name: str) -> Table:
    """Read the one sheet of a workbook that holds rows; its line numbers are the sheet's.

    Raises
    ------
    FileUnreadable
        When it is damaged, unpacks to too much, or holds rows on several sheets.
    """
    _guard(raw, name)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
        sheets = {title: _rows(book, title) for title in book.sheet_names}
    except (CalamineError, ValueError, OSError) as refused:
        raise FileUnreadable(name, say("is a damaged or protected workbook")) from refused
    filled = {title: rows for title, rows in sheets.items() if len(rows[1]) > 1}
    if not filled:
        raise FileUnreadable(name, say("has no sheet with a header and rows"))
    if len(filled) > 1:
        text = to_say("has rows on {count} sheets ({names}); keep one a file")
        raise FileUnreadable(name, say(text, count=len(filled), names=", ".join(filled)))
    ((first, rows),) = filled.values()
    head = next(i for i, row in enumerate(rows) if any(cell != "" for cell in row))
    names = [str(cell) for cell in rows[head]]
    body = rows[head + 1 :]
    columns = [
        text_cells([None if cell == "" else cell for cell in column]) for column in zip(*body, strict=True)
    ]
    line = np.arange(first + head + 1, first + head + 1 + len(body), dtype=np.int64)
    kept = [
        i
        for i, title in enumerate(names)
        if title.strip() or any(c != "" for c in columns[i].unique().to_pylist())
    ]
    return typed_table([names[i] for i in kept], [columns[i] for i in kept], line=line)


def _rows(book: CalamineWorkbook, title: str) -> tuple[int, list[list[Any]]]:
    """Return the row of the sheet on which its cells begin, counted from 1, and the cells."""
    sheet = book.get_sheet_by_name(title)
    start = sheet.start
    return (start[0] + 1 if start else 1), sheet.to_python(skip_empty_area=True)


def _guard(raw: bytes, name: str) -> None:
    """Refuse an archive that unpacks to more than it should, or cells that lie too far apart."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            members = archive.infolist()
            if sum(member.file_size for member in members) > MOST_UNPACKED:
                why = say("unpacks to more than {size} MB; split it", size=MOST_UNPACKED // 1024**2)
                raise FileUnreadable(name, why)
            for member in members:
                unpacked = archive.read(member)  # never more than it declares, and the checksum must hold
                if "worksheets/" in member.filename.lower():
                    _guard_cells(unpacked, name)
    except FileUnreadable:
        raise
    except DAMAGE as refused:
        raise FileUnreadable(name, say("is a damaged or protected workbook")) from refused


def _guard_cells(xml: bytes, name: str) -> None:
    rows = [int(found) for found in ROW.findall(xml)]
    columns, more = set(), set()
    for letters, row in CELL.findall(xml):
        columns.add(letters)
        more.add(row)
    deepest = max([*rows, *map(int, more), 0])
    widest = max((_place(letters) for letters in columns), default=0)
    if deepest * widest > MOST_CELLS:
        text = to_say("has cells as far apart as row {row} and column {column}; keep one table a sheet")
        raise FileUnreadable(name, say(text, row=deepest, column=widest))


def _place(letters: bytes) -> int:
    place = 0
    for letter in letters:
        place = place * 26 + letter - ord("A") + 1
    return place
