"""The command `bore`: one bore in the hand, measured, seen and advised round by round to its end."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from cellmon.cli.arguments import cell_argument, json_argument, open_monitor, zone_of
from cellmon.cli.bore_asked import answer_of
from cellmon.cli.bore_lines import bore_lines, hand_stone_lines
from cellmon.cli.showing import show
from cellmon.cli.terminal import clean, write
from cellmon.errors import WrongUsage
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def bore_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `bore`."""
    parser.add_argument("part", metavar="PART", nargs="?", help="the serial of the block")
    parser.add_argument("bore", metavar="BORE", nargs="?", help="the bore, as the sheet names it")
    parser.add_argument("--stones", metavar="SET", help="instead: is a set flat, parallel and matched")
    parser.add_argument(
        "--measured",
        metavar="SPINDLE",
        help="instead: type the readings of one bore after another, honed on SPINDLE (hand: by hand)",
    )
    parser.add_argument("--event", action="store_true", help="instead: type a cell event")
    parser.add_argument("--mating-part", metavar="SERIAL", help="say the clearance of the part that goes in")
    parser.add_argument("--part-number", metavar="P", help="the drawing, where the sheet names several")
    parser.add_argument("--by", metavar="NAME", default="", help="who measures")
    parser.add_argument("--job", metavar="TEXT", help="keep with the block: the job")
    parser.add_argument("--reference", metavar="TEXT", help="keep with the block: the customer's reference")
    parser.add_argument(
        "--cleaned", action="store_true", help="keep with the block: it was washed, dried and oiled"
    )
    parser.add_argument(
        "--rpm", metavar="N", type=float, help="spindle speed of the rounds, for the crosshatch"
    )
    parser.add_argument(
        "--strokes-per-min", metavar="N", type=float, help="double strokes a minute, for the crosshatch"
    )
    parser.add_argument("--show", action="store_true", help="say what is known and what is next, and end")
    parser.add_argument(
        "--record", metavar="FILE", type=Path, help="write the bore's record, .pdf, .csv or .json, and end"
    )
    cell_argument(parser)
    json_argument(parser)


def bore(args: argparse.Namespace) -> int:
    """Measure and size one bore, round by round."""
    monitor = open_monitor(args)
    if args.stones is not None:
        show(args, monitor, monitor.stones_in_hand(stone_set=args.stones), hand_stone_lines)
        return 0
    if args.event or args.measured is not None:
        return _besides(monitor, args)
    told = _told(monitor, args)
    if told and args.bore is None:
        return 0
    if args.part is None or args.bore is None:
        raise WrongUsage(say("which block and which bore: cellmon bore SERIAL BORE"))
    if args.record is not None:
        return _record(monitor, args)
    if args.part_number is None and len(monitor.sheet.parts) > 1:
        args.part_number = answer_of(monitor, args).part_number
    if args.json:
        from cellmon.cli.bore_program import by_program

        return by_program(monitor, args)
    write([clean(line) for line in bore_lines(answer_of(monitor, args), cautions=not args.show)])
    if not args.show:
        from cellmon.cli.bore_by_hand import by_hand

        by_hand(monitor, args)
    return 0


def _besides(monitor: Monitor, args: argparse.Namespace) -> int:
    from cellmon.cli.bore_besides import by_hand_event, by_hand_measured

    if args.event:
        by_hand_event(monitor, by=args.by)
    else:
        by_hand_measured(monitor, args)
    return 0


def _told(monitor: Monitor, args: argparse.Namespace) -> bool:
    """Keep what is said of the block; False where nothing is said of it."""
    said = {"job": args.job, "reference": args.reference, "cleaned": args.cleaned or None}
    if all(value is None for value in said.values()):
        return False
    monitor.tell_block(args.part or "", by=args.by, **said)
    write([clean(say("Kept with block {part}.", part=args.part))] if not args.json else [])
    return True


def _record(monitor: Monitor, args: argparse.Namespace) -> int:
    from cellmon.export.bore_record import write_record
    from cellmon.monitor.bore.record_results import RecordTold

    mates = {} if args.mating_part is None else {args.bore: args.mating_part}
    told = RecordTold(by=args.by, mating_parts=mates)
    record = monitor.hand_record(args.part, bore=args.bore, told=told, part_number=args.part_number)
    write_record(record, args.record, zone=zone_of(monitor))
    write([str(args.record)])
    return 0
