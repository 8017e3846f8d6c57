"""What is typed at the bore beside its rounds, box by box: a cell event, and a bore of a shift."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from cellmon import local
from cellmon.errors import WrongUsage
from cellmon.monitor.bore.entry import read_figure
from cellmon.monitor.bore.measured import HAND
from cellmon.records import EventKind
from cellmon.sheet import Sheet
from cellmon.words import say, to_say
from dashboards.pages.bore_box import Box, Mode

EVENTS = {
    EventKind.STONES_FITTED: to_say("stones fitted"),
    EventKind.STONES_DRESSED: to_say("stones dressed"),
    EventKind.STONES_REMOVED: to_say("stones taken off"),
    EventKind.FEED_OFFSET: to_say("feed offset"),
    EventKind.GAUGE_ZEROED: to_say("gauge zeroed"),
    EventKind.SETUP_CHANGED: to_say("set-up changed"),
}
"""What can be typed here, in the order of its numbers; a rerouting is a decision of the sheet's keeper."""


def names_of(sheet: Sheet, mode: Mode) -> dict[str, list[str]]:
    """Return the names that a number stands for, by the kind of box: a wet finger types no words."""
    hand = [HAND] if mode is Mode.MEASURED else []
    return {"event": [kind.value for kind in EVENTS], "spindle": [*sheet.spindle_ids, *hand]}


def event_boxes(sheet: Sheet) -> list[Box]:
    """Return the boxes of a cell event, in the order in which they are asked."""
    nothing = say("Enter: nothing")
    spindles = _numbered(sheet.spindle_ids)
    amount = say("Offset or zero correction, µm; bores since a late entry")
    return [
        Box(name="event", kind="event", label=say("What happened"), hint=_numbered(_events_said())),
        Box(name="spindle", kind="spindle", label=say("Spindle"), default="", hint=spindles or nothing),
        Box(name="stone_set", kind="name", label=say("Stone set"), default="", hint=nothing),
        Box(name="gauge", kind="name", label=say("Gauge"), default="", hint=nothing),
        Box(name="value", kind="amount", label=amount, default="", hint=nothing),
        Box(name="note", kind="name", label=say("Note"), default="", hint=nothing),
    ]


def honed_on(sheet: Sheet) -> Box:
    """Return the box that asks which spindle honed a bore."""
    hint = say("{spindles}. Enter: {hand}", spindles=_numbered([*sheet.spindle_ids, HAND]), hand=HAND)
    return Box(name="spindle", kind="spindle", label=say("Honed on"), default=HAND, hint=hint)


def word_of(text: str, kind: str, names: Mapping[str, Sequence[str]]) -> str:
    """Return the name that was typed, or that a typed number stands for.

    Raises
    ------
    WrongUsage
        When it is neither.
    """
    typed, known = text.strip(), names[kind]
    if typed in known:
        return typed
    if typed.isdecimal() and 0 < int(typed) <= len(known):
        return known[int(typed) - 1]
    shown = _numbered(_events_said() if kind == "event" else known)
    raise WrongUsage(say("'{typed}' is none of {known}.", typed=typed, known=shown or say("none")))


def _events_said() -> list[str]:
    return [say(words) for words in EVENTS.values()]


def _numbered(names: Sequence[str]) -> str:
    return "; ".join(f"{number} {name}" for number, name in enumerate(names, start=1))


def _happened(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return say(EVENTS[EventKind(word_of(text, "event", asks["names"]))]), ()


def _spindle(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return word_of(text, "spindle", asks["names"]), ()


def _name(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return text.strip(), ()


def _amount(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return local.significant(read_figure(text)), ()


READ = {"event": _happened, "spindle": _spindle, "name": _name, "amount": _amount}
"""How each kind of box here is read."""
