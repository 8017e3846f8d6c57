"""The command `run-length`: how long a chart runs until it calls; needs no cell."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from cellmon import local
from cellmon.cli.arguments import json_argument
from cellmon.cli.showing import show_document
from cellmon.cli.terminal import clean, figure, table, terminal_width, write
from cellmon.cli.wording import count, not_known_lines, plain
from cellmon.monitor.run_length_charts import CHARTS, ChartAsked
from cellmon.monitor.run_lengths import EstimatedLimits, RunLengthAt, RunLengths, run_lengths
from cellmon.words import say

USUAL = ChartAsked(chart="")


def run_length_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `run-length`."""
    parser.add_argument("chart", metavar="CHART", help=f"one of {', '.join(CHARTS)}")
    parser.add_argument("--arl", metavar="N", type=float, help="run length wanted when nothing moves")
    parser.add_argument("--limit", metavar="X", type=float, help="limit, in the unit the answer names")
    parser.add_argument(
        "--shifts", metavar="X", type=float, nargs="+", default=[], help="shifts, or ratios of a spread"
    )
    parser.add_argument("--size", metavar="N", type=int, default=USUAL.size, help="bores in a subgroup")
    parser.add_argument(
        "--weight", metavar="X", type=float, default=USUAL.weight, help="of the newest point in an average"
    )
    parser.add_argument(
        "--reference",
        metavar="X",
        type=float,
        help="of a cumulative sum (default 0.5); of spread-cusum the ratio it is tuned for (default 1.5)",
    )
    parser.add_argument("--one-sided", action="store_true", help="a cumulative sum that looks up only")
    parser.add_argument(
        "--head-start", metavar="X", type=float, default=0.0, help="of a cumulative sum, share of its limit"
    )
    parser.add_argument("--features", metavar="N", type=int, default=USUAL.features, help="judged together")
    parser.add_argument("--rules", metavar="NAME", default=USUAL.rules, help="a rule set of `cellmon alarms`")
    parser.add_argument(
        "--after", metavar="N", type=int, default=0, help="quiet points before the change, besides"
    )
    parser.add_argument(
        "--skew",
        metavar="X",
        type=float,
        default=0.0,
        help="skewness of the points of an ewma with a --limit",
    )
    parser.add_argument(
        "--subgroups", metavar="N", type=int, help="of means: subgroups that limits were estimated from"
    )
    parser.add_argument("--charts", metavar="N", type=int, default=1, help="so many alike, side by side")
    json_argument(parser)


def run_length(args: argparse.Namespace) -> int:
    """Print the limit and the run lengths of a chart."""
    usual = 1.5 if args.chart == "spread-cusum" else USUAL.reference
    answer = run_lengths(
        ChartAsked(
            chart=args.chart,
            arl=args.arl,
            limit=args.limit,
            shifts=tuple(args.shifts),
            size=args.size,
            weight=args.weight,
            reference=usual if args.reference is None else args.reference,
            one_sided=args.one_sided,
            head_start=args.head_start,
            features=args.features,
            rules=args.rules,
            charts=args.charts,
            after=args.after,
            skew=args.skew,
            subgroups=args.subgroups,
        )
    )
    if args.json:
        show_document(answer, zone=ZoneInfo("UTC"))
    else:
        write([clean(line) for line in run_length_lines(answer, width=terminal_width())])
    return 0


def run_length_lines(answer: RunLengths, *, width: int | None) -> list[str]:
    """Return the limit, then a row a shift: points until the call, on average and of 5, 50 and 95 in 100."""
    several = any(one.first_of_all is not None for one in answer.run_lengths)
    quiet = any(one.after_quiet is not None for one in answer.run_lengths)
    columns = [
        figure(answer.of),
        figure("mean"),
        figure("5 %"),
        figure("half"),
        figure("95 %"),
        figure("steady state"),
        *[figure("after quiet points")] * quiet,
        *[figure("first of all")] * several,
    ]
    rows = [_row(one, quiet=quiet)[: len(columns)] for one in answer.run_lengths]
    why = {name: words for one in answer.run_lengths for name, words in one.why_not.items()}
    return [
        _limit_line(answer),
        say("Points until it calls; {under}.", under=answer.under),
        *table(tuple(columns), rows, width=width),
        *not_known_lines(why),
        *([] if answer.estimated is None else ["", _estimated_line(answer.estimated)]),
    ]


def _estimated_line(found: EstimatedLimits) -> str:
    return say(
        "With limits from {subgroups} subgroups of {size}: one false call in {one_in} points over all cells; "
        "nine cells in ten run for {low} to {high}. A width of {promised} keeps the promise over all cells, "
        "one of {nine} in nine cells of ten.",
        subgroups=str(found.subgroups),
        size=str(found.size),
        one_in=_length(found.one_in),
        low=_length(found.p05),
        high=_length(found.p95),
        promised=plain(found.width_as_promised, digits=3),
        nine=plain(found.width_for_nine_in_ten, digits=3),
    )


def _limit_line(answer: RunLengths) -> str:
    if answer.limit is None:
        return say("{chart}: no limit to choose.", chart=answer.chart)
    limit = plain(answer.limit, digits=4)
    return say("{chart}: limit {limit} {unit}.", chart=answer.chart, limit=limit, unit=answer.unit)


def _row(one: RunLengthAt, *, quiet: bool) -> Sequence[str | None]:
    points = (one.p05, one.p50, one.p95)
    return (
        plain(one.shift),
        _length(one.mean),
        *map(count, points),
        _length(one.steady),
        *[_length(one.after_quiet)] * quiet,
        _length(one.first_of_all),
    )


def _length(points: float | None) -> str | None:
    return None if points is None else local.number(points, 2 if points < 100 else 1)
