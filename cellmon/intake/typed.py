"""Parquet and JSON Lines to a table, and typed cells to the text they would have in a file."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import parquet

from cellmon.errors import FileUnreadable
from cellmon.intake.table import Table, distinct_names, shortened
from cellmon.records import Reason, Refused, Whole
from cellmon.words import say

MOST_CELLS = 100_000_000
"""Cells a Parquet file may say it holds."""


def parquet_table(raw: bytes, *, name: str) -> Table:
    """Read a Parquet file; its header counts as line 1."""
    try:
        file = parquet.ParquetFile(pa.BufferReader(raw))
        held = file.metadata
        if held.num_rows * max(held.num_columns, 1) > MOST_CELLS:
            raise FileUnreadable(name, say("says it holds more rows than can be read at once; split it"))
        read = file.read()
        columns = [_text(column) for column in read.columns]
        for column in columns:
            column.validate(full=True)
        names = [str(each) for each in read.column_names]
    except FileUnreadable:
        raise
    except (pa.ArrowException, OSError, ValueError) as refused:  # ValueError: names that are not UTF-8
        raise FileUnreadable(name, say("is a damaged Parquet file")) from refused
    if not columns:
        raise FileUnreadable(name, say("has no columns"))
    line = np.arange(2, 2 + read.num_rows, dtype=np.int64)
    return typed_table(names, columns, line=line)


def json_lines_table(raw: bytes, *, name: str) -> Table:
    """Read JSON Lines: one object a line; a line that is none is refused by itself."""
    lines = raw.removeprefix(b"\xef\xbb\xbf").splitlines()
    number = [i for i, line in enumerate(lines) if line.strip()]
    objects: list[Any] = []
    try:
        objects = orjson.loads(b"[" + b",".join([lines[i] for i in number]) + b"]")
    except orjson.JSONDecodeError:
        objects = []
    if len(objects) != len(number):
        objects = [_object(lines[i]) for i in number]
    good = [i for i, found in enumerate(objects) if isinstance(found, dict)]
    refused = tuple(
        Refused(
            line=i + 1,
            reason=Reason.UNREADABLE,
            text=shortened(lines[i].decode("utf-8", "replace").replace("\x00", "␀")),
        )
        for i, found in zip(number, objects, strict=True)
        if not isinstance(found, dict)
    )
    if not good:
        raise FileUnreadable(name, say("holds no line that is a JSON object"))
    rows = [objects[i] for i in good]
    names = list(dict.fromkeys(key for row in rows for key in row))
    columns = [text_cells([row.get(key) for row in rows]) for key in names]
    line = np.array([number[i] + 1 for i in good], dtype=np.int64)
    return typed_table(names, columns, line=line, refused=refused)


def _object(line: bytes) -> Any:
    try:
        return orjson.loads(line)
    except orjson.JSONDecodeError:
        return None


def typed_table(
    names: Sequence[str], columns: Sequence[Any], *, line: Whole, refused: tuple[Refused, ...] = ()
) -> Table:
    """Return a table of text columns; its rows are told as comma separated text."""

    def text_of(wanted: NDArray[np.int64]) -> list[str]:
        picked = [column.take(pa.array(wanted)).to_pylist() for column in columns]
        return [shortened(comma_separated(cells)) for cells in zip(*picked, strict=True)]

    return Table(
        header=distinct_names(list(names)),
        columns=tuple(column.dictionary_encode() for column in columns),
        line=line,
        refused=refused,
        separator=",",
        header_text=comma_separated(names),
        text_of=text_of,
    )


def comma_separated(cells: Sequence[str]) -> str:
    """Return cells as one line of a CSV file."""
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow(cells)
    return line.getvalue()


def text_cells(cells: Sequence[Any]) -> Any:
    """Return cells of any types as an Arrow array of text, "" where nothing stands."""
    try:
        return _text(pa.array(cells))
    except (pa.ArrowException, OverflowError, TypeError, ValueError):
        return pa.array([_word(cell) for cell in cells], pa.string())


def _word(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell.encode("utf-8", "replace").decode()
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 2**53 else repr(cell)
    if isinstance(cell, (dict, list)):
        return orjson.dumps(cell).decode()
    return cell.isoformat() if hasattr(cell, "isoformat") else str(cell)


def _text(column: Any) -> Any:
    """Return an Arrow column as one array of text."""
    if isinstance(column, pa.ChunkedArray):
        column = pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_null(column.type):
        return pa.array([""] * len(column), pa.string())
    if (
        pa.types.is_nested(column.type)
        or pa.types.is_binary(column.type)
        or pa.types.is_duration(column.type)
    ):
        return pa.array([_word(cell) for cell in column.to_pylist()], pa.string())
    return pc.fill_null(column.cast(pa.string()), "")
