"""The record of honing by hand as `export` makes it: its own arguments, its answer, its paper."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from cellmon.errors import WrongUsage
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore.record_results import HandRecord

OWN = ("by", "mating_part", "part_number", "blank")
"""Arguments that only `export record` takes."""


def record_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what a person adds to a record."""
    parser.add_argument("--by", metavar="NAME", default="", help="with record: the name below it")
    parser.add_argument(
        "--mating-part",
        metavar="BORE=SERIAL",
        action="append",
        default=[],
        help="with record: the part that goes into a bore, for its clearance; may be given again",
    )
    parser.add_argument("--part-number", metavar="P", help="with record --blank: of which drawing")
    parser.add_argument(
        "--blank", action="store_true", help="with record as pdf: the form with nothing in it, to print"
    )


def record_refused(args: argparse.Namespace) -> None:
    """Refuse arguments of a record that go with no other kind, and a blank form that is not a paper.

    Raises
    ------
    WrongUsage
        Naming them.
    """
    used = [f"--{name.replace('_', '-')}" for name in OWN if getattr(args, name)]
    if args.kind != "record" and used:
        unused = say(" or ").join(used)
        raise WrongUsage(say("export {kind} takes no {options}", kind=args.kind, options=unused))
    if args.blank and args.to != "pdf":
        raise WrongUsage(say("--blank goes with export record --to pdf"))


def record_of(args: argparse.Namespace, monitor: Monitor) -> HandRecord:
    """Return the record that is asked for, or its blank form."""
    from cellmon.monitor.bore.record_results import RecordTold

    if args.blank:
        return monitor.blank_record(part_number=args.part_number)
    mates = dict(_mate(words) for words in args.mating_part)
    told = RecordTold(by=args.by, mating_parts=mates)
    return monitor.hand_record(args.serial, bore=args.bore, told=told, part_number=args.part_number)


def _mate(words: str) -> tuple[str, str]:
    bore, equals, serial = words.partition("=")
    if not (bore and equals and serial):
        raise WrongUsage(say("--mating-part as BORE=SERIAL, not {typed}", typed=words))
    return bore, serial
