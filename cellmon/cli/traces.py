"""The command `traces`: the form of traced bores, and what the two-point gauge missed."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from cellmon.cli.arguments import (
    last_argument,
    listing_arguments,
    newest,
    open_monitor,
    window,
    window_arguments,
)
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text, write
from cellmon.cli.wording import number, plain, said, signed, when
from cellmon.errors import WrongUsage
from cellmon.monitor.traced_bore import BoreTraces, TraceFigure
from cellmon.monitor.traced_plane import PlaneTrace
from cellmon.monitor.traces import TracesAnswer
from cellmon.records import Verdict
from cellmon.words import say


def traces_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `traces`."""
    listing_arguments(parser)
    parser.add_argument("--part", metavar="SERIAL", help="one block in full, plane by plane")
    parser.add_argument(
        "--draw", metavar="FILE", type=Path, help="with --part: draw its sections into an HTML file too"
    )
    window_arguments(parser)
    last_argument(parser)


def traces(args: argparse.Namespace) -> int:
    """Print the traced bores of the last week, or one block plane by plane."""
    monitor = open_monitor(args)
    if args.part is not None and (args.since or args.until):
        raise WrongUsage(say("--since and --until choose among many bores; leave out --part, or them"))
    if args.draw is not None and args.part is None:
        raise WrongUsage(say("--draw draws one block; name it with --part"))
    during = window(args, monitor)
    answer = monitor.traces(part=args.part, since=during["since"], until=during["until"])
    lines = part_lines if args.part is not None else partial(traces_lines, last=args.last)
    show(args, monitor, answer, lines)
    if args.draw is not None:
        from dashboards.pages.traced import write_drawing

        write_drawing(answer, monitor.sheet, args.draw)
        if not args.json:
            write(["", say("{file}: the sections, drawn", file=args.draw)])
    return 0


def traces_lines(answer: TracesAnswer, look: Look, *, last: int) -> list[str]:
    """Return a row a bore: its form by trace, what two points see of it, what they miss."""
    columns = (
        text("part"),
        text("bore"),
        text("traced", spare=True),
        text("lobes"),
        figure("roundness um"),
        figure("two points um"),
        figure("missed um"),
        figure("cylindricity um"),
        text("roundness"),
        text("cylindricity"),
        text("from", spare=True),
    )
    shown = answer.bores[-last:] if last else answer.bores
    lines = [answer.sentence]
    if shown:
        lines += ["", *table(columns, [_row(b, look) for b in shown], width=look.width)]
        lines += newest(len(answer.bores), last=last)
        lines += [
            "",
            say("Figures are radial; {blind}.", blind=answer.blind),
            say("One in full: cellmon traces --part {part}", part=shown[-1].part),
        ]
    return lines


def _row(b: BoreTraces, look: Look) -> list[str | None]:
    worst = _worst(b)
    return [
        b.part,
        b.bore,
        when(b.at, look.zone),
        None if worst is None else _lobes(worst),
        _value(b.roundness_trace),
        None if worst is None else number(worst.two_point_roundness_um, decimals=2),
        number(b.missed_um, decimals=2),
        _value(b.cylindricity),
        _verdict(b.roundness_trace),
        _verdict(b.cylindricity),
        said(b.roundness_trace.used),
    ]


def _worst(b: BoreTraces) -> PlaneTrace | None:
    known = [p for p in b.planes if p.roundness_um is not None]
    return max(known, key=lambda p: p.roundness_um or 0.0, default=None)


def _lobes(plane: PlaneTrace) -> str:
    return say(" and ").join(lobe.words for lobe in plane.lobes) or say("none stands out")


def _value(f: TraceFigure) -> str | None:
    return number(f.reported_um if f.value_um is None else f.value_um, decimals=2)


def _verdict(f: TraceFigure) -> str | None:
    return said(f.verdict)


def part_lines(answer: TracesAnswer, look: Look) -> list[str]:
    """Return a block plane by plane, with how each figure was judged."""
    lines = [answer.sentence]
    for b in answer.bores:
        lines += ["", f"{b.sentence} {_traced(b, look)}"]
        lines += [f"    {_judged(f)}" for f in b.figures]
        if b.seen is not None:
            lines.append(f"    {_seen(b)}")
        lines += table(_PLANE_COLUMNS, [_plane_row(p) for p in b.planes], width=look.width)
        lines += [f"    {p.plane}: {note}" for p in b.planes for note in (*p.notes, *p.why_not.values())]
    return [*lines, "", say("Figures are radial, sizes from nominal; {blind}.", blind=answer.blind)]


def _traced(b: BoreTraces, look: Look) -> str:
    gauge = b.gauge or "-"
    if b.at is None:
        return say("Traced at a time not given, gauge {gauge}.", gauge=gauge)
    return say("Traced {at}, gauge {gauge}.", at=when(b.at, look.zone), gauge=gauge)


_PLANE_COLUMNS = (
    text("plane"),
    text("lobes"),
    figure("roundness um"),
    figure("least squares"),
    figure("minimum zone"),
    figure("inscribed", spare=True),
    figure("circumscribed", spare=True),
    figure("two points"),
    figure("missed"),
    figure("least two-point size"),
    figure("largest inscribed"),
)


def _plane_row(p: PlaneTrace) -> Sequence[str | None]:
    by = p.by_reference_um
    return [
        p.plane,
        _lobes(p) if p.waves else None,
        number(p.roundness_um, decimals=2),
        *(
            number(by.get(k), decimals=2)
            for k in ("least-squares", "minimum-zone", "inscribed", "circumscribed")
        ),
        number(p.two_point_roundness_um, decimals=2),
        number(p.missed_um, decimals=2),
        signed(p.least_two_point_um, decimals=2),
        signed(p.largest_inscribed_um, decimals=2),
    ]


def _judged(f: TraceFigure) -> str:
    told = say(
        "{feature}: {um} um by {reference}, {filter} upr",
        feature=say(f.feature),
        um=_value(f) or say("not known"),
        reference=say(f.reference),
        filter=plain(f.filter_upr),
    )
    if f.used == "points" and f.reported_um is not None:
        reported = number(f.reported_um, decimals=2)
        told = say("{figure} (reported {um})", figure=told, um=reported)
    elif f.used == "reported":
        told = say("{figure}, as reported", figure=told)
    parts = [told, *([] if f.verdict is None else [_found(f, f.verdict)]), *f.why_not.values()]
    return "; ".join(parts)


def _found(f: TraceFigure, verdict: Verdict) -> str:
    if f.guard_um is None:
        return f"{say(verdict)} ({_limits(f)})"
    guard = number(f.guard_um, decimals=2)
    limits = _limits(f)
    return say("{verdict} ({limits}, guard band {guard})", verdict=say(verdict), limits=limits, guard=guard)


def _limits(f: TraceFigure) -> str:
    if f.lower_um is None:
        assert f.upper_um is not None
        return say("upper limit {upper} um", upper=plain(f.upper_um))
    if f.upper_um is None:
        return say("limits {lower} um", lower=plain(f.lower_um, sign=True))
    lower, upper = (plain(um, sign=True) for um in (f.lower_um, f.upper_um))
    return say("limits {lower} to {upper} um", lower=lower, upper=upper)


def _seen(b: BoreTraces) -> str:
    assert b.seen is not None
    roundness, ovality = number(b.seen.roundness_um, decimals=2), signed(b.seen.ovality_um, decimals=2)
    named = ((say("roundness"), roundness), (say("ovality (on diameter)"), ovality))
    figures = ", ".join(
        say("{feature} not known", feature=name) if value is None else f"{name} {value} um"
        for name, value in named
    )
    return say("gauge {gauge} had read: {figures}", gauge=b.seen.gauge, figures=figures)
