"""A table of records written as CSV, XLSX, Parquet or JSON Lines, in a chosen dialect."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import isnan
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cellmon.errors import WrongUsage
from cellmon.records import Batch

Columns = dict[str, NDArray[Any]]
"""Columns by their header, in order; a cell is a text, a number, a moment (UTC) or nothing."""

MADE_AT = datetime(2026, 10, 25, tzinfo=UTC).replace(tzinfo=None)
"""Written into XLSX files as their date, so that the same table gives the same file."""


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """How cells are written."""

    separator: str = ","
    decimal: str = "."
    byte_order_mark: bool = False
    line_end: str = "\n"
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    with_offset: bool = True
    """Whether a time carries its offset; without, it is plain local time, ambiguous once a year."""
    decimals: Mapping[str, int] = field(default_factory=dict)
    """Digits after the point of single columns; others are written as short as they are."""


def columns_of(batch: Batch) -> Columns:
    """Return the declared columns of a batch in which something stands, times as they are."""
    named = {column.name: getattr(batch, column.name) for column in batch.columns()}
    return {name: values for name, values in named.items() if not _is_empty(values)}


def _is_empty(values: NDArray[Any]) -> bool:
    if values.dtype.kind == "M":
        return bool(np.isnat(values).all())
    return all(_is_nothing(value) for value in values.tolist())


def _is_nothing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and isnan(value))


def write_table(columns: Columns, path: Path, *, dialect: Dialect) -> None:
    """Write a table in the format that the end of the file's name asks for.

    Raises
    ------
    WrongUsage
        For an ending that is none of csv, tsv, xlsx, parquet, jsonl.
    """
    writers: dict[str, Callable[[Columns, Path, Dialect], None]] = {
        ".csv": _csv,
        ".tsv": _csv,
        ".xlsx": _xlsx,
        ".parquet": _parquet,
        ".jsonl": _json_lines,
    }
    writer = writers.get(path.suffix.lower())
    if writer is None:
        raise WrongUsage(f"{path.name}: expected a name that ends in {', '.join(sorted(writers))}")
    writer(columns, path, dialect)


def _csv(columns: Columns, path: Path, dialect: Dialect) -> None:
    texts = [_texts(name, values, dialect) for name, values in columns.items()]
    lines = [dialect.separator.join(columns)]
    lines += [dialect.separator.join(row) for row in zip(*texts, strict=True)]
    text = "".join(line + dialect.line_end for line in lines)
    path.write_bytes(text.encode("utf-8-sig" if dialect.byte_order_mark else "utf-8"))


def _texts(name: str, values: NDArray[Any], dialect: Dialect) -> list[str]:
    """Return the cells of one column as they stand in a CSV file."""
    if values.dtype.kind == "M":
        return _time_texts(values, dialect)
    digits = dialect.decimals.get(name)
    return [_text(value, digits, dialect) for value in values.tolist()]


def _text(value: Any, digits: int | None, dialect: Dialect) -> str:
    if _is_nothing(value):
        return ""
    if isinstance(value, str):
        special = dialect.separator in value or '"' in value or "\n" in value
        return '"' + value.replace('"', '""') + '"' if special else value
    written = f"{value:.{digits}f}" if digits is not None else f"{value:.10g}"
    return written.replace(".", dialect.decimal)


def _moments(values: NDArray[np.datetime64], dialect: Dialect) -> list[datetime | None]:
    plain: list[datetime | None] = values.astype("datetime64[us]").tolist()
    return [None if at is None else at.replace(tzinfo=UTC).astimezone(dialect.zone) for at in plain]


def _time_texts(values: NDArray[np.datetime64], dialect: Dialect) -> list[str]:
    written = []
    for at in _moments(values, dialect):
        if at is None:
            written.append("")
        elif dialect.with_offset:
            written.append(at.isoformat(timespec="seconds"))
        else:
            written.append(at.replace(tzinfo=None).isoformat(sep=" ", timespec="seconds"))
    return written


def _xlsx(columns: Columns, path: Path, dialect: Dialect) -> None:
    """Write one sheet; times are date cells in local time, or texts where they carry an offset."""
    import xlsxwriter

    book = xlsxwriter.Workbook(str(path), {"constant_memory": False})
    book.set_properties({"created": MADE_AT})
    sheet = book.add_worksheet("data")
    head, clock = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    sheet.freeze_panes(1, 0)
    for index, (name, values) in enumerate(columns.items()):
        sheet.write_string(0, index, name, head)
        digits = dialect.decimals.get(name)
        number = book.add_format({"num_format": "0." + "0" * digits}) if digits else None
        for row, cell in enumerate(_sheet_cells(values, dialect), start=1):
            if isinstance(cell, datetime):
                sheet.write_datetime(row, index, cell, clock)
            elif isinstance(cell, str):
                sheet.write_string(row, index, cell)
            elif not _is_nothing(cell):
                sheet.write_number(row, index, cell, number)
    book.close()


def _sheet_cells(values: NDArray[Any], dialect: Dialect) -> list[Any]:
    if values.dtype.kind != "M":
        return list(values.tolist())
    if dialect.with_offset:
        return list(_time_texts(values, dialect))
    return [None if at is None else at.replace(tzinfo=None) for at in _moments(values, dialect)]


def _parquet(columns: Columns, path: Path, dialect: Dialect) -> None:
    import pandas as pd

    frame = pd.DataFrame(dict(columns))
    for name, values in columns.items():
        if values.dtype.kind == "M":
            frame[name] = pd.DatetimeIndex(values, tz="UTC").tz_convert(dialect.zone)
    frame.to_parquet(path, index=False)


def _json_lines(columns: Columns, path: Path, dialect: Dialect) -> None:
    cells = [
        _time_texts(values, dialect) if values.dtype.kind == "M" else values.tolist()
        for values in columns.values()
    ]
    lines = []
    for row in zip(*cells, strict=True):
        pairs = zip(columns, row, strict=True)
        kept = {name: (None if cell == "" or _is_nothing(cell) else cell) for name, cell in pairs}
        lines.append(json.dumps(kept) + "\n")
    path.write_text("".join(lines), encoding="utf-8")
