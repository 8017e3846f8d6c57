"""Commands about files and their rows: take, files, aside, flags."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from cellmon.cli.arguments import (
    by_and_why_arguments,
    cell_argument,
    json_argument,
    last_argument,
    listing_arguments,
    open_monitor,
    words,
)
from cellmon.cli.progress import Progress
from cellmon.cli.showing import show
from cellmon.errors import WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.take import FileTaken, Taken

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
        raise WrongUsage(say("no such file: {files}; nothing was taken", files=", ".join(missing)))
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
        text = to_say("no kind of file is called {name}; there are {kinds}")
        raise WrongUsage(say(text, name=name, kinds=", ".join(Kind)))
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


def files_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `files`."""
    last_argument(parser)
    cell_argument(parser)
    json_argument(parser)


def files(args: argparse.Namespace) -> int:
    """List the files that were taken, newest first, and what of them waits."""
    from cellmon.cli.ledgers import files_lines

    monitor = open_monitor(args)
    answer = monitor.files(last=0 if args.json else args.last)
    show(args, monitor, answer, files_lines)
    return DONE


def aside_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `aside`."""
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--retry", action="store_true", help="take the rows that wait once more")
    what.add_argument(
        "--take", metavar="FILE:LINE", type=words, help="take this row as --text says; or its number"
    )
    parser.add_argument("--text", metavar="ROW", help="the row as it should be, in the order of its header")
    parser.add_argument(
        "--unit", choices=("mm", "in", "um"), help="with --take: the unit of its bare size columns"
    )
    by_and_why_arguments(parser, required=False)
    last_argument(parser)
    cell_argument(parser)
    json_argument(parser)


def aside(args: argparse.Namespace) -> int:
    """List the rows set aside, take them again, or take one as a person wrote it."""
    from cellmon.cli.ledgers import aside_lines, taken_lines

    given = (args.text, args.by, args.why)
    if args.take is None and (any(given) or args.unit):
        raise WrongUsage(say("--text, --by, --why and --unit go with --take FILE:LINE"))
    if args.take is not None and None in given:
        raise WrongUsage(say("--take needs --text ROW, --by NAME and --why TEXT"))
    monitor = open_monitor(args)
    if args.take is not None:
        taken = monitor.take_row(args.take, text=args.text, by=args.by, why=args.why, unit=_unit(args.unit))
        show(args, monitor, taken_with(monitor, taken), taken_lines)
        return status_of([taken])
    if not args.retry:
        show(args, monitor, monitor.aside(), partial(aside_lines, last=args.last))
        return DONE
    answer = monitor.retry_aside()
    show(args, monitor, answer, taken_lines)
    return status_of(answer.files)


def taken_with(monitor: Monitor, taken: FileTaken) -> Taken:
    """Return what became of one row as a document of files has it."""
    from cellmon.monitor.take import Taken

    head = monitor.files(last=1)
    return Taken(as_of=head.as_of, sheet=head.sheet, files=(taken,))


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
