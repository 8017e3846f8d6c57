"""Stones in the hand on page Bore: thickness typed box by box, and what the last measurement says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dash import html

from cellmon import lengths, local
from cellmon.errors import NotFound, WrongUsage
from cellmon.monitor.bore.stones import PLACES, HandStone, HandStonesAnswer
from cellmon.sheet import Sheet
from cellmon.words import say, say_many
from dashboards.pages import parts
from dashboards.pages.bore_box import Box

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

COUNT = 4
"""Stones of a set whose kind the sheet does not name."""
SET, HOLDER, WAY_UP = "stone_set", "holder", "way_up"


def measured_last(monitor: Monitor) -> HandStonesAnswer | None:
    """Return the set that was measured last; None where none was."""
    try:
        return monitor.stones_in_hand()
    except NotFound:
        return None


def stone_boxes(sheet: Sheet, last: HandStonesAnswer | None) -> list[Box]:
    """Return the boxes for the thickness of each stone, as it was measured last or numbered."""
    nothing = say("Enter: not measured")
    known = {} if last is None else {one.stone: one for one in last.stones}
    names = list(known) or [str(n) for n in range(1, _count(sheet) + 1)]
    name = None if last is None else last.stone_set
    hint = "" if name is None else say("Enter: {stone_set}", stone_set=name)
    boxes = [Box(name=SET, kind="name", label=say("Stone set"), default=name, hint=hint)]
    for stone in names:
        row = say("stone {stone}", stone=stone)
        of = known.get(stone)
        boxes += [
            Box(
                name=f"{stone}_{place}",
                kind="thickness",
                label=f"{row} {said}",
                default="",
                hint=_before(of, place) or nothing,
                plane=row,
                direction=said,
            )
            for place, said in zip(PLACES, (say("top"), say("middle"), say("bottom")), strict=True)
        ]
        boxes += [
            Box(
                name=f"{stone}_{what}",
                kind="name",
                label=f"{row} {said}",
                default="",
                hint=say("Enter: not said"),
                plane=row,
                direction=said,
            )
            for what, said in ((HOLDER, say("holder")), (WAY_UP, say("way up")))
        ]
    return boxes


def _count(sheet: Sheet) -> int:
    kinds = sheet.stone_kinds
    return kinds[0].stones_per_set if kinds else COUNT


def _before(of: HandStone | None, place: str) -> str:
    mm = None if of is None else of.thickness_mm.get(place)
    if mm is None:
        return ""
    return say("mm; last {mm}. Enter: not measured", mm=local.number(mm, 3))


def own_places(last: HandStonesAnswer | None) -> dict[str, str]:
    """Return where each stone belongs, as it would be typed: it goes back there unless said otherwise."""
    if last is None:
        return {}
    said = {f"{one.stone}_{HOLDER}": one.holder for one in last.stones}
    said |= {f"{one.stone}_{WAY_UP}": one.way_up for one in last.stones}
    return {name: text for name, text in said.items() if text}


def rows_of(asks: Mapping[str, Any], figures: Mapping[str, str], *, by: str, at: str) -> list[dict[str, str]]:
    """Return the typed thickness as rows of the log.

    Raises
    ------
    WrongUsage
        When no set is named, or nothing was measured.
    """
    name = figures.get(SET, "").strip()
    if not name:
        raise WrongUsage(say("Say which set was measured."))
    typed = {key: text.strip() for key, text in figures.items()}
    rows = []
    for box in asks["boxes"]:
        if box["kind"] != "thickness" or not typed.get(box["name"]):
            continue
        stone, place = box["name"].rsplit("_", 1)
        rows.append(
            {
                "at": at,
                "stone_set": name,
                "stone": stone,
                "position": place,
                "thickness_mm": typed[box["name"]],
                "holder": typed.get(f"{stone}_{HOLDER}", ""),
                "way_up": typed.get(f"{stone}_{WAY_UP}", ""),
                "by": by,
            }
        )
    if not rows:
        raise WrongUsage(say("Type the thickness of a stone at one place at least."))
    return rows


def kept_words(monitor: Monitor, rows: list[dict[str, str]]) -> str:
    """Return that thickness is kept, and what the set is fit for by it."""
    name = rows[0]["stone_set"]
    kept = say_many(
        "{count} thickness of {stone_set} is kept.",
        "{count} thicknesses of {stone_set} are kept.",
        len(rows),
        stone_set=name,
    )
    try:
        return f"{kept} {monitor.stones_in_hand(stone_set=name).sentence}"
    except NotFound as refusal:
        return f"{kept} {parts.capital(str(refusal))}."


def told(last: HandStonesAnswer | None) -> list[Any]:
    """Return what the last measurement of stones says, with what is to be taken off where."""
    if last is None:
        return []
    heads = [say("stone"), say("place"), say("mm"), say("to take off"), say("to make all even")]
    heads += [say("holder"), say("way up")]
    rows = [_row(one, place) for one in last.stones for place in one.thickness_mm]
    when = say("{unit} where not said otherwise; measured {when}", unit=lengths.unit(), when=_when(last))
    table = html.Table(
        [
            html.Caption(when),
            html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])),
            html.Tbody([html.Tr([html.Td(cell) for cell in row]) for row in rows]),
        ]
    )
    moved = ", ".join(one.stone for one in last.stones if one.moved)
    back = say("Back to its own holder and way up: {stones}.", stones=moved) if moved else ""
    said = [words for words in (last.sentence, last.due, back) if words]
    return [
        html.H2(say("Stones {stone_set}", stone_set=last.stone_set)),
        html.P(" ".join(said), className="told"),
        parts.across(table, say("Thickness of the stones")),
        html.P(last.caution, className="aside"),
    ]


def _when(last: HandStonesAnswer) -> str:
    return parts.when(last.measured_at)


def _row(one: HandStone, place: str) -> list[str]:
    said = {"top": say("top"), "middle": say("middle"), "bottom": say("bottom")}[place]
    off, even = (lengths.bare(um[place], 0) for um in (one.take_off_um, one.to_even_um))
    return [
        one.stone,
        said,
        local.number(one.thickness_mm[place], 3),
        off,
        even,
        one.holder or "–",
        one.way_up or "–",
    ]
