"""What is asked at the bore, box by box: the gauge on its master, its sign, a round; and how each is read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from cellmon import lengths, local
from cellmon.errors import CellmonError
from cellmon.monitor.bore import BoreAnswer, BoreRound
from cellmon.monitor.bore.entry import Dial, read_entry, read_figure, read_temperature
from cellmon.monitor.bore.keeping import UNDO_BACK, strokes_of
from cellmon.monitor.bore.stones import HandStonesAnswer
from cellmon.monitor.bore.words import ENDED
from cellmon.sheet import Sheet
from cellmon.units import LengthUnit
from cellmon.words import say
from dashboards import theme
from dashboards.pages import bore_besides, bore_stones
from dashboards.pages.bore_box import Box, Mode

CHECKED_FOR = timedelta(hours=12)
"""A zero check holds as that before the bore for so long."""
LARGER_UM = "20"
"""How much larger than its master the thing of the sign check is, unless said otherwise."""


def mode_of(
    answer: BoreAnswer, chosen: Mapping[str, Any] | None, skipped: Sequence[str], *, now: datetime
) -> Mode:
    """Return what is to be typed next: what a person chose, else zero, sign, rounds, and zero again."""
    if chosen and chosen.get("of") == bore_key(answer):
        return Mode(chosen["mode"])
    if chosen and chosen.get("shift"):  # the bores of a shift are typed one after another, block after block
        return Mode.MEASURED
    ended = answer.next is not None and answer.next.step in ENDED
    if ended:
        last = answer.rounds[-1].at
        after = any(one.state == Mode.LEFT and one.at >= last for one in answer.zero_checks)
        return Mode.DONE if after or Mode.LEFT in skipped else Mode.LEFT
    fresh = any(one.state == Mode.FOUND and now - one.at < CHECKED_FOR for one in answer.zero_checks)
    if not fresh and Mode.FOUND not in skipped:
        return Mode.FOUND
    if not answer.sign_checked and Mode.SIGN not in skipped:
        return Mode.SIGN
    return Mode.ROUND


def bore_key(answer: BoreAnswer) -> str:
    """Return which bore of which block is in the hand."""
    return f"{answer.part}|{answer.bore}"


def number_of(answer: BoreAnswer, chosen: Mapping[str, Any] | None) -> int:
    """Return the number of the round that is typed: the next, or an earlier one again."""
    again = (chosen or {}).get("number")
    newest = len(answer.rounds)
    if again is None or (chosen or {}).get("of") != bore_key(answer):
        return newest
    return again if max(newest - UNDO_BACK, 0) <= again < newest else newest


def again_of(answer: BoreAnswer) -> list[int]:
    """Return the rounds that can be typed again, the last first."""
    newest = len(answer.rounds)
    return list(range(newest - 1, max(newest - UNDO_BACK, 0) - 1, -1))


def asks_of(
    sheet: Sheet, answer: BoreAnswer, mode: Mode, number: int, *, stones: HandStonesAnswer | None = None
) -> dict[str, Any]:
    """Return all that the browser needs to ask box after box, and what a figure is read with.

    `stones` are those measured last.
    """
    again = mode is Mode.ROUND and number < len(answer.rounds)
    of = answer.rounds[number] if again else None
    if mode is Mode.STONES:
        boxes, texts = bore_stones.stone_boxes(sheet, stones), bore_stones.own_places(stones)
    else:
        boxes, texts = boxes_of(sheet, answer, mode, number), {} if of is None else filled(of)
    told = answer.next
    return {
        "key": "|".join((sheet.cell.name, bore_key(answer), mode, str(number))),
        "mode": mode.value,
        "part": answer.part,
        "bore": answer.bore,
        "part_number": answer.part_number,
        "number": number,
        "again": again,
        "title": title_of(answer, mode, number, again=again),
        "boxes": [asdict(box) for box in boxes],
        "filled": texts,
        "dial": asdict(Dial.of(sheet, sheet.part(answer.part_number))),
        "expected_um": {} if told is None or again or mode is not Mode.ROUND else told.expected_um,
        "names": bore_besides.names_of(sheet, mode),
        "point": local.separators()[0],
        "words": words(),
    }


def title_of(answer: BoreAnswer, mode: Mode, number: int, *, again: bool) -> str:
    """Return what is typed now, as a heading."""
    if mode is Mode.ROUND:
        return _round_title(answer.bore, number, again=again)
    return {
        Mode.FOUND: say("Before: the gauge on its master"),
        Mode.LEFT: say("After: the gauge on its master"),
        Mode.SIGN: say("Sign check: does larger read larger?"),
        Mode.MEASURED: say("Bore {bore} as one of a shift", bore=answer.bore),
        Mode.EVENT: say("A cell event"),
        Mode.STONES: say("Thickness of the stones, mm"),
        Mode.CHECK: say("A gauge on a master"),
        Mode.DONE: say("Bore {bore}: nothing more to type", bore=answer.bore),
    }[mode]


def _round_title(bore: str, number: int, *, again: bool) -> str:
    if again:
        return say("Bore {bore}, round {number} again", bore=bore, number=number)
    if number == 0:
        return say("Bore {bore} as received", bore=bore)
    return say("Bore {bore}, round {number}", bore=bore, number=number)


def boxes_of(sheet: Sheet, answer: BoreAnswer, mode: Mode, number: int) -> list[Box]:
    """Return the boxes of what is typed, in the order in which they are asked."""
    warm = say("Enter: not measured")
    if mode in (Mode.FOUND, Mode.LEFT):
        skip = say("Enter: not checked")
        return [
            Box(name="zero", kind="zero", label=say("Gauge on its master"), default="", hint=skip),
            Box(name="master_c", kind="temperature", label=say("Master, °C"), default="", hint=warm),
        ]
    if mode is Mode.SIGN:
        skip, larger = say("Enter: not checked"), say("Larger than the master by, µm")
        usual = say("Enter: {um}", um=LARGER_UM)
        return [
            Box(name="larger_um", kind="larger", label=larger, default=LARGER_UM, hint=usual),
            Box(name="sign", kind="sign", label=say("The gauge on it"), default="", hint=skip),
        ]
    if mode is Mode.DONE:
        return []
    if mode in (Mode.EVENT, Mode.CHECK):
        return bore_besides.event_boxes(sheet) if mode is Mode.EVENT else bore_besides.check_boxes(sheet)
    warmths = [
        Box(name=name, kind="temperature", label=label, default="", hint=warm)
        for name, label in (("part_c", say("Part, °C")), ("master_c", say("Master, °C")))
    ]
    if mode is Mode.MEASURED:
        return [bore_besides.honed_on(sheet, answer.bore), warmths[0], *_places(sheet)]
    return [*_strokes(answer, number), *warmths, *_places(sheet)]


def _strokes(answer: BoreAnswer, number: int) -> list[Box]:
    if number == 0:
        return []
    told = answer.next
    advised = "0" if told is None else f"{told.strokes_full}/{told.strokes_top}/{told.strokes_bottom}"
    label = say("Strokes: full / top / bottom")
    hint = say("Enter: as advised, {strokes}", strokes=advised)
    if told is not None and told.change_to:
        first = say("First fit {stones} and choose them above.", stones=told.change_to)
        return [Box(name="strokes", kind="strokes", label=label, hint=first)]
    return [Box(name="strokes", kind="strokes", label=label, default=advised, hint=hint)]


def _places(sheet: Sheet) -> list[Box]:
    measuring = sheet.measuring
    return [
        Box(
            name=f"{plane}_{direction}",
            kind="reading",
            label=f"{plane} {direction}",
            plane=plane,
            direction=direction,
        )
        for plane in measuring.planes
        for direction in measuring.directions
    ]


def filled(one: BoreRound) -> dict[str, str]:
    """Return an earlier round as it would be typed, so that one figure of it can be put right."""
    digits = {name: f"{um:+.4f}".rstrip("0").rstrip(".") for name, um in one.um.items() if um is not None}
    texts = {name: f"{um}um" for name, um in digits.items()}
    for name, c in (("part_c", one.part_temp_c), ("master_c", one.master_temp_c)):
        texts[name] = "" if c is None else f"{c:g}"
    if one.number:
        texts["strokes"] = f"{one.strokes_full}/{one.strokes_top}/{one.strokes_bottom}"
    return texts


def words() -> dict[str, str]:
    """Return what the browser itself says."""
    return {
        "accept": say("Enter"),
        "back": say("Back"),
        "delete": say("Delete the last sign"),
        "keys": say("Keys"),
        "boxes": say("What was typed; tap one to correct it"),
        "empty": say("not typed yet"),
        "needed": say("Type the figure."),
        "sure": say("It is so: Enter"),
        "again": say("Type it again"),
        "waits": say("Looking at it …"),
        "whole": say("Enter keeps it"),
        "asked": say("First see what is asked"),
        "keep": say("Keep it"),
        "keeping": say("Keeping …"),
        "plus": say("plus"),
        "minus": say("minus"),
        "stroke": say("slash"),
    }


# --- how a typed figure is read


def look_at(typed: Mapping[str, Any] | None, asks: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return how every typed figure is understood, and what is odd about it; the store is not asked."""
    if not typed or not asks or typed.get("key") != asks["key"]:
        return {}
    boxes = {box["name"]: box for box in asks["boxes"]}
    figures = typed.get("figures", {})
    return {
        "key": asks["key"],
        "figures": {
            name: {"text": text, **read_box(boxes[name], str(text), asks)}
            for name, text in figures.items()
            if name in boxes
        },
    }


def read_box(box: Mapping[str, Any], text: str, asks: Mapping[str, Any]) -> dict[str, Any]:
    """Return one figure as it is understood: `shown`, the questions `asked`, or why it is `refused`."""
    if not text.strip() and box["default"] == "":
        return {"shown": "–", "asked": [], "refused": None}
    try:
        shown, asked = READ[box["kind"]](text, box, asks)
    except CellmonError as refusal:
        return {"shown": "", "asked": [], "refused": str(refusal)}
    return {"shown": shown, "asked": list(asked), "refused": None}


def _reading(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    dial = _dial(asks)
    typed = read_entry(text, dial, expected_um=asks["expected_um"].get(box["plane"]))
    size = lengths.size_said(dial.nominal_mm + typed.um / 1000, 4)
    return f"{size}, {theme.um_said(typed.um)}", typed.asked


def _on_master(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    dial = _dial(asks)
    typed = read_entry(text, dial, expected_um=dial.set_um)
    return say("{um} from zero", um=theme.um_said(typed.um - dial.set_um)), typed.asked


def _strokes_made(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    made = strokes_of(text)
    said = {"full": made.full, "top": made.top, "bottom": made.bottom}
    return say("{full} full, {top} top, {bottom} bottom", **said), ()


def _temperature(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    found = read_temperature(text)
    return say("{c} °C", c=local.number(found.c, 1)), found.asked


def _larger(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return say("{um} µm", um=local.significant(read_figure(text))), ()


def _dial(asks: Mapping[str, Any]) -> Dial:
    return Dial(**{**asks["dial"], "unit": LengthUnit(asks["dial"]["unit"])})


READ = {
    **bore_besides.READ,
    "reading": _reading,
    "zero": _on_master,
    "sign": _on_master,
    "strokes": _strokes_made,
    "temperature": _temperature,
    "larger": _larger,
}
