"""Why a row waits or is doubted, in words a person at the machine understands, and what helps."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.records import Flag, Reason
from cellmon.words import say, say_kept, to_say

DOUBTS = {
    Flag.ROUTING: to_say("read as a bore of another spindle"),
    Flag.SET_DIFFERS: to_say("another stone set than the events say"),
    Flag.DIAL_TURN: to_say("one reading a whole turn of a dial off"),
    Flag.SWAPPED_PLANES: to_say("first and last plane seem exchanged"),
    Flag.SWAPPED_DIRECTIONS: to_say("the directions seem exchanged"),
    Flag.SINGLE_READING: to_say("one reading far from its companions"),
    Flag.CLOCK: to_say("a station clock may be off"),
    Flag.REPEATED_HOUR: to_say("measured in the hour that came twice"),
    Flag.ZERO_SUSPECT: to_say("measured before the gauge was found off its master"),
    Flag.LATE: to_say("came after limits were frozen over its time"),
}
"""What each flag doubts, in a few words that follow another."""


@dataclass(frozen=True, kw_only=True)
class RowWords:
    """What is the matter, and what helps; two sentences."""

    means: str
    helps: str


def reason_words(reason: str) -> RowWords:
    """Return what a reason for setting a row aside means, and what helps."""
    found = _REASONS.get(Reason(reason)) if reason in set(Reason) else None
    if found is None:
        means, helps = _unknown(reason)
    else:
        means, helps = found()
    return RowWords(means=means, helps=helps)


CONTRADICTION = to_say(
    "part {part} bore {bore} {place}: the row says {said} µm from nominal, {stands} µm stands"
)
"""Stands in place of a row that contradicts another; kept in English."""


def row_text(reason: str, kept: str) -> str:
    """Return the text of a row set aside: as it was read, or what it contradicts in the site's language."""
    return say_kept(kept, CONTRADICTION) if reason == Reason.CONTRADICTS else kept


def flag_words(flag: str) -> RowWords:
    """Return what a flag doubts, and what accepting its proposal does."""
    means, helps = _FLAGS[Flag(flag)]()
    return RowWords(means=means, helps=helps)


def _unknown(reason: str) -> tuple[str, str]:
    return say("{reason}.", reason=reason), say("Look at the row in its file.")


def _sheet_lacks(what: str) -> tuple[str, str]:
    return (
        say("The sheet names no such {what}.", what=what),
        say("If it is mistyped, correct the row. If it is new, add it to the cell sheet, then take again."),
    )


_REASONS = {
    Reason.FIELD_COUNT: lambda: (
        say("It has more or fewer cells than the header."),
        say("Write it with one cell for each column, then take it."),
    ),
    Reason.MISSING_FIELD: lambda: (
        say("A cell that must say something is empty."),
        say("Fill it in, if you know it for certain; else leave it."),
    ),
    Reason.NOT_MEASURED: lambda: (
        say("No size stands in it."),
        say("Nothing: it was not measured. Never fill in a size nobody read."),
    ),
    Reason.NOT_A_NUMBER: lambda: (
        say("A number was expected, or its comma can be read two ways."),
        say("Write the number as it was read, with a decimal point."),
    ),
    Reason.NOT_A_TIME: lambda: (
        say("A time was expected."),
        say("Write it like 2026-10-19T06:00:00+02:00."),
    ),
    Reason.NO_SUCH_HOUR: lambda: (
        say("The clocks skipped that local time."),
        say("Write the time with its offset, such as +02:00."),
    ),
    Reason.UNKNOWN_WORD: lambda: (
        say("A word stands there that is none of those we know."),
        say("Write one of the words that the column takes."),
    ),
    Reason.UNKNOWN_PART: lambda: _sheet_lacks(say("part")),
    Reason.UNKNOWN_BORE: lambda: _sheet_lacks(say("bore")),
    Reason.UNKNOWN_PLANE: lambda: _sheet_lacks(say("plane")),
    Reason.UNKNOWN_DIRECTION: lambda: _sheet_lacks(say("direction")),
    Reason.UNKNOWN_SPINDLE: lambda: _sheet_lacks(say("spindle")),
    Reason.UNKNOWN_GAUGE: lambda: _sheet_lacks(say("gauge")),
    Reason.UNIT_DOUBT: lambda: (
        say("The sizes of the whole file fit another unit than their own."),
        say("Take the file once more and say its unit: nothing is converted by guess."),
    ),
    Reason.NOT_THIS_BORE: lambda: (
        say("A size lies far from what this bore can have."),
        say("Look whether the part, the bore or the size is mistyped."),
    ),
    Reason.CONTRADICTS: lambda: (
        say("The same bore, time and place stands with another value; the first stands."),
        say("Measure again, or correct part, bore or time where they are mistyped."),
    ),
    Reason.UNREADABLE: lambda: (
        say("The row is torn."),
        say("Write it anew from the gauge or the log, then take it."),
    ),
}


def _nothing_proposed() -> str:
    return say("Nothing is proposed: keep it where you are sure of it.")


_FLAGS = {
    Flag.ROUTING: lambda: (
        say("By the sheet and the log this spindle does not hone that bore."),
        say("Accepting counts it to the spindle that hones it by the sheet."),
    ),
    Flag.SET_DIFFERS: lambda: (
        say("The row names another stone set than the log."),
        _nothing_proposed(),
    ),
    Flag.DIAL_TURN: lambda: (
        say("One reading is a whole turn of a dial from its companions."),
        say("Accepting takes the turn off."),
    ),
    Flag.SWAPPED_PLANES: lambda: (
        say("The first and the last plane seem exchanged."),
        say("Accepting exchanges them."),
    ),
    Flag.SWAPPED_DIRECTIONS: lambda: (
        say("The directions seem exchanged."),
        say("Accepting exchanges them."),
    ),
    Flag.SINGLE_READING: lambda: (
        say("One reading stands far from its companions: dirt, a burr, or the gauge off the diameter."),
        say("Accepting leaves that reading out. Measuring again is better where the part is at hand."),
    ),
    Flag.CLOCK: lambda: (
        say("Measured much longer after honing than is usual, or dated in the future: a clock may be off."),
        _nothing_proposed(),
    ),
    Flag.REPEATED_HOUR: lambda: (
        say("Measured in the hour that came twice."),
        _nothing_proposed(),
    ),
    Flag.ZERO_SUSPECT: lambda: (
        say("Measured between a good master check and one that was found off."),
        say("Accepting takes the found difference off."),
    ),
    Flag.LATE: lambda: (
        say("It came after limits were frozen over its time."),
        _nothing_proposed(),
    ),
}
