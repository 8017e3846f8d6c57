"""The command `study`: every stream of every cell of an archive; needs no cell."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from cellmon.cli.arguments import json_argument
from cellmon.cli.showing import show_document
from cellmon.cli.terminal import clean, figure, table, terminal_width, text, write
from cellmon.cli.wording import count, interval, number, reasons, signed

if TYPE_CHECKING:
    from cellmon.monitor.study import CellStudy, StreamStudy, Study


def study_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `study`."""
    parser.add_argument(
        "archive", metavar="ARCHIVE", type=Path, help="as `export bores --to parquet --by-day` writes one"
    )
    parser.add_argument("--only", metavar="CELL", help="this cell of the archive alone, by its name")
    parser.add_argument(
        "--scheduler",
        metavar="URL",
        help="of a Dask scheduler whose workers see the archive under the same path (default: this process)",
    )
    json_argument(parser)


def study(args: argparse.Namespace) -> int:
    """Print what the study of an archive found."""
    from cellmon.monitor.study import study as of_archive

    say_so = None if args.json or not sys.stderr.isatty() else _told
    found = of_archive(args.archive, scheduler=args.scheduler, cell=args.only, progress=say_so)
    if args.json:
        show_document(found, zone=ZoneInfo("UTC"))
        return 0
    write([clean(line) for line in study_lines(found, width=terminal_width())])
    return 0


def _told(line: str) -> None:
    print(clean(line), file=sys.stderr)


def study_lines(found: Study, *, width: int | None) -> list[str]:
    """Return a sentence, then a table for each cell."""
    lines = [found.sentence]
    for cell in found.cells:
        lines += ["", _head(cell), "", *_rows(cell.streams, width)]
    return lines


def _head(cell: CellStudy) -> str:
    return (
        f"{cell.cell}: {cell.bores:,} bores of {cell.days} days, {cell.subgroups:,} subgroups, "
        f"the newest bore of {cell.newest:%Y-%m-%d %H:%M%z}, sheet version {cell.sheet}"
    )


def _rows(streams: Sequence[StreamStudy], width: int | None) -> list[str]:
    columns = (
        text("stream"),
        *(figure(heading) for heading in ("bores", "subgroups", "mean um", "sd within um", "sd total um")),
        *(figure(heading) for heading in ("Cpk", "Ppk")),
        text("model", spare=True),
    )
    rows = [
        (
            one.stream.full,
            count(one.bores),
            count(one.subgroups),
            signed(one.mean_um, decimals=2),
            number(one.sd_within_um, decimals=2),
            number(one.sd_total_um, decimals=2),
            interval(one.cpk, decimals=2),
            interval(one.ppk, decimals=2),
            one.model,
        )
        for one in streams
    ]
    why_not = reasons([one.stream for one in streams], [one.why_not for one in streams])
    return [*table(columns, rows, width=width), *why_not]
