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
from cellmon.cli.wording import count, interval, number, ranged, reasons, said, signed, span
from cellmon.words import say, say_many, to_say

if TYPE_CHECKING:
    from cellmon.monitor.stones import StoneSetOf
    from cellmon.monitor.study import CellStudy, SignalStudy, StreamStudy, Study

MOST_SIGNALS = 12
"""Newest signals of a cell that are printed; --json gives all."""
HEAD = to_say(
    "{cell}: {bores} bores of {days} days, {subgroups} subgroups, the newest bore of {newest}, "
    "sheet version {sheet}"
)


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
    """Return a sentence, then of each cell its streams, its newest signals and the stones fitted."""
    lines = [found.sentence]
    for cell in found.cells:
        lines += ["", _head(cell), "", *_rows(cell.streams, width)]
        lines.append(_together(len(cell.together)))
        lines += ["", *_signal_lines(cell, width), "", *_stone_lines(cell, width)]
    return lines


def _head(cell: CellStudy) -> str:
    return say(
        HEAD,
        cell=cell.cell,
        bores=count(cell.bores),
        days=cell.days,
        subgroups=count(cell.subgroups),
        newest=f"{cell.newest:%Y-%m-%d %H:%M%z}",
        sheet=cell.sheet,
    )


def _together(streams: int) -> str:
    return say_many(
        "{n} stream of means, distances and spindles beside them.",
        "{n} streams of means, distances and spindles beside them.",
        streams,
        n=count(streams),
    )


def _rows(streams: Sequence[StreamStudy], width: int | None) -> list[str]:
    columns = (
        text("stream"),
        figure("bores"),
        figure("subgroups"),
        figure("mean um"),
        figure("sd within um"),
        figure("sd total um"),
        figure("Cpk"),
        figure("Ppk"),
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


def _signal_lines(cell: CellStudy, width: int | None) -> list[str]:
    zone = cell.as_of.tzinfo
    assert isinstance(zone, ZoneInfo)
    columns = (
        text("signal"),
        text("state"),
        text("since (from to)"),
        text("what", flexible=True),
        text("likely cause", spare=True),
    )
    shown = cell.signals[:MOST_SIGNALS]
    rows = [(s.id, say(s.state), _since(s, zone), s.words, s.cause) for s in shown]
    return [_signal_head(len(cell.signals), len(shown)), *table(columns, rows, width=width)]


def _signal_head(signals: int, shown: int) -> str:
    if shown < signals:
        text_ = to_say("{n} signals, the newest {shown} here; --json gives all.")
        return say(text_, n=count(signals), shown=shown)
    return say_many("{n} signal.", "{n} signals.", signals, n=count(signals))


def _since(signal: SignalStudy, zone: ZoneInfo) -> str | None:
    change = signal.change
    return None if change is None else span(change.at, change.earliest_at, change.latest_at, zone)


def _stone_lines(cell: CellStudy, width: int | None) -> list[str]:
    fitted = [s for s in cell.stones if s.state == "fitted"]
    columns = (
        text("set"),
        text("spindle"),
        figure("bores"),
        figure("wear um"),
        figure("um per 1000"),
        figure("bores left"),
        text("advice"),
    )
    head = say_many(
        "{n} stone set, {fitted} of them fitted.",
        "{n} stone sets, {fitted} of them fitted.",
        len(cell.stones),
        n=count(len(cell.stones)),
        fitted=len(fitted),
    )
    return [head, *table(columns, [_stone_row(s) for s in fitted], width=width)]


def _stone_row(one: StoneSetOf) -> tuple[str | None, ...]:
    left = one.remaining_bores
    return (
        one.stone_set,
        one.spindle,
        count(one.bores_since_fit),
        number(one.wear_um, decimals=0),
        interval(one.wear_um_per_1000_bores, decimals=0),
        None if left is None else ranged(count(left.p50), count(left.p05), count(left.p95)),
        said(one.advice),
    )
