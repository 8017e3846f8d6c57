"""Arguments that several commands share, and the cell they name."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import cellmon
from cellmon import local
from cellmon.errors import DecidedAlready, FileUnreadable, WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

LOOPBACK = "127.0.0.1"
PORT = 8050
LAST = 40
"""Rows of a long table that are shown unless told otherwise."""


def cell_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--cell`."""
    parser.add_argument(
        "--cell",
        metavar="DIR",
        type=Path,
        default=Path(os.environ.get("CELLMON_CELL") or "."),
        help="the cell folder (default: $CELLMON_CELL, else the current folder)",
    )


def listing_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what every listing command takes: `--cell`, `--as-of`, `--json`."""
    cell_argument(parser)
    as_of_argument(parser)
    json_argument(parser)


def as_of_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--as-of`."""
    parser.add_argument(
        "--as-of",
        metavar="TIME",
        type=moment,
        help="answer as of this moment, ISO 8601; without an offset it is the cell's local time "
        "(default: the newest row taken)",
    )


def json_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--json`."""
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")


def by_and_why_arguments(parser: argparse.ArgumentParser, *, required: bool = True) -> None:
    """Add `--by` and `--why`: every decision has a name and a reason."""
    parser.add_argument("--by", metavar="NAME", required=required, type=words, help="who decides")
    parser.add_argument("--why", metavar="TEXT", required=required, type=words, help="the reason")


def again_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--again`: what somebody decided already is decided anew only where that is asked for."""
    parser.add_argument("--again", action="store_true", help="decide anew what was decided already")


def known_to(args: argparse.Namespace) -> int | None:
    """Return what `knew` is for a command: nothing of any decision, unless it says `--again`."""
    return None if args.again else 0


@contextmanager
def hinting_again() -> Iterator[None]:
    """Say of what was decided already how it is decided anew."""
    try:
        yield
    except DecidedAlready as refusal:
        raise DecidedAlready(say("{why}. --again decides it anew", why=refusal)) from refusal


def stream_arguments(parser: argparse.ArgumentParser) -> None:
    """Add `--spindle`, `--bore` and `--feature`."""
    parser.add_argument("--spindle", metavar="S", help="only this spindle")
    parser.add_argument("--bore", metavar="B", help="only this bore position")
    parser.add_argument("--feature", metavar="F", help="only this feature, such as diameter or taper")


def window_arguments(parser: argparse.ArgumentParser) -> None:
    """Add `--since` and `--until`."""
    parser.add_argument("--since", metavar="TIME", type=moment, help="from this moment on")
    parser.add_argument("--until", metavar="TIME", type=moment, help="up to this moment")


def address_arguments(parser: argparse.ArgumentParser) -> None:
    """Add `--host` and `--port` of the dashboard."""
    parser.add_argument(
        "--host", default=LOOPBACK, help=f"where to listen (default {LOOPBACK}: this machine only)"
    )
    parser.add_argument("--port", type=port, default=PORT, help=f"(default {PORT})")


def last_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--last`: how many rows a table for people shows; a document always has all."""
    parser.add_argument(
        "--last", metavar="N", type=whole, default=LAST, help=f"rows of the table (default {LAST}, 0 all)"
    )


def newest(rows: int, *, last: int) -> list[str]:
    """Return the line that says how many of the rows are shown, none where all are."""
    if not 0 < last < rows:
        return []
    shown, every = local.number(last), local.number(rows)
    return ["", say("These are the newest {shown} of {all}; --last 0 shows all.", shown=shown, all=every)]


def moment(text: str) -> datetime:
    """Return a moment typed by a person; without an offset it stays without one."""
    try:
        return datetime.fromisoformat(text)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a time such as 2026-10-22T18:05 or 2026-10-22T18:05+02:00"
        ) from wrong


def words(text: str) -> str:
    """Return text that says something."""
    if not text.strip():
        raise argparse.ArgumentTypeError("it must not be empty")
    return text.strip()


def whole(text: str) -> int:
    """Return a whole number, 0 or more."""
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number")
    return int(text)


def port(text: str) -> int:
    """Return a port number, 1 to 65535."""
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port number from 1 to 65535")
    return int(text)


def located(at: datetime, zone: ZoneInfo) -> datetime:
    """Return a moment with an offset; one typed without is local to the cell's zone.

    Raises
    ------
    WrongUsage
        When the clocks skip or repeat that local time.
    """
    if at.tzinfo is not None:
        return at
    there = at.replace(tzinfo=zone)
    if there.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != at:
        raise WrongUsage(say("{at}: the clocks of {zone} skip this time", at=at.isoformat(), zone=zone.key))
    if there.utcoffset() != there.replace(fold=1).utcoffset():
        twice = to_say("{at}: it comes twice in {zone}; add the offset, such as +01:00")
        raise WrongUsage(say(twice, at=at.isoformat(), zone=zone.key))
    return there


def zone_of(monitor: Monitor) -> ZoneInfo:
    """Return the time zone of the cell."""
    return ZoneInfo(monitor.sheet.cell.timezone)


def open_monitor(args: argparse.Namespace) -> Monitor:
    """Open the cell that the arguments name, as of the moment they name."""
    try:
        monitor = cellmon.open_cell(args.cell)
    except FileUnreadable as unreadable:
        raise WrongUsage(
            say(
                "{file}: {why}; --cell names the cell folder, cellmon new makes one",
                file=args.cell / unreadable.file,
                why=unreadable.why,
            )
        ) from unreadable
    at: datetime | None = getattr(args, "as_of", None)
    if at is None:
        return monitor
    return cellmon.open_cell(args.cell, as_of=located(at, zone_of(monitor)))


def window(args: argparse.Namespace, monitor: Monitor) -> dict[str, datetime | None]:
    """Return `since` and `until` with offsets."""
    zone = zone_of(monitor)
    found = {name: getattr(args, name) for name in ("since", "until")}
    located_ = {name: None if at is None else located(at, zone) for name, at in found.items()}
    since, until = located_["since"], located_["until"]
    if since is not None and until is not None and since >= until:
        ends = {"since": since.isoformat(), "until": until.isoformat()}
        raise WrongUsage(say("--since {since} is not before --until {until}", **ends))
    return located_


def stream_choice(args: argparse.Namespace) -> dict[str, str | None]:
    """Return the chosen spindle, bore and feature, None where none was named."""
    return {name: getattr(args, name) for name in ("spindle", "bore", "feature")}
