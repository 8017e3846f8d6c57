"""The command `bore`: one bore in the hand, measured, seen and advised round by round to its end."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cellmon.cli.arguments import cell_argument, json_argument, open_monitor, zone_of
from cellmon.cli.bore_asked import END, ask, asked_readings, figure_of, readings_given, sure, tried
from cellmon.cli.bore_lines import bore_lines, hand_stone_lines
from cellmon.cli.showing import show
from cellmon.cli.terminal import clean, write
from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.cli.bore_besides import Heard
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore.keeping import TypedRound


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
    if args.part is None or args.bore is None:
        raise WrongUsage(say("which block and which bore: cellmon bore SERIAL BORE"))
    if args.record is not None:
        from cellmon.export.bore_record import write_record
        from cellmon.monitor.bore.record_results import RecordTold

        mates = {} if args.mating_part is None else {args.bore: args.mating_part}
        told = RecordTold(by=args.by, mating_parts=mates)
        record = monitor.hand_record(args.part, bore=args.bore, told=told, part_number=args.part_number)
        write_record(record, args.record, zone=zone_of(monitor))
        write([str(args.record)])
        return 0
    if args.part_number is None and len(monitor.sheet.parts) > 1:
        args.part_number = _answer(monitor, args).part_number
    if args.json:
        return _by_program(monitor, args)
    write([clean(line) for line in bore_lines(_answer(monitor, args), cautions=not args.show)])
    if not args.show:
        _by_hand(monitor, args)
    return 0


def _besides(monitor: Monitor, args: argparse.Namespace) -> int:
    from cellmon.cli.bore_besides import by_hand_event, by_hand_measured

    if args.event:
        by_hand_event(monitor, by=args.by)
    else:
        by_hand_measured(monitor, args)
    return 0


def _answer(monitor: Monitor, args: argparse.Namespace, *, next_stones: str | None = None) -> Any:
    return monitor.bore(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        next_stones=next_stones,
        mating_part=args.mating_part,
    )


# --- one JSON object a line in, one a line out


def _by_program(monitor: Monitor, args: argparse.Namespace) -> int:
    _say(monitor, args, kept=False)
    if args.show:
        return 0
    for line in sys.stdin:
        if not line.strip():
            continue
        try:
            _request(monitor, args, json.loads(line))
        except (CellmonError, ValueError, TypeError) as refusal:
            _say(monitor, args, kept=False, refused=str(refusal))
    return 0


def _request(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> None:
    if not isinstance(asked, dict):
        raise WrongUsage(say("one JSON object a line"))
    unknown = set(asked) - {
        *("readings", "strokes", "stones", "rpm", "feed_um", "part_temp_c", "by", "note", "round", "sure"),
        "master_temp_c",
        *("bore", "next_stones", "zero", "sign", "strokes_per_min", "mating_part", "event", "measured"),
    }
    if unknown:
        raise WrongUsage(say("no such key: {keys}", keys=", ".join(sorted(unknown))))
    if "bore" in asked:
        _go_to(monitor, args, str(asked["bore"]))
    if "zero" in asked:
        _keep_zero(monitor, asked["zero"], by=str(asked.get("by", args.by)))
    if "sign" in asked:
        from cellmon.monitor.bore.zero import keep_sign

        larger = float(asked["sign"]["larger_um"])
        keep_sign(monitor, str(asked["sign"]["reading"]), larger_um=larger, by=str(asked.get("by", args.by)))
    if "mating_part" in asked:
        args.mating_part = asked["mating_part"]
    if "event" in asked or "measured" in asked:
        heard = _heard(monitor, args, asked)
        _say(monitor, args, kept=heard.kept, asked=heard.asked)
        return
    if "readings" not in asked:
        _say(monitor, args, kept="zero" in asked or "sign" in asked, next_stones=asked.get("next_stones"))
        return
    typed = _typed(monitor, args, asked)
    looked = monitor.look_at_round(typed)
    kept = not looked.asked or bool(asked.get("sure"))
    if kept:
        monitor.keep_round(typed)
    _say(monitor, args, kept=kept, asked=looked.asked, next_stones=asked.get("next_stones"))


def _heard(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> Heard:
    """Keep a cell event, or one bore of a shift."""
    from cellmon.cli.bore_besides import event_by_program, measured_by_program

    by = str(asked.get("by", args.by))
    if "event" in asked:
        return event_by_program(monitor, asked["event"], by=by)
    return measured_by_program(monitor, asked["measured"], by=by, sure_of_it=bool(asked.get("sure")))


def _go_to(monitor: Monitor, args: argparse.Namespace, bore: str) -> None:
    """Go on with another bore of the block; one that the sheet does not name is refused."""
    if bore not in monitor.sheet.part(args.part_number).bores:
        raise WrongUsage(say("no bore {bore} in the sheet", bore=bore))
    args.bore = bore


def _typed(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> TypedRound:
    from cellmon.monitor.bore.keeping import TypedRound, strokes_of

    of_all = {"rpm": args.rpm, "strokes_per_min": args.strokes_per_min}
    named = ("rpm", "feed_um", "part_temp_c", "master_temp_c", "strokes_per_min")
    numbers = {name: asked.get(name, of_all.get(name)) for name in named}
    return TypedRound(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        readings=readings_given(monitor, asked["readings"]),
        strokes=strokes_of(asked.get("strokes", {})),
        stones=str(asked.get("stones", "")),
        by=str(asked.get("by", args.by)),
        note=str(asked.get("note", "")),
        number=asked.get("round"),
        **{name: None if value is None else float(value) for name, value in numbers.items()},
    )


def _say(
    monitor: Monitor,
    args: argparse.Namespace,
    *,
    kept: bool,
    asked: tuple[str, ...] = (),
    refused: str | None = None,
    next_stones: str | None = None,
) -> None:
    from cellmon.export.documents import document

    answer = document(_answer(monitor, args, next_stones=next_stones), zone=zone_of(monitor))
    told = {"kept": kept, "asked": list(asked), "refused": refused, "bore": answer}
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


def _keep_zero(monitor: Monitor, given: dict[str, Any], *, by: str) -> None:
    from cellmon.monitor.bore.zero import keep_zero

    keep_zero(monitor, str(given["reading"]), state=str(given.get("state", "as-found")), by=by)


# --- questions and answers for a person; the same in a pipe


def _by_hand(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask for the zero, then for one round after another, until the bore ends or the person does."""
    from cellmon.monitor.bore.words import ENDED, WASH

    answer = _answer(monitor, args)
    found = ask(say("Gauge on its master, before (Enter: not checked): "))
    if found is None or found in END:
        return
    if found:
        tried(lambda: _zero_by_hand(monitor, found, state="as-found", by=args.by))
    if not answer.sign_checked:
        _sign_by_hand(monitor, args)
    while answer.next is None or answer.next.step not in ENDED:
        if not _round_by_hand(monitor, args, answer):
            break
        answer = _answer(monitor, args)
        write(["", *(clean(line) for line in bore_lines(answer, cautions=False))])
    left = ask(say("Gauge on its master, after (Enter: not checked): "))
    if left and left not in END:
        tried(lambda: _zero_by_hand(monitor, left, state="as-left", by=args.by))
    if answer.next is not None and answer.next.step == "finished":
        write([say(WASH)])


def _zero_by_hand(monitor: Monitor, typed: str, *, state: str, by: str) -> None:
    """Keep what the gauge read on its master, and say what to do where it stands far from zero."""
    from cellmon.monitor.bore.zero import keep_zero, zero_warning

    warned = zero_warning(monitor.sheet, keep_zero(monitor, typed, state=state, by=by), state=state)
    if warned is not None:
        write([clean(warned)])


def _sign_by_hand(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask once, before the first bore, whether a larger size reads larger."""
    from cellmon.monitor.bore.zero import keep_sign

    text = to_say(
        "Sign check: on something {um} um larger than the master the gauge reads (Enter: not checked): "
    )
    said = ask(say(text, um=20))
    if said and said not in END:
        tried(lambda: keep_sign(monitor, said, larger_um=20.0, by=args.by))


def _round_by_hand(monitor: Monitor, args: argparse.Namespace, answer: Any) -> bool:
    """Ask for one round and keep it; False ends."""
    from cellmon.monitor.bore.keeping import TypedRound, strokes_of

    number: int | None = None
    strokes, stones = strokes_of({}), ""
    if answer.rounds:
        told = answer.next
        advised = f"{told.strokes_full}/{told.strokes_top}/{told.strokes_bottom}"
        text = to_say(
            "Strokes made: full/top/bottom (Enter: {advised}; u: type the last round again; "
            "e: a cell event): "
        )
        made = ask(say(text, advised=advised))
        if made in (None, *END):
            return False
        if made == "e":
            from cellmon.cli.bore_besides import by_hand_event

            by_hand_event(monitor, by=args.by)
            return True
        if made == "u":
            number = answer.rounds[-1].number
            last = answer.rounds[-1]
            made = f"{last.strokes_full}/{last.strokes_top}/{last.strokes_bottom}"
        try:
            strokes = strokes_of(made or advised)
        except WrongUsage as wrong:
            write([str(wrong)])
            return True
        stones = ask(
            say("Stones (Enter: {stones}): ", stones=told.change_to or told.stones or say("as before"))
        ) or (told.change_to or told.stones)
    warm = ask(say("Temperature of the part, C (Enter: not measured): "))
    if warm is None or stones in END or warm in END:
        return False
    readings = asked_readings(monitor, args.part_number)
    if readings is None:
        return False
    typed = TypedRound(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        readings=readings,
        strokes=strokes,
        stones=stones,
        part_temp_c=figure_of(warm),
        rpm=args.rpm,
        strokes_per_min=args.strokes_per_min,
        by=args.by,
        number=number,
    )
    tried(lambda: _keep_if_sure(monitor, typed))
    return True


def _keep_if_sure(monitor: Monitor, typed: TypedRound) -> None:
    again = say("Enter: keep it as typed; n: type the round again: ")
    if sure(monitor.look_at_round(typed).asked, again=again):
        monitor.keep_round(typed)
