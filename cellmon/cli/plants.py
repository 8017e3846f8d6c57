"""The command `plant`: the cells that one database holds; needs no cell."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from cellmon.cli.arguments import json_argument
from cellmon.cli.showing import show_document
from cellmon.cli.terminal import clean, figure, table, terminal_width, text, write
from cellmon.cli.wording import count, when

if TYPE_CHECKING:
    from cellmon.monitor.plant import CellOfPlant

UTC = ZoneInfo("UTC")


def plant_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `plant`."""
    parser.add_argument("url", metavar="URL", help="of the database, such as postgresql+psycopg://…/plant")
    json_argument(parser)


def plant(args: argparse.Namespace) -> int:
    """Print which cells a database holds, and when each was last fed."""
    from cellmon.monitor.plant import plant as of_database

    found = of_database(args.url)
    if args.json:
        show_document(found, zone=UTC)
        return 0
    columns = (
        text("cell"),
        figure("schema"),
        figure("files"),
        figure("readings"),
        figure("units"),
        text("newest bore"),
        text("newest file taken"),
    )
    rows = table(columns, [_row(one) for one in found.cells], width=terminal_width())
    write([clean(line) for line in (found.sentence, *rows)])
    return 0


def _row(one: CellOfPlant) -> tuple[str | None, ...]:
    return (
        one.cell,
        str(one.schema),
        count(one.files),
        count(one.readings),
        count(one.units),
        when(one.newest, UTC),
        when(one.taken_at, UTC),
    )
