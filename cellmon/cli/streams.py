"""The command `stream`: one stream in depth, its newest subgroups or one pair of charts, point by point."""

from __future__ import annotations

import argparse
from functools import partial

import numpy as np

from cellmon.cli.arguments import (
    last_argument,
    listing_arguments,
    newest,
    open_monitor,
    window,
    window_arguments,
)
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import Column, figure, table, text
from cellmon.cli.wording import as_of_line, not_known_lines, number, signed, when
from cellmon.monitor.pair import REMEMBERING, RUN_LENGTH, ChartPair, PairKind
from cellmon.monitor.signals import Signal
from cellmon.monitor.stream import StreamView
from cellmon.shifts import to_local
from cellmon.words import say, to_say

SIDES = {-1: to_say("{what} below"), 1: to_say("{what} above")}
"""How a point that lies beyond is told, by its side."""
PLAIN = to_say(
    "{stream}, {level} and {spread}: {beyond} of {points} points lie beyond plain three-sigma limits, "
    "which raise no signal."
)
REMEMBERED = to_say(
    "{stream}, {level} and {spread}: {beyond} of {points} points lie beyond limits that are passed once in "
    "{every} points when nothing moves; they raise no signal, and do not follow the wear."
)


def stream_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `stream`."""
    parser.add_argument("--spindle", metavar="S", help="the spindle; none for the mean of all")
    parser.add_argument("--bore", metavar="B", help="the bore position; none for the mean of a spindle")
    parser.add_argument("--feature", metavar="F", required=True, help="such as diameter or taper")
    parser.add_argument("--fixture", metavar="P", help="where each fixture has a stream of its own")
    parser.add_argument("--part-number", metavar="PN", help="where several parts run")
    parser.add_argument(
        "--distance", action="store_true", help="its distance from the mean of all, not its own figure"
    )
    parser.add_argument(
        "--pair",
        choices=[str(kind) for kind in PairKind],
        help="instead every point of means and ranges, means and deviations, single bores, a moving average, "
        "or cumulative sums",
    )
    window_arguments(parser)
    last_argument(parser)
    listing_arguments(parser)


def stream(args: argparse.Namespace) -> int:
    """Print one stream in depth."""
    monitor = open_monitor(args)
    names = {name: getattr(args, name) for name in ("spindle", "bore", "feature", "fixture", "part_number")}
    part_of = "distance" if args.distance else "itself"
    asked = {**names, "part_of": part_of, **window(args, monitor)}
    if args.pair:
        show(args, monitor, monitor.pair(kind=args.pair, **asked), partial(pair_lines, last=args.last))
    else:
        show(args, monitor, monitor.stream(**asked), partial(stream_lines, last=args.last))
    return 0


def stream_lines(answer: StreamView, look: Look, *, last: int) -> list[str]:
    """Return a sentence, what the limits rest on, a row a subgroup, then what happened and its signals."""
    lines = [
        answer.sentence,
        as_of_line(answer.as_of, answer.sheet, look.zone),
        _span_line(answer, look),
        *not_known_lines(answer.why_not),
        "",
        *_subgroups(answer, look, last),
    ]
    if answer.events:
        lines += ["", say("What happened to its spindle and gauge:")]
        lines += [f"  {when(one.at, look.zone)}  {one.words}" for one in answer.events[-last:]]
    if answer.signals:
        lines += ["", say("Signals:")]
        lines += [_signal(one, look) for one in answer.signals]
    if answer.limits_age is not None:
        lines += ["", answer.limits_age.sentence]
    return [*lines, "", answer.alarms.sentence]


def _signal(one: Signal, look: Look) -> str:
    since = one.raised_at if one.change is None else one.change.at
    return f"  {one.id}  {when(since, look.zone)}  {one.words} ({say(one.state)})"


def _span_line(answer: StreamView | ChartPair, look: Look) -> str:
    span = {"since": when(answer.since, look.zone), "until": when(answer.until, look.zone)}
    return say("From {since} to {until}.", **span)


def _subgroups(answer: StreamView, look: Look, last: int) -> list[str]:
    found, unit = answer.subgroups, answer.unit
    columns = (
        text("at"),
        text("parts", spare=True),
        figure(say("mean {unit}", unit=unit)),
        text(say("limits {unit}", unit=unit), spare=True),
        figure(say("expected {unit}", unit=unit)),
        figure(say("range {unit}", unit=unit)),
        figure(say("up to {unit}", unit=unit), spare=True),
        text("beyond"),
        text("stone set", spare=True),
    )
    expected = _expected(answer)
    rows = [
        [
            when(to_local(found.at[i], look.zone), look.zone),
            say("{first} to {last}", first=found.first_part[i], last=found.last_part[i]),
            signed(found.mean_um[i], decimals=look.um),
            _between(found.lower_um[i], found.upper_um[i], look),
            signed(expected.get(int(found.at[i].astype(np.int64))), decimals=look.um),
            number(found.range_um[i], decimals=look.um),
            number(found.range_upper_um[i], decimals=look.um),
            _beyond(("mean", found.beyond_mean[i]), ("range", found.beyond_range[i])),
            found.stone_set[i],
        ]
        for i in _newest_first(len(found.at), last)
    ]
    return [*table(columns, rows, width=look.width), *newest(len(found.at), last=last)]


def _expected(answer: StreamView) -> dict[int, float]:
    """Return what the detectors expected of a mean, by the moment of its subgroup."""
    if answer.wear is None:
        return {}
    return dict(zip(answer.wear.at.astype(np.int64).tolist(), answer.wear.level_um.tolist(), strict=True))


def pair_lines(answer: ChartPair, look: Look, *, last: int) -> list[str]:
    """Return a sentence and a row a point of one pair of charts, the newest first."""
    level, spread = answer.level_name, answer.spread_name
    told = REMEMBERED if answer.kind in REMEMBERING else PLAIN
    sentence = say(
        told,
        every=f"{RUN_LENGTH:.0f}",
        stream=look.name(answer.stream),
        level=say(level),
        spread=say(spread),
        beyond=int(((answer.beyond_level != 0) | (answer.beyond_spread != 0)).sum()),
        points=len(answer.at),
    )
    columns = (
        text("at"),
        text("part", spare=True),
        figure("n", spare=True),
        *(_columns(say(level))),
        *(_columns(say(spread))),
        text("beyond"),
        text("stone set", spare=True),
    )
    rows = [_point(answer, i, look) for i in _newest_first(len(answer.at), last)]
    head = [sentence, as_of_line(answer.as_of, answer.sheet, look.zone), _span_line(answer, look), ""]
    return [*head, *table(columns, rows, width=look.width), *newest(len(answer.at), last=last)]


def _columns(name: str) -> tuple[Column, Column]:
    return figure(say("{name} um", name=name)), text(say("{name} from to", name=name), spare=True)


def _point(answer: ChartPair, i: int, look: Look) -> list[str | None]:
    level, spread = answer.level_name, answer.spread_name
    return [
        when(to_local(answer.at[i], look.zone), look.zone),
        answer.part[i],
        str(answer.n[i]),
        signed(answer.level[i], decimals=look.um),
        _between(answer.level_lower[i], answer.level_upper[i], look),
        number(answer.spread[i], decimals=look.um),
        _between(answer.spread_lower[i], answer.spread_upper[i], look),
        _beyond((level, answer.beyond_level[i]), (spread, answer.beyond_spread[i])),
        answer.stone_set[i],
    ]


def _newest_first(points: int, last: int) -> range:
    return range(points - 1, max(-1, points - 1 - last) if last else -1, -1)


def _between(lower: float, upper: float, look: Look) -> str | None:
    if not np.isfinite(upper):
        return None
    ends = (signed(end, decimals=look.um) for end in (lower, upper))
    return say("{low} to {high}", **dict(zip(("low", "high"), ends, strict=True)))


def _beyond(*found: tuple[str, int]) -> str:
    return ", ".join(say(SIDES[int(side)], what=say(what)) for what, side in found if side)
