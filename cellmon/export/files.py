"""Tables as files: CSV, XLSX, JSON and Parquet. Every figure keeps all its digits."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cellmon import __version__
from cellmon.errors import WrongUsage
from cellmon.export.documents import as_json
from cellmon.export.tables import Table
from cellmon.export.times import local_texts, local_times

if TYPE_CHECKING:
    import pyarrow as pa

SHEET_ROWS = 1_048_575
"""Rows below the heading of an XLSX sheet (ECMA-376: 1,048,576 rows)."""
CELL_LETTERS = 32_767
"""Letters an XLSX cell holds (as its makers' public limits say; from memory)."""


class Format(StrEnum):
    """A file format a table can be written in."""

    CSV = "csv"
    XLSX = "xlsx"
    JSON = "json"
    PARQUET = "parquet"


def write_table(table: Table, path: Path, *, to: Format) -> Path:
    """Write a table to a file, whole or not at all, and return its path.

    Raises
    ------
    WrongUsage
        When the name of the file says another format, or the format cannot hold so many rows.
    OSError
        When the file cannot be written; what stood there before still stands.
    """
    check_name(path, to)
    if to is Format.XLSX and len(table) > SHEET_ROWS:
        raise WrongUsage(f"{len(table):,} rows: an xlsx sheet holds {SHEET_ROWS:,}; use csv or parquet")
    with replacing(path) as beside:
        _WRITERS[to](table, beside)
    return path


def write_document(content: Mapping[str, Any], path: Path) -> Path:
    """Write a document to a JSON file, whole or not at all; refusals as of `write_table`."""
    check_name(path, Format.JSON)
    with replacing(path) as beside:
        beside.write_bytes(as_json(content))
    return path


def check_name(path: Path, to: str) -> None:
    """Refuse a file whose name says another format than is written."""
    if path.suffix.lower() != f".{to}":
        raise WrongUsage(f"{path}: the name of a {to} file ends in .{to}")


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a name beside the file; move it into place only when all went well."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=path.suffix)
    os.close(handle)
    beside = Path(name)
    try:
        yield beside
        beside.chmod(0o666 & ~_umask())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _arrow(table: Table, *, times_as_text: bool) -> pa.Table:
    import pyarrow as pa

    columns: dict[str, Any] = {}
    for name, cells in table.columns.items():
        if cells.dtype.kind == "M" and times_as_text:
            columns[name] = pa.array(local_texts(cells, table.zone), type=pa.string())
        elif cells.dtype.kind == "M":
            utc = pa.array(cells.astype("datetime64[us]"), type=pa.timestamp("us", tz="UTC"))
            columns[name] = utc.cast(pa.timestamp("us", tz=table.zone.key))
        elif cells.dtype.kind == "O":
            texts = [None if cell is None else str(cell) for cell in cells]
            columns[name] = pa.array(texts, type=pa.string())
        else:
            columns[name] = pa.array(cells, from_pandas=True)
    rows = len(table)
    as_of = local_texts(_moment(table), table.zone)[0]
    columns["as_of"] = pa.array([as_of] * rows, type=pa.string())
    columns["sheet_version"] = pa.array([table.sheet] * rows, type=pa.int64())
    return pa.table(columns)


def _moment(table: Table) -> NDArray[np.datetime64]:
    from cellmon.shifts import to_utc

    return np.array([to_utc(table.as_of)])


def csv_bytes(table: Table) -> bytes:
    """Return a table as the bytes of its CSV file."""
    out = BytesIO()
    _csv_into(table, out)
    return out.getvalue()


def _write_csv(table: Table, path: Path) -> None:
    _csv_into(table, path)


def _csv_into(table: Table, sink: Path | BytesIO) -> None:
    from pyarrow import csv

    csv.write_csv(
        _arrow(table, times_as_text=True), sink, csv.WriteOptions(quoting_style="needed", delimiter=",")
    )


def _write_parquet(table: Table, path: Path) -> None:
    from pyarrow import parquet

    arrow = _arrow(table, times_as_text=False).replace_schema_metadata({"cellmon": __version__})
    parquet.write_table(arrow, path, compression="zstd")


def _write_json(table: Table, path: Path) -> None:
    arrow = _arrow(table, times_as_text=True).drop_columns(["as_of", "sheet_version"])
    rows = [{name: _json_cell(cell) for name, cell in row.items()} for row in arrow.to_pylist()]
    head = {"cellmon": __version__, "as_of": local_texts(_moment(table), table.zone)[0], "sheet": table.sheet}
    path.write_bytes(as_json(head | {table.kind: rows}, indent=False))


def _json_cell(cell: Any) -> Any:
    return None if isinstance(cell, float) and not math.isfinite(cell) else cell


def _write_xlsx(table: Table, path: Path) -> None:
    import xlsxwriter

    options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd hh:mm:ss"}
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": f"cellmon {table.kind}", "created": _naive(table)})
        head = book.add_format({"bold": True, "bottom": 1})
        sheet = book.add_worksheet(table.kind)
        sheet.freeze_panes(1, 0)
        write_heads(sheet, table, head)
        write_cells(sheet, table)
        if len(table):
            sheet.autofilter(0, 0, len(table), len(table.columns) - 1)
        _write_origin(book.add_worksheet("about"), table)


def write_heads(sheet: Any, table: Table, style: Any) -> None:
    """Write the names of the columns into the first row of a sheet, and set their widths."""
    for j, (name, cells) in enumerate(table.columns.items()):
        sheet.set_column(j, j, _width(name, cells))
        sheet.write_string(0, j, name, style)


def write_cells(sheet: Any, table: Table) -> None:
    """Write row by row, as the constant-memory mode asks; text is never read as a formula."""
    columns = [_excel_cells(cells, table) for cells in table.columns.values()]
    writers = [_excel_writer(sheet, cells) for cells in table.columns.values()]
    for i in range(len(table)):
        for j, cells in enumerate(columns):
            if cells[i] is not None:
                writers[j](i + 1, j, cells[i])


def _excel_cells(cells: NDArray[Any], table: Table) -> list[Any]:
    if cells.dtype.kind == "M":
        found: list[Any] = local_times(cells, table.zone).tolist()
        return found
    if cells.dtype.kind == "f":
        kept = cells.astype(object)
        kept[~np.isfinite(cells)] = None
        return list(kept)
    if cells.dtype.kind == "O":
        return [None if cell is None else str(cell)[:CELL_LETTERS] for cell in cells]
    return list(cells.tolist())


def _excel_writer(sheet: Any, cells: NDArray[Any]) -> Callable[[int, int, Any], Any]:
    names = {"M": "write_datetime", "O": "write_string", "b": "write_boolean"}
    writer: Callable[[int, int, Any], Any] = getattr(sheet, names.get(cells.dtype.kind, "write_number"))
    return writer


def _naive(table: Table) -> Any:
    return table.as_of.astimezone(table.zone).replace(tzinfo=None)


def _width(name: str, cells: NDArray[Any]) -> float:
    if cells.dtype.kind == "M":
        return 19.0
    longest = (
        max((len(str(c)) for c in cells[:200] if c is not None), default=0) if cells.dtype.kind == "O" else 9
    )
    return float(min(60, max(len(name), longest) + 2))


def _write_origin(sheet: Any, table: Table) -> None:
    lines = (
        ("cellmon", __version__),
        ("as of", table.as_of.astimezone(table.zone).isoformat()),
        ("sheet version in force", str(table.sheet)),
        ("times", f"local to {table.zone.key}; csv, json and parquet carry the offset"),
        ("lengths", "a column ending in _um is in micrometres; deviations are from nominal"),
    )
    sheet.set_column(0, 1, 30)
    for i, (name, value) in enumerate(lines):
        sheet.write_string(i, 0, name)
        sheet.write_string(i, 1, value)


_WRITERS: dict[Format, Callable[[Table, Path], None]] = {
    Format.CSV: _write_csv,
    Format.XLSX: _write_xlsx,
    Format.JSON: _write_json,
    Format.PARQUET: _write_parquet,
}
