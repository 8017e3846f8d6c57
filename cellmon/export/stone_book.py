"""Stones as a workbook: sets, lots, changes to come and the order list, a sheet each."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

from cellmon import __version__
from cellmon.export.files import check_name, replacing, write_cells, write_heads
from cellmon.export.stone_tables import lots_table, orders_table, plan_table, sets_table
from cellmon.export.tables import Table
from cellmon.monitor.stones import StonesAnswer
from cellmon.words import say, say_many


def write_stone_book(answer: StonesAnswer, path: Path, *, zone: ZoneInfo) -> Path:
    """Write a workbook of numbers, whole or not at all, and return its path.

    Raises
    ------
    WrongUsage
        When the file's name says another format.
    OSError
        When the file cannot be written; what stood there before still stands.
    """
    import xlsxwriter

    check_name(path, "xlsx")
    tables = {"sets": sets_table(answer, zone=zone), "lots": lots_table(answer, zone=zone)}
    if answer.plan is not None:
        tables["changes"] = plan_table(answer.plan, zone=zone)
        tables["orders"] = orders_table(answer.plan, zone=zone)
    with replacing(path) as beside:
        options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd hh:mm:ss"}
        with xlsxwriter.Workbook(str(beside), options) as book:
            created = answer.as_of.astimezone(zone).replace(tzinfo=None)
            book.set_properties({"title": say("Stones"), "created": created})
            head = book.add_format({"bold": True, "bottom": 1})
            for name, table in tables.items():
                sheet = book.add_worksheet(name)
                sheet.freeze_panes(1, 0)
                write_heads(sheet, table, head)
                write_cells(sheet, table)
            _about(book.add_worksheet("about"), answer, tables)
    return path


def _about(sheet: object, answer: StonesAnswer, tables: dict[str, Table]) -> None:
    """Write what the figures rest on, and the cautions that belong to work on stones."""
    lines = [
        ("cellmon", __version__),
        (say("as of"), answer.as_of.isoformat()),
        (say("version of the sheet"), str(answer.sheet)),
        *((name, say_many("{count} row", "{count} rows", len(table))) for name, table in tables.items()),
        *((say("caution"), text) for text in answer.cautions),
        *(() if answer.plan is None else ((say("caution"), answer.plan.caution),)),
    ]
    for row, line in enumerate(lines):
        for column, text in enumerate(line):
            sheet.write_string(row, column, text)  # type: ignore[attr-defined]
