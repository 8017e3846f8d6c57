"""What `cellmon bore` prints of one bore."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import note_line, number, plain, signed
from cellmon.monitor.bore.words import ENDED, FEATURES
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.cli.showing import Look
    from cellmon.monitor.bore import BoreAnswer, BoreNext, BoreSeen
    from cellmon.monitor.bore.clearances import BoreClearance
    from cellmon.monitor.bore.form import FormHeld
    from cellmon.monitor.bore.stones import HandStonesAnswer


def bore_lines(answer: BoreAnswer, *, cautions: bool) -> list[str]:
    """Return the sentence, each place with what is left, what a stroke takes and what the round will do."""
    lines = [answer.sentence]
    if answer.rounds and answer.rounds[-1].kept_sentence:
        lines.insert(0, answer.rounds[-1].kept_sentence)
    if answer.see is not None:
        lines += ["", *_places(answer.see)]
    if answer.next is not None:
        lines += answer.next.reasons
    if answer.clearance is not None:
        lines.append(_clearance(answer.clearance))
    if answer.crosshatch is not None and answer.crosshatch.mid_stroke_deg is not None:
        mid, mean = answer.crosshatch.mid_stroke_deg, answer.crosshatch.mean_deg
        lines.append(
            say(
                "Crosshatch by the last speeds: {mid} degrees included mid-stroke, {mean} on the mean.",
                mid=f"{mid:.0f}",
                mean=f"{mean:.0f}",
            )
        )
    if answer.next is not None and answer.next.step not in ENDED:
        lines += ["", *_next(answer.next)]
    lines += [note_line(note) for note in answer.notes]
    if cautions:
        lines = [say("Cautions"), *(f"  - {caution}" for caution in answer.cautions), "", *lines]
    return lines


_COLUMNS = (
    text("place"),
    figure("um from nominal"),
    figure("to lower"),
    figure("to target"),
    figure("to upper"),
)


def _places(see: BoreSeen) -> Sequence[str]:
    rows = [
        [
            f"{p.plane} {p.direction}",
            signed(p.um, decimals=1),
            number(p.to_lower_um, decimals=1),
            number(p.to_target_um, decimals=1),
            number(p.to_upper_um, decimals=1),
        ]
        for p in see.places
    ]
    each = say("Each +- {um} um (k = 2), of diameter.", um=number(see.uncertainty_um, decimals=1))
    lines = [*table(_COLUMNS, rows, width=None), each]
    if see.taper_um is not None:
        told = to_say("Top less bottom {um} um, less than the gauge can tell.")
        if see.taper_told:
            told = to_say("Top less bottom {um} um.")
        lines.append(say(told, um=signed(see.taper_um, decimals=1)))
    lines += [_form(one) for one in see.form]
    oval = [
        say("{plane} wide along {direction}", plane=plane, direction=direction)
        for plane, direction in see.out_of_round.items()
        if direction
    ]
    return [*lines, *([say("Out of round: {places}.", places=", ".join(oval))] if oval else [])]


def _form(one: FormHeld) -> str:
    text_ = to_say("{feature} {um} um, allowed from {lower} to {upper}: {verdict}.")
    if one.lower_um is None:
        text_ = to_say("{feature} {um} um, allowed up to {upper}: {verdict}.")
    elif one.upper_um is None:
        text_ = to_say("{feature} {um} um, allowed from {lower}: {verdict}.")
    return say(
        text_,
        feature=say(FEATURES[one.feature]),
        um=signed(one.um, decimals=1),
        lower="" if one.lower_um is None else plain(one.lower_um),
        upper="" if one.upper_um is None else plain(one.upper_um),
        verdict=say(one.verdict),
    )


def _clearance(room: BoreClearance) -> str:
    said = say(
        "Clearance of {part}: {least} um at the tightest place, {mean} um on average.",
        part=room.mating_part,
        least=number(room.least_um, decimals=1),
        mean=number(room.mean_um, decimals=1),
    )
    if room.verdict is None:
        return said
    allowed = say(
        "Allowed {lower} to {upper} um: {verdict}.",
        lower=number(room.lower_um, decimals=0),
        upper=number(room.upper_um, decimals=0),
        verdict=say(room.verdict),
    )
    return f"{said} {allowed}"


def _next(told: BoreNext) -> Sequence[str]:
    takes = to_say("A full stroke takes {um} um off ({low} to {high}, 90 %).")
    if told.stones:
        takes = to_say("A full stroke takes {um} um off ({low} to {high}, 90 %) with stones {stones}.")
    off = {"um": told.removal_um, "low": told.removal_low_um, "high": told.removal_high_um}
    lines = [say(takes, **{name: number(um, decimals=2) for name, um in off.items()}, stones=told.stones)]
    if told.strokes_full + told.strokes_top + told.strokes_bottom:
        planes = ", ".join(
            say(
                "{plane} {um} ({low} to {high})",
                plane=plane,
                um=f"{um:+.0f}",
                low=f"{told.low_um[plane]:+.0f}",
                high=f"{told.high_um[plane]:+.0f}",
            )
            for plane, um in told.expected_um.items()
        )
        lines.append(say("Expected after it, um from nominal: {planes}.", planes=planes))
        chance = f"{100 * told.past_target:.0f}"
        lines.append(say("Chance that the widest place passes the target: {chance} %.", chance=chance))
    if told.feed_um is not None:
        lines.append(say("Feed reading to return to: {um} um.", um=number(told.feed_um, decimals=1)))
    if told.other_bore is not None:
        lines.append(say("Meanwhile: bore {bore}.", bore=told.other_bore))
    return lines


_STONE_COLUMNS = (
    text("stone"),
    text("place"),
    figure("mm"),
    figure("must come off, um"),
    figure("to even, um"),
    text("holder"),
    text("way up"),
)


def hand_stone_lines(answer: HandStonesAnswer, look: Look) -> list[str]:
    """Return whether stones are fit to hone with, and what is to be taken off where."""
    rows = [
        [
            one.stone,
            place,
            number(one.thickness_mm[place], decimals=4),
            number(one.take_off_um[place], decimals=0),
            number(one.to_even_um[place], decimals=0),
            one.holder,
            one.way_up,
        ]
        for one in answer.stones
        for place in one.thickness_mm
    ]
    moved = [one.stone for one in answer.stones if one.moved]
    due = [] if answer.due is None else [answer.due]
    lines = [answer.sentence, *due, "", *table(_STONE_COLUMNS, rows, width=look.width), "", answer.caution]
    back = say("Back to its own holder and way up: {stones}.", stones=", ".join(moved))
    return [*lines, *([back] if moved else [])]
