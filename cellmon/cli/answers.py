"""Commands that answer: state, shifts, signals, part, capability."""

from __future__ import annotations

import argparse
import re
from dataclasses import replace
from functools import partial

from cellmon.cli.arguments import (
    last_argument,
    listing_arguments,
    open_monitor,
    stream_arguments,
    stream_choice,
    window,
    window_arguments,
)
from cellmon.cli.showing import show


def state_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `state`."""
    listing_arguments(parser)


def state(args: argparse.Namespace) -> int:
    """Print every spindle and stream now."""
    from cellmon.cli.listings import state_lines

    monitor = open_monitor(args)
    show(args, monitor, monitor.state(), state_lines)
    return 0


def shifts_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `shifts`."""
    listing_arguments(parser)
    parser.add_argument("--feature", metavar="F", help="only this feature, such as diameter or taper")
    parser.add_argument(
        "--shift", metavar="DATE/NAME", type=shift_name, help="such as 2026-10-22/late (default: the last)"
    )


def shift_name(text: str) -> str:
    """Return the name of one shift of one day, as typed."""
    if not re.fullmatch(r"\d{4}-\d\d-\d\d/\S.*", text):
        raise argparse.ArgumentTypeError(f"{text!r} is not DATE/NAME such as 2026-10-22/late")
    return text


def shifts(args: argparse.Namespace) -> int:
    """Print one shift of every stream, against the shift before."""
    from cellmon.cli.listings import shifts_lines

    monitor = open_monitor(args)
    show(args, monitor, monitor.shifts(feature=args.feature, shift=args.shift), shifts_lines)
    return 0


def signals_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `signals`."""
    listing_arguments(parser)
    parser.add_argument("--open", action="store_true", help="only those that wait for an answer")
    last_argument(parser)


def signals(args: argparse.Namespace) -> int:
    """Print the signals, newest first."""
    from cellmon.cli.listings import signals_lines

    monitor = open_monitor(args)
    answer = monitor.signals()
    if args.open:
        waiting = tuple(s for s in answer.signals if s.state in {"open", "reopened"})
        answer = replace(answer, signals=waiting)
    show(args, monitor, answer, partial(signals_lines, last=args.last))
    return 0


def part_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `part`."""
    parser.add_argument("serial", metavar="SERIAL", help="the block's serial")
    listing_arguments(parser)


def part(args: argparse.Namespace) -> int:
    """Print all that is known of one block."""
    from cellmon.cli.stories import part_lines

    monitor = open_monitor(args)
    measuring = monitor.sheet.measuring
    lines = partial(part_lines, planes=tuple(measuring.planes), directions=tuple(measuring.directions))
    show(args, monitor, monitor.part(args.serial), lines)
    return 0


def capability_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `capability`."""
    listing_arguments(parser)
    stream_arguments(parser)
    window_arguments(parser)


def capability(args: argparse.Namespace) -> int:
    """Print the indices of every stream and what forbids a claim."""
    from cellmon.cli.listings import capability_lines

    monitor = open_monitor(args)
    during = window(args, monitor)
    answer = monitor.capability(**stream_choice(args), since=during["since"], until=during["until"])
    show(args, monitor, answer, capability_lines)
    return 0
