"""A file opened as columns of text, whatever its format, with the file line of every row."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from cellmon.errors import FileUnreadable
from cellmon.intake.table import MOST_TEXT, Table, selected
from cellmon.records import Reason, Refused
from cellmon.words import say, to_say

MOST_BYTES = 4 * 1024**3
"""A larger file is refused: it is read whole."""
NOT_TEXT = {
    b"\xd0\xcf\x11\xe0": to_say("is a workbook of the old binary kind; save it as XLSX"),
    b"%PDF": to_say("is a PDF, not a table"),
    b"\x1f\x8b": to_say("is compressed; unpack it first"),
    b"\x89PNG": to_say("is a picture, not a table"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenedFile:
    """A table, the name of its file and the hash of its bytes."""

    name: str
    sha256: str
    table: Table


def open_file(path: str | Path) -> OpenedFile:
    """Open a CSV, XLSX, Parquet or JSON Lines file, told apart by what it holds.

    Raises
    ------
    FileUnreadable
        When no row of it can be reached.
    """
    path = Path(path)
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            why = say("is larger than {size} GB; split it", size=MOST_BYTES // 1024**3)
            raise FileUnreadable(path.name, why)
        raw = path.read_bytes()
    except OSError as refused:
        raise FileUnreadable(path.name, (refused.strerror or say("cannot be read")).lower()) from refused
    return open_bytes(raw, name=path.name)


def open_bytes(raw: bytes, *, name: str) -> OpenedFile:
    """Open the bytes of a file; see `open_file`."""
    return opened(raw, name, _table)


def opened(raw: bytes, name: str, table_of: Callable[..., Table]) -> OpenedFile:
    """Open bytes with the reader of one format; they are hashed meanwhile."""
    if not raw or raw.isspace():
        raise FileUnreadable(name, say("is empty"))
    with ThreadPoolExecutor(max_workers=1) as beside:
        digest = beside.submit(lambda: hashlib.sha256(raw).hexdigest())
        table = without_empty_rows(table_of(raw, name=name))
        if len(table) == 0 and not table.refused:
            raise FileUnreadable(name, say("has a header and no rows"))
        return OpenedFile(name=name, sha256=digest.result(), table=table)


def _table(raw: bytes, *, name: str) -> Table:
    from cellmon.intake import delimited, typed

    for magic, why in NOT_TEXT.items():
        if raw.startswith(magic):
            raise FileUnreadable(name, say(why))
    if raw.startswith(b"PK\x03\x04"):
        from cellmon.intake import workbook

        return without_nul_rows(workbook.workbook_table(raw, name=name))
    if raw.startswith(b"PAR1"):
        return without_nul_rows(typed.parquet_table(raw, name=name))
    if raw.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
        return without_nul_rows(typed.json_lines_table(raw, name=name))
    return delimited.delimited_table(raw, name=name)


def without_empty_rows(table: Table) -> Table:
    """Return the table less the rows in which no cell holds anything; they are no rows."""
    blank = np.full(len(table), bool(table.columns))
    for column in table.columns:
        if not blank.any():
            break
        blank &= _where(column, pc.equal(pc.utf8_trim_whitespace(column.dictionary), ""))
    return _kept(table, np.flatnonzero(~blank)) if blank.any() else table


def without_nul_rows(table: Table) -> Table:
    """Set aside the rows that hold a NUL character; no store keeps one, so no row may carry it."""
    torn = np.zeros(len(table), dtype=bool)
    for column in table.columns:
        torn |= _where(column, pc.match_substring(column.dictionary, "\x00"))
    rows = np.flatnonzero(torn)
    if len(rows) == 0:
        return table
    refused = tuple(
        Refused(line=int(line), reason=Reason.UNREADABLE, text=text.replace("\x00", "␀")[:MOST_TEXT])
        for line, text in zip(table.line[rows], table.text_of(rows), strict=True)
    )
    kept = _kept(table, np.flatnonzero(~torn))
    return replace(kept, refused=(*kept.refused, *refused))


def _where(column: Any, words: Any) -> NDArray[np.bool_]:
    """Return where the words of a column are those that an Arrow array marks."""
    marked: NDArray[np.bool_] = words.to_numpy(zero_copy_only=False)
    return marked[column.indices.to_numpy()] if marked.any() else np.zeros(len(column), dtype=bool)


def _kept(table: Table, keep: NDArray[np.int64]) -> Table:
    text_of = table.text_of
    return replace(
        table,
        columns=tuple(selected(column, keep) for column in table.columns),
        line=table.line[keep],
        text_of=lambda wanted: text_of(keep[wanted]),
    )
