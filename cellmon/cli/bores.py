"""The command `bore`: one bore in the hand, measured, seen and advised round by round to its end."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cellmon.cli.arguments import cell_argument, json_argument, open_monitor, zone_of
from cellmon.cli.bore_lines import bore_lines, hand_stone_lines
from cellmon.cli.showing import show
from cellmon.cli.terminal import clean, write
from cellmon.errors import CellmonError, WrongUsage

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore.keeping import TypedRound

Places = list[tuple[str, str]]
WASH = "Now wash it with hot water and detergent until a white cloth stays white, dry it, oil it at once."
BACK, END = ("b", "back"), ("q", "quit")


def bore_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `bore`."""
    parser.add_argument("part", metavar="PART", nargs="?", help="the serial of the block")
    parser.add_argument("bore", metavar="BORE", nargs="?", help="the bore, as the sheet names it")
    parser.add_argument("--stones", metavar="SET", help="instead: is a set flat, parallel and matched")
    parser.add_argument("--part-number", metavar="P", help="the drawing, where the sheet names several")
    parser.add_argument("--by", metavar="NAME", default="", help="who measures")
    parser.add_argument("--show", action="store_true", help="say what is known and what is next, and end")
    parser.add_argument(
        "--record", metavar="FILE", type=Path, help="write the bore's record, .csv or .json, and end"
    )
    cell_argument(parser)
    json_argument(parser)


def bore(args: argparse.Namespace) -> int:
    """Measure and size one bore, round by round."""
    monitor = open_monitor(args)
    if args.stones is not None:
        show(args, monitor, monitor.stones_in_hand(stone_set=args.stones), hand_stone_lines)
        return 0
    if args.part is None or args.bore is None:
        raise WrongUsage("which block and which bore: cellmon bore SERIAL BORE")
    if args.record is not None:
        from cellmon.export.bore_record import write_record

        write_record(_answer(monitor, args), args.record, zone=zone_of(monitor))
        write([str(args.record)])
        return 0
    if args.json:
        return _by_program(monitor, args)
    write([clean(line) for line in bore_lines(_answer(monitor, args), cautions=not args.show)])
    if not args.show:
        _by_hand(monitor, args)
    return 0


def _answer(monitor: Monitor, args: argparse.Namespace, *, next_stones: str | None = None) -> Any:
    return monitor.bore(part=args.part, bore=args.bore, part_number=args.part_number, next_stones=next_stones)


def _places(monitor: Monitor) -> Places:
    measuring = monitor.sheet.measuring
    return [(plane, direction) for plane in measuring.planes for direction in measuring.directions]


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
        raise WrongUsage("one JSON object a line")
    unknown = set(asked) - {
        *("readings", "strokes", "stones", "rpm", "feed_um", "part_temp_c", "by", "note", "round", "sure"),
        *("bore", "next_stones", "zero", "sign"),
    }
    if unknown:
        raise WrongUsage(f"no such key: {', '.join(sorted(unknown))}")
    if "bore" in asked:
        _go_to(monitor, args, str(asked["bore"]))
    if "zero" in asked:
        _keep_zero(monitor, asked["zero"], by=str(asked.get("by", args.by)))
    if "sign" in asked:
        from cellmon.monitor.bore.zero import keep_sign

        larger = float(asked["sign"]["larger_um"])
        keep_sign(monitor, str(asked["sign"]["reading"]), larger_um=larger, by=str(asked.get("by", args.by)))
    if "readings" not in asked:
        _say(monitor, args, kept="zero" in asked or "sign" in asked, next_stones=asked.get("next_stones"))
        return
    typed = _typed(monitor, args, asked)
    looked = monitor.look_at_round(typed)
    kept = not looked.asked or bool(asked.get("sure"))
    if kept:
        monitor.keep_round(typed)
    _say(monitor, args, kept=kept, asked=looked.asked, next_stones=asked.get("next_stones"))


def _go_to(monitor: Monitor, args: argparse.Namespace, bore: str) -> None:
    """Go on with another bore of the block; one that the sheet does not name is refused."""
    if bore not in monitor.sheet.part(args.part_number).bores:
        raise WrongUsage(f"no bore {bore} in the sheet")
    args.bore = bore


def _typed(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> TypedRound:
    from cellmon.monitor.bore.keeping import TypedRound, strokes_of

    places, given = _places(monitor), asked["readings"]
    if isinstance(given, dict):
        named = {f"{plane}_{direction}": (plane, direction) for plane, direction in places}
        readings = {named.get(key, (key, "")): str(value) for key, value in given.items()}
    else:
        if len(given) != len(places):
            raise WrongUsage(f"{len(places)} readings are needed, not {len(given)}")
        readings = dict(zip(places, map(str, given), strict=True))
    numbers = {name: asked.get(name) for name in ("rpm", "feed_um", "part_temp_c")}
    return TypedRound(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        readings=readings,
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
    from cellmon.monitor.bore.zero import keep_zero

    answer = _answer(monitor, args)
    zero = _ask("Gauge on its master, before (Enter: not checked): ")
    if zero in (None, *END):
        return
    if zero:
        _tried(lambda: keep_zero(monitor, zero, state="as-found", by=args.by))
    if not answer.sign_checked:
        _sign_by_hand(monitor, args)
    while answer.next is None or answer.next.step not in ("finished", "cannot be saved"):
        if not _round_by_hand(monitor, args, answer):
            break
        answer = _answer(monitor, args)
        write(["", *(clean(line) for line in bore_lines(answer, cautions=False))])
    zero = _ask("Gauge on its master, after (Enter: not checked): ")
    if zero and zero not in END:
        _tried(lambda: keep_zero(monitor, zero, state="as-left", by=args.by))
    if answer.next is not None and answer.next.step == "finished":
        write([WASH])


def _sign_by_hand(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask once, before the first bore, whether a larger size reads larger."""
    from cellmon.monitor.bore.zero import keep_sign

    words = "Sign check: on something 20 um larger than the master the gauge reads (Enter: not checked): "
    said = _ask(words)
    if said and said not in END:
        _tried(lambda: keep_sign(monitor, said, larger_um=20.0, by=args.by))


def _round_by_hand(monitor: Monitor, args: argparse.Namespace, answer: Any) -> bool:
    """Ask for one round and keep it; False ends."""
    from cellmon.monitor.bore.keeping import TypedRound, strokes_of

    number: int | None = None
    strokes, stones = strokes_of({}), ""
    if answer.rounds:
        told = answer.next
        advised = f"{told.strokes_full}/{told.strokes_top}/{told.strokes_bottom}"
        made = _ask(f"Strokes made: full/top/bottom (Enter: {advised}; u: type the last round again): ")
        if made in (None, *END):
            return False
        if made == "u":
            number = answer.rounds[-1].number
            last = answer.rounds[-1]
            made = f"{last.strokes_full}/{last.strokes_top}/{last.strokes_bottom}"
        try:
            strokes = strokes_of(made or advised)
        except WrongUsage as wrong:
            write([str(wrong)])
            return True
        stones = _ask(f"Stones (Enter: {told.change_to or told.stones or 'as before'}): ") or (
            told.change_to or told.stones
        )
    warm = _ask("Temperature of the part, C (Enter: not measured): ")
    if warm is None or stones in END or warm in END:
        return False
    readings = _readings(monitor, args)
    if readings is None:
        return False
    typed = TypedRound(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        readings=readings,
        strokes=strokes,
        stones=stones,
        part_temp_c=_figure(warm),
        by=args.by,
        number=number,
    )
    _tried(lambda: _keep_if_sure(monitor, typed))
    return True


def _keep_if_sure(monitor: Monitor, typed: TypedRound) -> None:
    looked = monitor.look_at_round(typed)
    write([f"? {clean(one)}" for one in looked.asked])
    if looked.asked and _ask("Enter: keep it as typed; n: type the round again: ") != "":
        write(["Nothing was kept."])
        return
    monitor.keep_round(typed)


def _readings(monitor: Monitor, args: argparse.Namespace) -> dict[tuple[str, str], str] | None:
    """Ask for one reading after another; back goes to the one before."""
    from cellmon.monitor.bore.entry import Dial, read_entry

    places = _places(monitor)
    dial = Dial.of(monitor.sheet, monitor.sheet.part(args.part_number))
    found: dict[tuple[str, str], str] = {}
    while len(found) < len(places):
        place = places[len(found)]
        said = _ask(f"  {' '.join(place)}: ")
        if said is None or said in END:
            return None
        if said in BACK:
            if found:
                found.popitem()
            continue
        try:
            typed = read_entry(said, dial)
        except WrongUsage as wrong:
            write([f"  {wrong}"])
            continue
        write([f"    {dial.nominal_mm + typed.um / 1000:.4f} mm", *(f"  ? {one}" for one in typed.asked)])
        if typed.asked and _ask("  Enter: yes; else type it again: ") != "":
            continue
        found[place] = said
    return found


def _figure(words: str) -> float | None:
    try:
        return float(words.replace(",", ".")) if words else None
    except ValueError:
        write(["No figure: the temperature was left out."])
        return None


def _tried(do: Any) -> None:
    try:
        do()
    except CellmonError as refusal:
        write([clean(str(refusal))])


def _ask(words: str) -> str | None:
    """Return one typed line without its ends, or None at the end of the input."""
    sys.stdout.write(words)
    sys.stdout.flush()
    line = next(_lines(), None)
    if not sys.stdin.isatty():
        sys.stdout.write("\n")
    return None if line is None else line.strip()


def _lines() -> Iterator[str]:
    line = sys.stdin.readline()
    if line:
        yield line
