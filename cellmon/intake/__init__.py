"""Files to records and refusals; the only code that reads what people and gauges write."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from cellmon.errors import WrongUsage
from cellmon.intake.sheet_file import SheetFile, parse_sheet, read_sheet
from cellmon.intake.taken import TakenFile
from cellmon.records import Kind
from cellmon.sheet import Sheet
from cellmon.units import LengthUnit
from cellmon.words import say

Word = TypeVar("Word", bound=StrEnum)

if TYPE_CHECKING:
    from cellmon.intake.tables import OpenedFile

__all__ = ["SheetFile", "TakenFile", "parse_sheet", "read_bytes", "read_file", "read_sheet", "read_text"]


def read_file(
    path: str | Path, sheet: Sheet, *, kind: Kind | str | None = None, unit: LengthUnit | str | None = None
) -> TakenFile:
    """Read a file of any kind and format: every row is in the batch, refused, or a repeat.

    Parameters
    ----------
    path : str or Path
        CSV, XLSX, Parquet or JSON Lines.
    sheet : Sheet
        The cell sheet: bores, planes, directions, gauges and their units, renamed columns.
    kind : Kind, optional
        What the file holds, where its header fits two kinds.
    unit : LengthUnit, optional
        The unit of its sizes, where a person has settled a doubt.

    Raises
    ------
    FileUnreadable
        When nothing in it could be read.
    WrongUsage
        When there is no such kind or unit.
    """
    from cellmon.intake.tables import open_file

    return _taken(open_file(path), sheet, kind=kind, unit=unit)


def read_bytes(
    raw: bytes,
    sheet: Sheet,
    *,
    name: str,
    kind: Kind | str | None = None,
    unit: LengthUnit | str | None = None,
) -> TakenFile:
    """Read a file that somebody handed over as bytes; see `read_file`."""
    from cellmon.intake.tables import open_bytes

    return _taken(open_bytes(raw, name=name), sheet, kind=kind, unit=unit)


def read_text(
    text: str,
    sheet: Sheet,
    *,
    name: str = "typed rows",
    kind: Kind | str | None = None,
    unit: LengthUnit | str | None = None,
) -> TakenFile:
    """Read a header and rows as text, such as rows set aside that a person corrected; see `read_file`."""
    from cellmon.intake.delimited import delimited_table
    from cellmon.intake.tables import opened

    raw = text.encode("utf-8", "replace")
    return _taken(opened(raw, name, delimited_table), sheet, kind=kind, unit=unit)


def _taken(
    opened: OpenedFile, sheet: Sheet, *, kind: Kind | str | None, unit: LengthUnit | str | None
) -> TakenFile:
    from cellmon.intake.columns import layout_of
    from cellmon.intake.readings import read_readings
    from cellmon.intake.rows import read_rows
    from cellmon.intake.table import texts_on

    table = opened.table
    said, forced = _one_of(Kind, kind), _one_of(LengthUnit, unit)
    layout = layout_of(table.header, sheet, kind=said, name=opened.name)
    read = read_readings if layout.kind is Kind.READINGS else read_rows
    found = read(table, layout, sheet, unit=forced)
    return TakenFile(
        name=opened.name,
        kind=layout.kind,
        sha256=opened.sha256,
        rows=len(table) + len(table.refused),
        batch=found.batch,
        refused=found.refused,
        repeated=found.repeated,
        header=table.header_text,
        texts_on=texts_on(table.line, table.text_of),
        notes=found.notes,
        units=found.units,
    )


def _one_of(words: type[Word], given: str | None) -> Word | None:
    """Return a word of a closed list, or refuse it."""
    if given is None:
        return None
    try:
        return words(given)
    except ValueError as unknown:
        names = ", ".join(words)
        raise WrongUsage(say("{given} is none of {names}", given=repr(given), names=names)) from unknown
