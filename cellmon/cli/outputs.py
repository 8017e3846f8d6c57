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
from cellmon.cli.compared import sides, sides_arguments
from cellmon.cli.papers import HANDED_OVER, kinds_as, paper_arguments, schema_argument
from cellmon.cli.terminal import write
from cellmon.cli.wording import plural
from cellmon.errors import WrongUsage

if TYPE_CHECKING:
    from cellmon.export.tables import Table
    from cellmon.monitor import Monitor

TABLES = ("csv", "xlsx", "json", "parquet")
FORMATS = (*TABLES, "pdf", "qif", "ics")
NOT_YET = ("record",)


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
    cell_argument(parser)
    as_of_argument(parser)


def export(args: argparse.Namespace) -> int:
    """Write one table to a file and print where it is."""
    _check_export(args)
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
    write([f"{path}: {plural(len(found.table), 'row')}"])
    return 0


def _archive(args: argparse.Namespace, monitor: Monitor) -> int:
    """Write the whole cell into an archive and print where it is."""
    from cellmon.export.archive import write_archive

    found = monitor.archive()
    at = write_archive(found, args.out or args.cell / "reports" / "archive", zone=zone_of(monitor))
    rows = sum(len(table.bores) for table in found.days.values())
    write([f"{at}: {plural(rows, 'row')} of {plural(len(found.days), 'day')}"])
    return 0


def _check_export(args: argparse.Namespace) -> None:
    if args.kind in NOT_YET:
        raise WrongUsage("a record is of one bore: cellmon bore SERIAL BORE --record FILE.csv (or .json)")
    if args.kind not in _KINDS:
        raise WrongUsage(f"nothing is exported as {args.kind}; there are {', '.join(_KINDS)}")
    if args.to not in FORMATS:
        raise WrongUsage(f"no format is called {args.to}; there are {', '.join(FORMATS)}")
    if args.to not in TABLES and args.kind not in kinds_as(args.to):
        others = ", ".join(kinds_as(args.to))
        raise WrongUsage(f"export {args.kind} is not made as {args.to}; as {args.to} there are {others}")
    if args.by_day and (args.kind, args.to) != ("bores", "parquet"):
        raise WrongUsage("--by-day goes with export bores --to parquet")
    if args.by_day and (args.since or args.until):
        raise WrongUsage("--by-day writes the whole cell, up to --as-of; it takes no --since or --until")
    if args.schema is not None and args.to != "qif":
        raise WrongUsage("--schema goes with --to qif")
    if args.kind == "shift" and args.serial is not None:
        args.shift, args.serial = _one_shift(args), None
    if (args.kind in _NAMED) != (args.serial is not None):
        needs = _NAMED.get(args.kind)
        raise WrongUsage(
            f"export {args.kind} needs {needs}" if needs else "only export part and export hold take a name"
        )
    unused = [
        f"--{name.rstrip('_')}" for name in _CHOICES if getattr(args, name) and name not in _TAKES[args.kind]
    ]
    if unused:
        raise WrongUsage(f"export {args.kind} takes no {' or '.join(unused)}")


_SIDES = ("window", "with_", "sets", "spindles", "fixtures")
_CHOICES = ("shift", "spindle", "bore", "feature", "since", "until", *_SIDES)
_NAMED = {"part": "the block's SERIAL", "hold": "the signal's ID"}
_TAKES: dict[str, tuple[str, ...]] = {
    "capability": ("spindle", "bore", "feature", "since", "until"),
    "compare": ("spindle", "bore", "feature", "since", "until", *_SIDES),
    "shift": ("shift", "feature"),
    "signals": (),
    "hold": (),
    "bores": ("since", "until"),
    "part": (),
    "fit": ("since", "until"),
    "audits": ("spindle", "bore", "feature"),
    "stones": (),
    "stone-plan": (),
    "stone-orders": (),
}


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
    "fit": _fit,
    "audits": _audits,
    "stones": _stones,
    "stone-plan": _stone_plan,
    "stone-orders": _stone_orders,
}


def _one_shift(args: argparse.Namespace) -> str:
    """Return the shift named behind `export shift`; it may be named once."""
    if args.shift is not None:
        raise WrongUsage("name the shift once: behind export shift, or with --shift")
    try:
        return shift_name(args.serial)
    except argparse.ArgumentTypeError as wrong:
        raise WrongUsage(str(wrong)) from wrong


def _file_name(args: argparse.Namespace, scope: tuple[str | None, ...], at: datetime) -> str:
    """Return a name that tells what is inside and as of when; nothing in it leaves the folder."""
    words = [args.kind, *(w for w in scope if w), f"{at:%Y-%m-%d-%H%M}"]
    return "-".join(re.sub(r"[^\w.+-]+", "_", word) for word in words) + f".{args.to}"
