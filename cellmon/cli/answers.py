"""Commands that answer: state, shifts, signals, alarms, joint, part, capability."""

from __future__ import annotations

import argparse
import re
from dataclasses import replace
from functools import partial

from cellmon.cli.arguments import (
    again_argument,
    by_and_why_arguments,
    hinting_again,
    known_to,
    last_argument,
    listing_arguments,
    open_monitor,
    stream_arguments,
    stream_choice,
    window,
    window_arguments,
)
from cellmon.cli.showing import show
from cellmon.errors import NotFound, WrongUsage
from cellmon.words import say


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
    parser.add_argument("signal", metavar="ID", nargs="?", help="one signal in full")
    listing_arguments(parser)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--open", action="store_true", help="only those that wait for an answer")
    which.add_argument("--all", action="store_true", help="those withdrawn too")
    last_argument(parser)


def signals(args: argparse.Namespace) -> int:
    """Print the signals, newest first, or one of them in full."""
    from cellmon.cli.signalled import WAITING, signal_lines, signals_lines

    if args.signal is not None and (args.open or args.all):
        raise WrongUsage(say("--open and --all choose among many signals; leave out the ID, or them"))
    monitor = open_monitor(args)
    if args.signal is not None:
        answer = monitor.signals(why=0, named=args.signal)
        one = tuple(s for s in answer.signals if s.id == args.signal)
        if not one:
            raise NotFound(say("no signal {signal}; cellmon signals --all lists them", signal=args.signal))
        show(args, monitor, replace(answer, signals=one), signal_lines)
        return 0
    # to ask why takes most of the time: of many signals it is asked of those that are shown
    answer = monitor.signals(why=None if args.json else args.last or None)
    if args.open:
        answer = replace(answer, signals=tuple(s for s in answer.signals if s.state in WAITING))
    show(args, monitor, answer, partial(signals_lines, last=args.last, withdrawn=args.all))
    return 0


def alarms_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `alarms`."""
    listing_arguments(parser)


def alarms(args: argparse.Namespace) -> int:
    """Print how many false alarms to expect, and what each detector and each rule set costs."""
    from cellmon.cli.budgets import alarms_lines

    monitor = open_monitor(args)
    show(args, monitor, monitor.alarms(), alarms_lines)
    return 0


def joint_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `joint`."""
    parser.add_argument("--spindle", metavar="S", help="the spindle; none where the sheet names none")
    parser.add_argument("--bore", metavar="B", required=True, help="the bore position")
    window_arguments(parser)
    listing_arguments(parser)


def joint(args: argparse.Namespace) -> int:
    """Print where the features of one bore, taken together, lie beyond their limits."""
    from cellmon.cli.together import joint_lines

    monitor = open_monitor(args)
    during = window(args, monitor)
    answer = monitor.joint(spindle=args.spindle, bore=args.bore, since=during["since"], until=during["until"])
    show(args, monitor, answer, joint_lines)
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
    parser.add_argument("--sign", action="store_true", help="sign these figures by your name")
    by_and_why_arguments(parser, required=False)
    again_argument(parser)


def capability(args: argparse.Namespace) -> int:
    """Print the indices of every stream and what forbids a claim."""
    from cellmon.cli.indices import capability_lines

    if not args.sign and (args.by or args.why):
        raise WrongUsage(say("--by and --why go with --sign"))
    if args.sign and (args.by is None or args.why is None):
        raise WrongUsage(say("--sign needs --by NAME and --why TEXT"))
    if args.sign and args.as_of is not None:
        raise WrongUsage(say("figures are signed as they stand now; leave out --as-of"))
    monitor = open_monitor(args)
    choice, during = stream_choice(args), window(args, monitor)
    ask = monitor.capability
    if args.sign:
        ask = partial(monitor.sign_capability, by=args.by, why=args.why, knew=known_to(args))
    with hinting_again():
        answer = ask(**choice, since=during["since"], until=during["until"])
    show(args, monitor, answer, capability_lines)
    return 0
