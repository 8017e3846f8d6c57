"""The second person: what waits for one, and signing or refusing it."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from cellmon.cli.arguments import by_and_why_arguments, listing_arguments, open_monitor, words
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import table, text
from cellmon.cli.wording import count, listed, when
from cellmon.errors import WrongUsage
from cellmon.words import say, say_many, to_say

if TYPE_CHECKING:
    from cellmon.monitor.proposals import Proposal, Proposals


def sign_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `sign`."""
    parser.add_argument("proposal", metavar="ID", nargs="?", type=words, help="what to sign; without, a list")
    parser.add_argument("--refuse", action="store_true", help="refuse it instead")
    by_and_why_arguments(parser, required=False)
    listing_arguments(parser)


def sign(args: argparse.Namespace) -> int:
    """List what was proposed, or sign or refuse it as a second person."""
    if args.proposal is None and (args.by or args.why or args.refuse):
        raise WrongUsage(say(say("--by, --why and --refuse go with the ID of a proposal")))
    if args.proposal is not None and (args.by is None or args.why is None):
        raise WrongUsage(say(say("a signature needs --by NAME and --why TEXT")))
    if args.proposal is not None and args.as_of is not None:
        raise WrongUsage(say(say("it is signed now; leave out --as-of")))
    monitor = open_monitor(args)
    if args.proposal is None:
        answer = monitor.proposals()
    else:
        answer = monitor.sign(args.proposal, by=args.by, why=args.why, refuse=args.refuse)
    show(args, monitor, answer, proposal_lines)
    return 0


SIGN_ONE = to_say("Sign: cellmon sign {id} --by NAME --why TEXT (or --refuse)")
OF = {"limits": to_say("limits"), "claims": to_say("claims")}


def proposal_lines(answer: Proposals, look: Look) -> list[str]:
    """Return what the sheet wants a second person for, and what became of each proposal."""
    waiting = [one for one in answer.proposals if one.state == "waits"]
    lines = [wanted_line(answer.second_person)]
    if answer.proposals:
        columns = (
            text("id"),
            text("of"),
            text("streams", flexible=True),
            text("proposed by"),
            text("at"),
            text("why", flexible=True),
            text("state", flexible=True),
        )
        rows = [_row(one, look) for one in answer.proposals]
        lines += ["", *table(columns, rows, width=look.width), ""]
        lines += [
            say_many(
                "{n} proposal waits for a second name.",
                "{n} proposals wait for a second name.",
                len(waiting),
                n=count(len(waiting)),
            )
        ]
    return lines + waiting_lines(waiting)


def wanted_line(second_person: Sequence[str]) -> str:
    """Return what the sheet in force wants a second person for."""
    if not second_person:
        return say("The sheet in force wants no second person ([people] second_person).")
    what = listed(say(OF[one]) for one in second_person)
    return say("The sheet in force wants a second person for {what}.", what=what)


def waiting_lines(waiting: Sequence[Proposal]) -> list[str]:
    """Return how what waits is signed; none where nothing waits."""
    return [say(SIGN_ONE, id=waiting[-1].id)] if waiting else []


def _row(one: Proposal, look: Look) -> list[str | None]:
    streams = listed((look.name(stream) for stream in one.streams), most=3)
    return [one.id, say(OF[one.of]), streams, one.by, when(one.at, look.zone), one.why, one.words]
