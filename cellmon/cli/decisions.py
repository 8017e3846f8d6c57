"""Commands by which a named person decides: correct, respond, hold, release, first-bores, baseline."""

from __future__ import annotations

import argparse
from typing import Any

from cellmon.cli.arguments import (
    again_argument,
    by_and_why_arguments,
    cell_argument,
    hinting_again,
    json_argument,
    known_to,
    listing_arguments,
    open_monitor,
    stream_arguments,
    stream_choice,
    words,
)
from cellmon.cli.showing import show
from cellmon.cli.terminal import clean, write
from cellmon.cli.wording import count
from cellmon.errors import WrongUsage
from cellmon.words import say, say_many, to_say

NOTHING_HELD = to_say("signal {signal}: no part on hold is without a disposition")
SEEN = to_say("Signal {signal} ({words}) acknowledged by {by}; it is {state}.")
ANSWERED = to_say("Signal {signal} ({words}) answered by {by}; it is {state}.")
DISPOSITIONS = ("released", "reworked", "scrapped", "concession")


def correct_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `correct`."""
    parser.add_argument("flag", metavar="FLAG", help="the id that cellmon flags shows")
    choice = parser.add_mutually_exclusive_group(required=True)
    choice.add_argument("--accept", action="store_true", help="accept what is proposed")
    choice.add_argument("--keep", action="store_true", help="keep the row as it was taken")
    parser.add_argument(
        "--alike",
        action="store_true",
        help="decide all that wait of the same doubt, gauge, spindle and proposal with it",
    )
    by_and_why_arguments(parser)
    again_argument(parser)
    cell_argument(parser)


def correct(args: argparse.Namespace) -> int:
    """Decide one doubt; the original row stays beside the correction."""
    monitor = open_monitor(args)
    more = monitor.flag(args.flag).alike if args.alike else 0
    said: dict[str, Any] = {"by": args.by, "why": args.why, "alike": args.alike, "knew": known_to(args)}
    with hinting_again():
        row = monitor.correct(args.flag, accept=args.accept, **said)
    text = to_say("{flag} of part {part} bore {bore}: {became} by {by}.")
    told = [say(text, flag=row.flag, part=row.part, bore=row.bore, became=say(row.state), by=args.by)]
    if more:
        told.append(say_many("So was {n} more like it.", "So were {n} more like it.", more, n=count(more)))
    write([clean(" ".join(told))])
    return 0


def respond_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `respond`."""
    parser.add_argument("signal", metavar="ID", help="the signal's id")
    parser.add_argument("--cause", metavar="TEXT", type=words, help="what caused it")
    parser.add_argument("--action", metavar="TEXT", type=words, help="what was done about it")
    parser.add_argument("--seen", action="store_true", help="acknowledge only; the answer may follow")
    parser.add_argument("--by", metavar="NAME", type=words, required=True, help="who answers")
    again_argument(parser)
    cell_argument(parser)


def respond(args: argparse.Namespace) -> int:
    """Answer a signal, or acknowledge it."""
    answered = args.cause is not None and args.action is not None
    if args.seen and (args.cause or args.action):
        raise WrongUsage(
            say("--seen acknowledges without an answer; leave out --cause and --action, or --seen")
        )
    if not args.seen and not answered:
        raise WrongUsage(say("an answer needs --cause and --action; --seen only acknowledges"))
    said: dict[str, Any] = {"cause": args.cause, "action": args.action, "seen": args.seen}
    with hinting_again():
        signal = open_monitor(args).respond(args.signal, by=args.by, **said, knew=known_to(args))
    text = SEEN if args.seen else ANSWERED
    told = say(text, signal=signal.id, words=signal.words, by=args.by, state=say(signal.state))
    write([clean(told)])
    return 0


def hold_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `hold`."""
    parser.add_argument("signal", metavar="SIGNAL", help="the signal's id")
    parser.add_argument(
        "--from", dest="from_", metavar="SERIAL", help="hold from this earlier part on as well"
    )
    parser.add_argument("--to", metavar="SERIAL", help="with --from: only to this part")
    by_and_why_arguments(parser, required=False)
    listing_arguments(parser)


def hold(args: argparse.Namespace) -> int:
    """List the parts to contain after a signal, or hold earlier ones as well."""
    from cellmon.cli.stories import hold_lines

    if args.from_ is None and (args.to or args.by or args.why):
        raise WrongUsage(say("--to, --by and --why go with --from SERIAL, which extends the hold"))
    if args.from_ is not None and (args.by is None or args.why is None):
        raise WrongUsage(say("--from needs --by NAME and --why TEXT"))
    if args.from_ is not None and args.as_of is not None:
        raise WrongUsage(say("a hold is extended now; leave out --as-of"))
    monitor = open_monitor(args)
    if args.from_ is None:
        answer = monitor.hold(args.signal)
    else:
        answer = monitor.extend_hold(
            args.signal, from_part=args.from_, to_part=args.to, by=args.by, why=args.why
        )
    show(args, monitor, answer, hold_lines)
    return 0


def release_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `release`."""
    parser.add_argument("signal", metavar="SIGNAL", help="the signal's id")
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--parts", metavar="SERIAL", nargs="+", help="these parts of the hold list")
    which.add_argument("--all", action="store_true", help="every part of it without a disposition")
    parser.add_argument("--as", dest="as_", choices=DISPOSITIONS, required=True, help="what became of them")
    by_and_why_arguments(parser)
    again_argument(parser)
    cell_argument(parser)
    json_argument(parser)


def release(args: argparse.Namespace) -> int:
    """Say what became of parts on hold."""
    from cellmon.cli.stories import hold_lines

    monitor = open_monitor(args)
    parts = args.parts
    if args.all:
        held = monitor.hold(args.signal).parts
        parts = list(dict.fromkeys(p.part for p in held if p.disposition is None))
        if not parts:
            raise WrongUsage(say(NOTHING_HELD, signal=args.signal))
    with hinting_again():
        answer = monitor.release(
            args.signal, parts=parts, as_=args.as_, by=args.by, why=args.why, knew=known_to(args)
        )
    show(args, monitor, answer, hold_lines)
    return 0


def first_bores_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `first-bores`."""
    parser.add_argument("--release", metavar="SPINDLE", type=words, help="let this spindle run, by your name")
    by_and_why_arguments(parser, required=False)
    again_argument(parser)
    listing_arguments(parser)


def first_bores(args: argparse.Namespace) -> int:
    """Say what the first bores after a change say, or release the spindle."""
    from cellmon.cli.setups import first_bores_lines

    if args.release is None and (args.by or args.why):
        raise WrongUsage(say("--by and --why go with --release SPINDLE"))
    if args.release is not None and (args.by is None or args.why is None):
        raise WrongUsage(say("--release needs --by NAME and --why TEXT"))
    if args.release is not None and args.as_of is not None:
        raise WrongUsage(say("a spindle is released now; leave out --as-of"))
    monitor = open_monitor(args)
    if args.release is not None:
        with hinting_again():
            answer = monitor.release_setup(args.release, by=args.by, why=args.why, knew=known_to(args))
    else:
        answer = monitor.first_bores()
    show(args, monitor, answer, first_bores_lines)
    return 0


def baseline_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `baseline`."""
    parser.add_argument("--freeze", action="store_true", help="freeze what is proposed")
    parser.add_argument("--all", action="store_true", help="with --freeze: every stream")
    parser.add_argument(
        "--check", action="store_true", help="how far the limits keep their promise, and limits that would"
    )
    stream_arguments(parser)
    by_and_why_arguments(parser, required=False)
    again_argument(parser)
    listing_arguments(parser)


def baseline(args: argparse.Namespace) -> int:
    """Show and propose limits, or freeze them."""
    from cellmon.cli.ledgers import baseline_lines

    choice = stream_choice(args)
    if args.check and args.freeze:
        raise WrongUsage(say("--check looks at limits, --freeze changes them; leave out one"))
    _check_freeze(args, chosen=any(choice.values()))
    monitor = open_monitor(args)
    if args.check:
        from cellmon.cli.trusted import trust_lines

        show(args, monitor, monitor.trust(**choice), trust_lines)
        return 0
    if args.freeze:
        with hinting_again():
            answer = monitor.freeze(by=args.by, why=args.why, **choice, knew=known_to(args))
    else:
        answer = monitor.baselines(**choice)
    show(args, monitor, answer, baseline_lines)
    return 0


def _check_freeze(args: argparse.Namespace, *, chosen: bool) -> None:
    if not args.freeze:
        if args.all or args.by or args.why:
            raise WrongUsage(say("--all, --by and --why go with --freeze"))
        return
    if args.as_of is not None:
        raise WrongUsage(say("limits are frozen now; leave out --as-of"))
    if args.all == chosen:
        raise WrongUsage(say("--freeze needs either --all or one of --spindle, --bore, --feature"))
    if args.by is None or args.why is None:
        raise WrongUsage(say("--freeze needs --by NAME and --why TEXT"))
