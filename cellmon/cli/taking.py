"""Commands about files and their rows: take, aside, flags."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from cellmon.cli.arguments import (
    cell_argument,
    json_argument,
    last_argument,
    listing_arguments,
    open_monitor,
)
from cellmon.cli.progress import Progress
from cellmon.cli.showing import show
from cellmon.errors import WrongUsage

if TYPE_CHECKING:
    from cellmon.monitor.take import FileTaken

DONE, SOME_SET_ASIDE, NOTHING_READ = 0, 3, 4


def take_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `take`."""
    parser.add_argument(
        "files", metavar="FILE", nargs="+", type=Path, help="csv, xlsx, parquet or json lines"
    )
    parser.add_argument("--kind", metavar="KIND", help="what the files hold, where the header fits two kinds")
    parser.add_argument(
        "--unit", choices=("mm", "in", "um"), help="the unit of bare size columns, where it was in doubt"
    )
    cell_argument(parser)
    json_argument(parser)


def take(args: argparse.Namespace) -> int:
    """Take files; the exit status says whether every row was used."""
    from cellmon.cli.ledgers import taken_lines

    missing = [str(file) for file in args.files if not file.is_file()]
    if missing:
        raise WrongUsage(f"no such file: {', '.join(missing)}; nothing was taken")
    kind = None if args.kind is None else known_kind(args.kind)
    monitor = open_monitor(args)
    with Progress() as progress:
        answer = monitor.take(args.files, kind=kind, unit=_unit(args.unit), progress=progress)
    show(args, monitor, answer, taken_lines)
    return status_of(answer.files)


def known_kind(name: str) -> str:
    """Return a kind of file by its name, or refuse it."""
    from cellmon.records import Kind

    if name not in set(Kind):
        raise WrongUsage(f"no kind of file is called {name}; there are {', '.join(Kind)}")
    return Kind(name)


def _unit(name: str | None) -> str | None:
    from cellmon.units import LengthUnit

    return None if name is None else LengthUnit(name)


def status_of(files: Iterable[FileTaken]) -> int:
    """Return the exit status of taking files: the highest that applies to any of them."""
    return max((_status(f) for f in files), default=DONE)


def _status(file: FileTaken) -> int:
    if file.kind is None or (file.set_aside and file.taken + file.known == 0):
        return NOTHING_READ
    return SOME_SET_ASIDE if file.set_aside else DONE


def aside_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `aside`."""
    parser.add_argument("--retry", action="store_true", help="take the rows that wait once more")
    last_argument(parser)
    cell_argument(parser)
    json_argument(parser)


def aside(args: argparse.Namespace) -> int:
    """List the rows set aside, or take them again."""
    from cellmon.cli.ledgers import aside_lines, taken_lines

    monitor = open_monitor(args)
    if not args.retry:
        show(args, monitor, monitor.aside(), partial(aside_lines, last=args.last))
        return DONE
    answer = monitor.retry_aside()
    show(args, monitor, answer, taken_lines)
    return status_of(answer.files)


def flags_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `flags`."""
    parser.add_argument("--open", action="store_true", help="only those that wait for a decision")
    last_argument(parser)
    listing_arguments(parser)


def flags(args: argparse.Namespace) -> int:
    """List the measurements that are doubted."""
    from cellmon.cli.ledgers import flags_lines

    monitor = open_monitor(args)
    answer = monitor.flags()
    if args.open:
        answer = replace(answer, flags=tuple(f for f in answer.flags if f.state == "open"))
    show(args, monitor, answer, partial(flags_lines, last=args.last))
    return DONE
