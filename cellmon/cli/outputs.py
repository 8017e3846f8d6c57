"""The command whose output is a file: export."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cellmon.cli.answers import shift_name
from cellmon.cli.arguments import (
    as_of_argument,
    cell_argument,
    open_monitor,
    stream_arguments,
    stream_choice,
    window,
    window_arguments,
    zone_of,
)
from cellmon.cli.bore_records import record_arguments, record_of
from cellmon.cli.compared import sides, sides_arguments
from cellmon.cli.exportable import FORMATS, export_refused
from cellmon.cli.papers import HANDED_OVER, paper_arguments, schema_argument
from cellmon.cli.terminal import write
from cellmon.cli.wording import count
from cellmon.words import say_many

if TYPE_CHECKING:
    from cellmon.export.tables import Table
    from cellmon.monitor import Monitor


@dataclass(frozen=True, kw_only=True, eq=False)
class Exported:
    """What one kind of export gives: a table, its document (None: the table's rows), its scope."""

    table: Table
    answer: Any
    scope: tuple[str | None, ...] = ()


def export_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `export`."""
    parser.add_argument("kind", metavar="KIND", help=", ".join(_KINDS))
    parser.add_argument(
        "serial",
        metavar="NAME",
        nargs="?",
        help="with part the block's serial, with hold the signal's id, with shift DATE/NAME",
    )
    parser.add_argument("--to", metavar="FORMAT", required=True, help=", ".join(FORMATS))
    parser.add_argument(
        "--by-day",
        action="store_true",
        help="with bores as parquet: into an archive for `cellmon study`, a folder a cell and a day",
    )
    parser.add_argument("--out", metavar="FILE", type=Path, help="(default: a telling name in reports/)")
    parser.add_argument(
        "--shift", metavar="DATE/NAME", type=shift_name, help="with shift: which one (default: the last)"
    )
    stream_arguments(parser)
    window_arguments(parser)
    sides_arguments(parser)
    paper_arguments(parser)
    schema_argument(parser)
    record_arguments(parser)
    cell_argument(parser)
    as_of_argument(parser)


def export(args: argparse.Namespace) -> int:
    """Write one table to a file and print where it is."""
    export_refused(args)
    from cellmon.export.documents import document
    from cellmon.export.files import Format, write_document, write_table

    monitor = open_monitor(args)
    if args.by_day:
        return _archive(args, monitor)
    if (args.kind, args.to) in HANDED_OVER:
        made = HANDED_OVER[args.kind, args.to](args, monitor)
        at = made.as_of.astimezone(zone_of(monitor))
        path = args.out or args.cell / "reports" / _file_name(args, made.scope, at)
        made.write(path)
        write([f"{path}: {made.words}"])
        return 0
    found = _KINDS[args.kind](args, monitor)
    at = found.table.as_of.astimezone(found.table.zone)
    path = args.out or args.cell / "reports" / _file_name(args, found.scope, at)
    if args.to == Format.JSON and found.answer is not None:
        write_document(document(found.answer, zone=zone_of(monitor)), path)
    else:
        write_table(found.table, path, to=Format(args.to))
    write(
        [
            say_many(
                "{file}: {n} row", "{file}: {n} rows", len(found.table), file=path, n=count(len(found.table))
            )
        ]
    )
    return 0


def _archive(args: argparse.Namespace, monitor: Monitor) -> int:
    """Write the whole cell into an archive and print where it is."""
    from cellmon.export.archive import write_archive

    found = monitor.archive()
    at = write_archive(found, args.out or args.cell / "reports" / "archive", zone=zone_of(monitor))
    rows = sum(len(table.bores) for table in found.days.values())
    days = say_many("{n} day", "{n} days", len(found.days), n=count(len(found.days)))
    told = say_many("{n} row of {days}", "{n} rows of {days}", rows, n=count(rows), days=days)
    write([f"{at}: {told}"])
    return 0


def _capability(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import capability_table

    choice, during = stream_choice(args), window(args, monitor)
    answer = monitor.capability(**choice, since=during["since"], until=during["until"])
    table = capability_table(answer, zone=zone_of(monitor))
    return Exported(table=table, answer=answer, scope=tuple(choice.values()))


def _compare(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import compare_table

    one, two = sides(args, monitor)
    answer = monitor.compare(one, two, **stream_choice(args))
    return Exported(
        table=compare_table(answer, zone=zone_of(monitor)), answer=answer, scope=(one.name, two.name)
    )


def _shift(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import shift_table

    answer = monitor.shifts(feature=args.feature, shift=args.shift)
    shift = None if answer.shift is None else str(answer.shift).replace("/", "-")
    return Exported(
        table=shift_table(answer, zone=zone_of(monitor)), answer=answer, scope=(shift, args.feature)
    )


def _signals(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import signals_table

    answer = monitor.signals()
    return Exported(table=signals_table(answer, zone=zone_of(monitor)), answer=answer)


def _hold(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import hold_table

    answer = monitor.hold(args.serial)
    return Exported(table=hold_table(answer, zone=zone_of(monitor)), answer=answer, scope=(args.serial,))


def _bores(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import bores_table

    during = window(args, monitor)
    found = monitor.bores(since=during["since"], until=during["until"])
    table = bores_table(found.columns(), as_of=found.as_of, sheet=found.sheet, zone=zone_of(monitor))
    return Exported(table=table, answer=None)


def _part(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import part_table

    answer, measuring = monitor.part(args.serial), monitor.sheet.measuring
    table = part_table(
        answer,
        zone=zone_of(monitor),
        planes=tuple(measuring.planes),
        directions=tuple(measuring.directions),
    )
    return Exported(table=table, answer=answer, scope=(args.serial,))


def _record(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.bore_record import record_table

    answer = record_of(args, monitor)
    table = record_table(answer, zone=zone_of(monitor))
    return Exported(table=table, answer=answer, scope=(args.serial, args.bore))


def _audits(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import audits_table

    choice = stream_choice(args)
    answer = monitor.audits(**choice)
    table = audits_table(answer, zone=zone_of(monitor))
    return Exported(table=table, answer=answer, scope=tuple(choice.values()))


def _fit(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.tables import fit_table

    during = window(args, monitor)
    answer = monitor.fit(pairs=True, since=during["since"], until=during["until"])
    return Exported(table=fit_table(answer, zone=zone_of(monitor)), answer=answer)


def _stones(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.stone_tables import sets_table

    answer = monitor.stones()
    return Exported(table=sets_table(answer, zone=zone_of(monitor)), answer=answer)


def _stone_plan(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.stone_tables import plan_table

    plan = monitor.stone_plan()
    return Exported(table=plan_table(plan, zone=zone_of(monitor)), answer=plan)


def _stone_orders(args: argparse.Namespace, monitor: Monitor) -> Exported:
    from cellmon.export.stone_tables import orders_table

    return Exported(table=orders_table(monitor.stone_plan(), zone=zone_of(monitor)), answer=None)


_KINDS: dict[str, Callable[[argparse.Namespace, Monitor], Exported]] = {
    "capability": _capability,
    "compare": _compare,
    "shift": _shift,
    "signals": _signals,
    "hold": _hold,
    "bores": _bores,
    "part": _part,
    "record": _record,
    "fit": _fit,
    "audits": _audits,
    "stones": _stones,
    "stone-plan": _stone_plan,
    "stone-orders": _stone_orders,
}


def _file_name(args: argparse.Namespace, scope: tuple[str | None, ...], at: datetime) -> str:
    """Return a name that tells what is inside and as of when; nothing in it leaves the folder."""
    words = [args.kind, *(w for w in scope if w), f"{at:%Y-%m-%d-%H%M}"]
    return "-".join(re.sub(r"[^\w.+-]+", "_", word) for word in words) + f".{args.to}"
