"""The command `compare`: two times, stone sets, lots, spindles or fixtures against each other."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from cellmon.cli.arguments import (
    listing_arguments,
    located,
    moment,
    open_monitor,
    stream_arguments,
    stream_choice,
    window,
    window_arguments,
    zone_of,
)
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import (
    as_of_line,
    count,
    counted_bores,
    interval,
    note_line,
    number,
    reasons,
    signed,
    sure,
    when,
)
from cellmon.errors import WrongUsage
from cellmon.monitor.compare import ComparedSide, ComparedStream, Comparison, Side
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PAIRS = {"sets": "stone_set", "lots": "lot", "spindles": "spindle", "fixtures": "fixture"}
"""Options that name two of a kind, and what of a side each of the two is."""


def sides_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what says which two sides are compared."""
    parser.add_argument(
        "--window",
        metavar="FROM..TO",
        type=_ends,
        help="the first time, such as 2026-10-19T06:00..2026-10-20",
    )
    parser.add_argument("--with", metavar="FROM..TO", type=_ends, dest="with_", help="the second time")
    parser.add_argument("--sets", metavar=("A", "B"), nargs=2, help="two stone sets")
    parser.add_argument("--lots", metavar=("A", "B"), nargs=2, help="two lots of stones, all sets of each")
    parser.add_argument("--spindles", metavar=("A", "B"), nargs=2, help="two spindles")
    parser.add_argument("--fixtures", metavar=("A", "B"), nargs=2, help="two fixtures")


def compare_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `compare`."""
    sides_arguments(parser)
    stream_arguments(parser)
    window_arguments(parser)
    listing_arguments(parser)


def _ends(typed: str) -> tuple[datetime | None, datetime | None]:
    first, dots, last = typed.partition("..")
    if not dots or not (first or last):
        raise argparse.ArgumentTypeError(f"{typed!r} is not FROM..TO such as 2026-10-19..2026-10-20")
    return (moment(first) if first else None), (moment(last) if last else None)


def sides(args: argparse.Namespace, monitor: Monitor) -> tuple[Side, Side]:
    """Return the two sides that were typed.

    Raises
    ------
    WrongUsage
        When they do not name two sides in one way.
    """
    during = window(args, monitor)
    named = [name for name in PAIRS if getattr(args, name) is not None]
    windows = [args.window, args.with_]
    if len(named) + any(windows) != 1 or (any(windows) and not all(windows)):
        raise WrongUsage(
            say("compare needs --window with --with, or one of --sets, --lots, --spindles, --fixtures")
        )
    if any(windows):
        if any(during.values()):
            raise WrongUsage(say("--window and --with say the times; --since and --until go with the others"))
        one, two = (_of_window(ends, monitor) for ends in windows)
        return one, two
    first, second = getattr(args, named[0])
    whole = Side(since=during["since"], until=during["until"])
    return replace(whole, **{PAIRS[named[0]]: first}), replace(whole, **{PAIRS[named[0]]: second})


def _of_window(ends: tuple[datetime | None, datetime | None], monitor: Monitor) -> Side:
    zone = zone_of(monitor)
    since, until = (None if at is None else located(at, zone) for at in ends)
    return Side(since=since, until=until)


def compare(args: argparse.Namespace) -> int:
    """Print how two sides differ, stream by stream, with intervals."""
    monitor = open_monitor(args)
    one, two = sides(args, monitor)
    show(args, monitor, monitor.compare(one, two, **stream_choice(args)), compare_lines)
    return 0


def compare_lines(answer: Comparison, look: Look) -> list[str]:
    """Return the difference of two sides: a sentence, both sides, a row a stream, the stones' lives."""
    columns = (
        text("stream"),
        figure("bores", spare=True),
        figure("mean um", spare=True),
        figure("against", spare=True),
        text("level, um"),
        figure("sd um", spare=True),
        figure("against", spare=True),
        text("spread, ratio"),
        figure("at bore", spare=True),
        text("differs"),
    )
    lines = [answer.sentence, *(_side_line(s, look) for s in (answer.first, answer.second))]
    lines += [as_of_line(answer.as_of, answer.sheet, look.zone), ""]
    lines += table(columns, [_row(s, look) for s in answer.streams], width=look.width)
    lines += ["", answer.lives.sentence, "", *map(note_line, answer.notes)]
    found = reasons([s.stream for s in answer.streams], [s.why_not for s in answer.streams])
    return lines + (["", *found] if found else [])


def _side_line(side: ComparedSide, look: Look) -> str:
    told = say(
        "{side}: {bores}, {since} to {until}",
        side=side.name,
        bores=counted_bores(side.bores),
        since=when(side.first_at, look.zone),
        until=when(side.last_at, look.zone),
    )
    if side.stone_sets:
        told = say("{side}, stones {sets}", side=told, sets=", ".join(side.stone_sets))
    if side.doubted:
        told = say("{side}, {count} more are doubted and left out", side=told, count=count(side.doubted))
    return f"  {told}"


def _row(s: ComparedStream, look: Look) -> Sequence[str | None]:
    return [
        look.name(s.stream),
        f"{count(s.second.bores)} / {count(s.first.bores)}",
        signed(s.second.mean_um, decimals=look.um),
        signed(s.first.mean_um, decimals=look.um),
        sure(s.level_um),
        number(s.second.sd_within_um, decimals=look.um + 1),
        number(s.first.sd_within_um, decimals=look.um + 1),
        _ratio(s),
        count(s.at_bores_since_dressing),
        ", ".join(map(say, s.differs)) or say("not shown"),
    ]


def _ratio(s: ComparedStream) -> str | None:
    shown = interval(s.spread_ratio, decimals=2)
    clear = "spread" in s.differs and shown is not None and "1.00" in shown
    return interval(s.spread_ratio, decimals=3) if clear else shown
