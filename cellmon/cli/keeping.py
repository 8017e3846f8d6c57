"""Commands about what must not be lost: journal, backup, restore, move."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cellmon.cli.arguments import cell_argument, last_argument, listing_arguments, newest, open_monitor
from cellmon.cli.progress import Progress
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import clean, figure, table, text, write
from cellmon.cli.wording import count, when
from cellmon.words import say, say_many, to_say

if TYPE_CHECKING:
    from cellmon.monitor.copies import Copied
    from cellmon.monitor.journal import Entry, Journal


def journal_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `journal`."""
    listing_arguments(parser)
    last_argument(parser)
    parser.add_argument(
        "--verify", action="store_true", help="only say whether it is whole; status 1 where not"
    )
    parser.add_argument(
        "--ends-with", metavar="HASH", help="a hash written down earlier must still stand in it"
    )


def journal(args: argparse.Namespace) -> int:
    """Print the journal, and whether every entry is as it was written."""
    monitor = open_monitor(args)
    answer = monitor.journal(ends_with=args.ends_with)
    if args.verify and not args.json:
        write([clean(line) for line in verdict_lines(answer)])
    else:
        show(args, monitor, answer, lambda a, look: journal_lines(a, look, last=args.last))
    return 0 if answer.whole else 1


def verdict_lines(answer: Journal) -> list[str]:
    """Return whether the journal is whole, and the hash to write down."""
    if not answer.whole:
        broken = to_say("Entry {number} was changed after it was written, or the one before it is missing.")
        return [say(broken, number=answer.broken_at)]
    if answer.last_hash is None:
        return [say("The journal is empty: nothing was decided yet.")]
    return [
        say_many(
            "The journal is whole: {entries} entry, each as it was written.",
            "The journal is whole: {entries} entries, each as it was written.",
            len(answer.entries),
            entries=count(len(answer.entries)),
        ),
        say(
            "Its last hash is {hash}. Written down elsewhere, it proves later, by --ends-with, "
            "that nothing was cut off the end.",
            hash=answer.last_hash,
        ),
    ]


def journal_lines(answer: Journal, look: Look, *, last: int) -> list[str]:
    """Return the verdict and the newest entries; `last` 0 shows all."""
    columns = (
        figure("no"),
        text("at"),
        text("by"),
        text("what"),
        text("about", flexible=True),
        text("why", flexible=True),
        text("before", flexible=True, spare=True),
        text("after", flexible=True),
    )
    shown = answer.entries[-last:] if last else answer.entries
    rows = [_entry_row(one, look) for one in shown]
    listed = table(columns, rows, width=look.width) if rows else []
    return [*verdict_lines(answer), "", *listed, *newest(len(answer.entries), last=last)]


def _entry_row(one: Entry, look: Look) -> list[str | None]:
    before = "" if one.before is None else _brief(one.before)
    at = when(one.at, look.zone)
    return [str(one.number), at, one.by, one.kind, one.about, one.why, before, _brief(one.after)]


def _brief(body: Mapping[str, Any], most: int = 80) -> str:
    said = json.dumps(body, ensure_ascii=False, sort_keys=True)
    return said if len(said) <= most else f"{said[: most - 1]}…"


def backup_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `backup`."""
    parser.add_argument(
        "--to",
        metavar="FILE",
        type=Path,
        help="a new file (default: backups/ in the cell folder, by the time)",
    )
    cell_argument(parser)


def backup(args: argparse.Namespace) -> int:
    """Write one file that holds the whole cell."""
    to = args.to or args.cell / "backups" / f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}.cell"
    monitor = open_monitor(args)
    to.parent.mkdir(parents=True, exist_ok=True)
    with Progress() as progress:
        made = monitor.back_up(to, progress=progress)
    told = to_say("{file}: {copied}. cellmon restore {file} DIR makes a cell of it again.")
    write([say(told, file=to, copied=_copied(made))])
    return 0


def restore_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `restore`."""
    parser.add_argument("file", metavar="FILE", type=Path, help="what cellmon backup wrote")
    parser.add_argument("folder", metavar="DIR", type=Path, help="the cell folder to make")


def restore(args: argparse.Namespace) -> int:
    """Make a cell folder from a backup and hold it against what was counted."""
    from cellmon.monitor.copies import restore as restored
    from cellmon.monitor.opened import clock

    made = restored(args.file, args.folder, at=clock())
    told = to_say("{folder}: {copied}. cellmon check --rebuild --cell {folder} holds the rest.")
    write([say(told, folder=args.folder, copied=_copied(made))])
    return 0


def move_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `move`."""
    parser.add_argument(
        "--to", metavar="URL", required=True, help="an empty store, such as postgresql+psycopg://…"
    )
    cell_argument(parser)


def move(args: argparse.Namespace) -> int:
    """Move the cell to another store."""
    monitor = open_monitor(args)
    with Progress() as progress:
        made = monitor.move(args.to, progress=progress)
    write(
        [
            say(
                "The cell is in {store} now: {copied}. The sheet names it; the old store refuses.",
                store=made.where,
                copied=_copied(made),
            ),
            say("Start anew whatever had the cell open: cellmon serve, cellmon receive."),
        ]
    )
    return 0


def _copied(made: Copied) -> str:
    filled: Sequence[Any] = [t for t in made.tables if t.rows]
    tables = say_many("{tables} table", "{tables} tables", len(filled), tables=count(len(filled)))
    return say_many(
        "{rows} row of {tables}, counted and hashed alike on both sides",
        "{rows} rows of {tables}, counted and hashed alike on both sides",
        made.rows,
        rows=count(made.rows),
        tables=tables,
    )
