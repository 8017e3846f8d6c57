"""Which bore page Bore shows, and all that it shows of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import html, no_update

from cellmon.errors import CellmonError, NotFound
from cellmon.monitor.bore import BoreAnswer
from cellmon.monitor.bore.work import HandBlock
from cellmon.people import Role
from cellmon.words import say
from dashboards import theme
from dashboards.figures.hand_bore import hand_bore_figure
from dashboards.pages import asked, bore_cell, bore_shift, bore_stones, bore_words, parts
from dashboards.pages.bore_asks import again_of, asks_of, bore_key, mode_of, number_of
from dashboards.pages.bore_box import Mode
from dashboards.pages.bore_layout import (
    AFTER,
    ASKS,
    BESIDE,
    BORE,
    BORES,
    CAUTIONS,
    CHECKS,
    FEED,
    FITS,
    HIDDEN,
    LEFT,
    MODES,
    NOTE,
    OFFERED,
    PANEL,
    PATH,
    RATE,
    ROUNDS,
    RPM,
    SENTENCE,
    SERIAL,
    SHEET,
    STONES,
    TAB,
    TITLE,
    TOLD,
    WALLS,
)
from dashboards.pages.bore_record import OF_BORE

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

NOTED = (RPM, RATE, FEED, NOTE)
"""What may be noted of a round besides."""
SHOWN = (
    *((name, "children") for name in (SENTENCE, TOLD, CAUTIONS, OFFERED, BORES, TITLE)),
    *((name, "children") for name in (LEFT, ROUNDS, CHECKS, MODES, AFTER, FITS)),
    (WALLS, "figure"),
    *((name, "data") for name in (BORE, ASKS)),
    *((name, "style") for name in (SHEET, PANEL, "bore-stones-box", BESIDE, OF_BORE)),
    *((name, "value") for name in (SERIAL, STONES, *NOTED)),
    ("bore-stones-options", "options"),
)
"""What `show` answers, and as what of it."""


@dataclass(frozen=True, kw_only=True)
class InHand:
    """Which bore of which block is in the hand, and what is known of the block."""

    part: str
    bore: str
    part_number: str | None
    block: HandBlock | None

    def link_to(self, bore: str, *, part_number: str | None = None) -> str:
        """Return the address of a bore of this block."""
        drawing = part_number or self.part_number
        named = {} if drawing is None else {"part_number": drawing}
        return f"{PATH}?{urlencode({'serial': self.part, 'bore': bore, **named})}"


def chosen_bore(monitor: Monitor, search: str | None, before: Mapping[str, str] | None) -> InHand:
    """Return block and bore that a link names; else those shown before, else the last touched.

    Raises
    ------
    NotFound
        Where no block is named and none was honed by hand yet.
    """
    blocks = {one.part: one for one in monitor.hand_work().blocks}
    named = parts.query_values(search) or dict(before or {})
    part = named.get("serial") or next(iter(blocks), None)
    if part is None:
        raise NotFound(say("No block is in the hand yet: type the serial of one."))
    block = blocks.get(part)
    first = monitor.sheet.part(named.get("part_number")).bores[0]
    bore = named.get("bore") or (first if block is None else block.last_bore)
    return InHand(part=part, bore=bore, part_number=named.get("part_number"), block=block)


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """What stands in the page's controls, and what it asked for last."""

    search: str | None = None
    before: Mapping[str, str] | None = None
    stones: str | None = None
    mode: Mapping[str, Any] | None = None
    skipped: Sequence[str] = ()
    mate: str | None = None
    asks: Mapping[str, Any] | None = None


def show(monitor: Monitor, chosen: Chosen) -> dict[str, Any]:
    """Return all that the page shows of one bore, by what it is shown in."""
    try:
        hand = chosen_bore(monitor, chosen.search, chosen.before)
        asks = chosen.asks
        mine = asks is not None and (asks["part"], asks["bore"]) == (hand.part, hand.bore)
        stones = (chosen.stones or None) if mine else None
        answer = monitor.bore(
            part=hand.part, bore=hand.bore, part_number=hand.part_number, next_stones=stones
        )
    except CellmonError as refusal:
        said = parts.notice(parts.capital(str(refusal)))
        return {**_nothing(), SENTENCE: said, TOLD: bore_cell.newest(monitor), BORES: [], OFFERED: []}
    now = datetime.now(tz=parts.zone_of(monitor))
    mode = mode_of(answer, chosen.mode, chosen.skipped, now=now)
    stones_last = bore_stones.measured_last(monitor)
    found = asks_of(monitor.sheet, answer, mode, number_of(answer, chosen.mode), stones=stones_last)
    may = asked.may(Role.ANSWER)
    shift = {}
    if mode is Mode.MEASURED or (mode is Mode.DONE and (chosen.mode or {}).get("shift")):
        shift = _of_shift(monitor, answer, hand, done=mode is Mode.DONE)
    return {
        **_of_bore(monitor, answer, hand),
        TITLE: found["title"],
        ASKS: found if may else None,
        PANEL: {} if may else HIDDEN,
        MODES: modes(answer, mode),
        AFTER: bore_words.after_of(answer, waiting(monitor, answer, hand), hand.link_to)
        if mode is Mode.DONE
        else [],
        FITS: fits_words(monitor, answer, chosen.mate),
        **stones_of(monitor, answer, found, asks),
        **shift,
    }


def _of_shift(monitor: Monitor, answer: BoreAnswer, hand: InHand, *, done: bool) -> dict[str, Any]:
    """Return what the page says otherwise while bores of a shift are typed: no round is advised of them."""
    story = bore_shift.story_of(monitor, hand.part)
    return {
        SENTENCE: bore_shift.lead_of(hand.part, hand.bore, story, done=done),
        TOLD: [],
        BORES: _bores(monitor, answer, hand, bore_shift.found_of(story)),
        AFTER: [bore_shift.whole_link(hand.part)] if done else [],
    }


def _bores(
    monitor: Monitor, answer: BoreAnswer, hand: InHand, found_in_shift: Mapping[str, str] | None = None
) -> list[Any]:
    """Return the links to the drawings of the sheet, where it has several, and to the bores of the block."""
    drawing = monitor.sheet.part(answer.part_number)
    several = [one.number for one in monitor.sheet.parts] if len(monitor.sheet.parts) > 1 else []
    return [
        *bore_words.drawings_of(several, drawing.number, lambda n: hand.link_to(hand.bore, part_number=n)),
        *bore_words.bores_of(
            drawing.bores, hand.block, hand.bore, hand.link_to, found_in_shift=found_in_shift
        ),
    ]


def waiting(monitor: Monitor, answer: BoreAnswer, hand: InHand) -> list[str]:
    """Return the bores of the block that were not begun."""
    begun = {} if hand.block is None else hand.block.rounds
    return [one for one in monitor.sheet.part(answer.part_number).bores if one not in begun]


def _of_bore(monitor: Monitor, answer: BoreAnswer, hand: InHand) -> dict[str, Any]:
    """Return where the bore stands, whatever is typed next."""
    blocks = monitor.hand_work().blocks
    before = bore_cell.found(monitor, hand.part, hand.bore) if answer.see is None else []
    return {
        SENTENCE: bore_words.lead_of(answer),
        TOLD: [*before, *bore_words.told_of(answer, hand.link_to)],
        CAUTIONS: bore_words.cautions(answer),
        OFFERED: [html.Option(value=one.part) for one in blocks],
        SERIAL: hand.part,
        BORE: {"serial": hand.part, "bore": hand.bore, "part_number": answer.part_number},
        BORES: _bores(monitor, answer, hand),
        SHEET: parts.HIDDEN if answer.see is None else {},
        OF_BORE: {},
        WALLS: theme.asked(
            hand_bore_figure(answer), hand.part, hand.bore, *(r.at for r in answer.rounds[-1:])
        ),
        LEFT: None if answer.see is None else bore_words.left_table(answer, answer.see),
        ROUNDS: bore_words.rounds_table(answer),
        CHECKS: [*bore_words.checks_of(answer), *bore_stones.told(bore_stones.measured_last(monitor))],
    }


def fits_words(monitor: Monitor, answer: BoreAnswer, mate: str | None) -> str:
    """Return the clearance of the part that goes in, or why it is not known; nothing where none is named."""
    named = (mate or "").strip()
    if not named or answer.see is None:
        return ""
    try:
        found = monitor.bore(
            part=answer.part, bore=answer.bore, part_number=answer.part_number, mating_part=named
        )
    except CellmonError as refusal:
        return parts.capital(str(refusal))
    return "" if found.clearance is None else bore_words.clearance_words(found.clearance)


def _nothing() -> dict[str, Any]:
    empty = dict.fromkeys((TOLD, CAUTIONS, TITLE, LEFT, ROUNDS, CHECKS, MODES, AFTER, FITS))
    kept = dict.fromkeys((SERIAL, BORE, STONES, "bore-stones-options", *NOTED), no_update)
    hidden = {SHEET: parts.HIDDEN, PANEL: HIDDEN, "bore-stones-box": HIDDEN, BESIDE: HIDDEN, OF_BORE: HIDDEN}
    return {**empty, **kept, **hidden, WALLS: theme.notice(""), ASKS: None}


def stones_of(
    monitor: Monitor, answer: BoreAnswer, found: Mapping[str, Any], asks: Mapping[str, Any] | None
) -> dict[str, Any]:
    """Return the choice of stones: as in the last round until another round is begun."""
    hand, told = monitor.sheet.hand, answer.next
    names = () if hand is None else hand.stones
    same = asks is not None and asks.get("key") == found["key"]
    rounds = found["mode"] == Mode.ROUND and found["number"] > 0
    before = answer.rounds[found["number"]].stones if found["again"] else (told.stones if told else None)
    return {
        STONES: no_update if same else before,
        "bore-stones-options": [{"label": name, "value": name} for name in names],
        "bore-stones-box": {} if names and rounds else HIDDEN,
        BESIDE: {} if rounds else HIDDEN,
        **noted_of(answer, found, asks),
    }


def noted_of(answer: BoreAnswer, found: Mapping[str, Any], asks: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what was noted of a round that is typed again; a new one begins with the last one's speeds."""
    if found["mode"] != Mode.ROUND or (asks or {}).get("key") == found["key"]:
        return dict.fromkeys(NOTED, no_update)
    if found["again"]:
        of = answer.rounds[found["number"]]
        return {RPM: _text(of.rpm), RATE: _text(of.strokes_per_min), FEED: _text(of.feed_um), NOTE: of.note}
    if asks is None:  # a page that was loaded again still holds what was typed
        return dict.fromkeys(NOTED, no_update)
    last = answer.rounds[-1] if answer.rounds else None
    speeds = (None, None) if last is None else (last.rpm, last.strokes_per_min)
    return {RPM: _text(speeds[0]), RATE: _text(speeds[1]), FEED: "", NOTE: ""}


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def modes(answer: BoreAnswer, mode: Mode) -> list[Any]:
    """Return what else may be typed: the checks of the gauge, and the last rounds again."""
    others = {
        Mode.ROUND: say("The next round"),
        Mode.FOUND: say("Zero, before"),
        Mode.SIGN: say("Sign check"),
        Mode.LEFT: say("Zero, after"),
        Mode.MEASURED: say("A bore of a shift"),
        Mode.STONES: say("Thickness of the stones"),
        Mode.EVENT: say("A cell event"),
        Mode.CHECK: say("A gauge on a master"),
    }
    found = [_tab(answer, words, one) for one, words in others.items() if one is not mode]
    for number in again_of(answer):
        words = say("Round {number} again", number=number) if number else say("As received, again")
        found.append(_tab(answer, words, Mode.ROUND, number))
    return [html.Span(say("Type instead:")), *found]


def _tab(answer: BoreAnswer, words: str, mode: Mode, number: int | None = None) -> html.Button:
    of = f"{bore_key(answer)}|{mode.value}|{'' if number is None else number}"
    return html.Button(words, id={"type": TAB, "of": of}, className="step")


def chosen_tab(clicked: Any, clicks: Sequence[int | None]) -> Any:
    """Return what a person chose to type, from the button that was pressed."""
    if not isinstance(clicked, dict) or not any(clicks):
        return no_update
    part, bore, mode, number = clicked["of"].rsplit("|", 3)
    return {"of": f"{part}|{bore}", "mode": mode, "number": int(number) if number else None}
