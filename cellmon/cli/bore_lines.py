"""What `cellmon bore` prints of one bore."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import number, signed

if TYPE_CHECKING:
    from cellmon.cli.showing import Look
    from cellmon.monitor.bore import BoreAnswer, BoreNext, BoreSeen
    from cellmon.monitor.bore.stones import HandStonesAnswer


def bore_lines(answer: BoreAnswer, *, cautions: bool) -> list[str]:
    """Return the sentence, each place with what is left, what a stroke takes and what the round will do."""
    lines = [answer.sentence]
    if answer.rounds and answer.rounds[-1].kept_sentence:
        lines.insert(0, answer.rounds[-1].kept_sentence)
    if answer.see is not None:
        lines += ["", *_places(answer.see)]
    if answer.next is not None and answer.next.step not in ("finished", "cannot be saved"):
        lines += ["", *_next(answer.next)]
    lines += [f"note: {note}" for note in answer.notes]
    if cautions:
        lines = ["Cautions", *(f"  - {caution}" for caution in answer.cautions), "", *lines]
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
    lines = [*table(_COLUMNS, rows, width=None), f"Each +- {see.uncertainty_um:.1f} um (k = 2), of diameter."]
    if see.taper_um is not None:
        told = "" if see.taper_told else ", less than the gauge can tell"
        lines.append(f"Top less bottom {see.taper_um:+.1f} um{told}.")
    oval = [f"{plane} wide along {direction}" for plane, direction in see.out_of_round.items() if direction]
    return [*lines, *([f"Out of round: {', '.join(oval)}."] if oval else [])]


def _next(told: BoreNext) -> Sequence[str]:
    lines = [
        f"A full stroke takes {told.removal_um:.2f} um off ({told.removal_low_um:.2f} to "
        f"{told.removal_high_um:.2f}, 90 %)" + (f" with stones {told.stones}." if told.stones else ".")
    ]
    if told.strokes_full + told.strokes_top + told.strokes_bottom:
        planes = ", ".join(
            f"{plane} {um:+.0f} ({told.low_um[plane]:+.0f} to {told.high_um[plane]:+.0f})"
            for plane, um in told.expected_um.items()
        )
        lines.append(f"Expected after it, um from nominal: {planes}.")
        lines.append(f"Chance that the widest place passes the target: {100 * told.past_target:.0f} %.")
    if told.other_bore is not None:
        lines.append(f"Meanwhile: bore {told.other_bore}.")
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
    lines = [answer.sentence, "", *table(_STONE_COLUMNS, rows, width=look.width), "", answer.caution]
    return [*lines, *([f"Back to its own holder and way up: {', '.join(moved)}."] if moved else [])]
