"""What is typed at the bore beside its rounds, box by box: a cell event, a gauge check, a bore of a shift."""

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
    EventKind.REROUTED: to_say("spindle hones other bores"),
}
"""What can be typed here, in the order of its numbers."""
STATES = {"as-found": to_say("as found"), "as-left": to_say("as left")}
OF_STONES = (EventKind.STONES_FITTED, EventKind.STONES_DRESSED, EventKind.STONES_REMOVED)
OF_AMOUNT = (EventKind.STONES_FITTED, EventKind.STONES_DRESSED, EventKind.FEED_OFFSET, EventKind.GAUGE_ZEROED)
OF_SPINDLE = tuple(kind for kind in EVENTS if kind is not EventKind.GAUGE_ZEROED)


def names_of(sheet: Sheet, mode: Mode) -> dict[str, list[str]]:
    """Return the names that a number stands for, by the kind of box: a wet finger types no words."""
    hand = [HAND] if mode is Mode.MEASURED else []
    return {
        "event": [kind.value for kind in EVENTS],
        "spindle": [*sheet.spindle_ids, *hand],
        "gauge": list(sheet.gauge_ids),
        "state": list(STATES),
    }


def event_boxes(sheet: Sheet) -> list[Box]:
    """Return the boxes of a cell event, in the order in which they are asked."""
    nothing = say("Enter: nothing")
    spindles = _numbered(sheet.spindle_ids)
    amount = say("Offset or zero correction, µm; bores before or since")
    to_sheet = say("such as 1 3. Enter: as the sheet says")
    happened = Box(name="event", kind="event", label=say("What happened"), hint=_numbered(_said(EVENTS)))
    later = {
        "spindle": ("spindle", say("Spindle"), spindles or nothing, OF_SPINDLE),
        "bores": ("name", say("Bores it hones from now on"), to_sheet, (EventKind.REROUTED,)),
        "stone_set": ("name", say("Stone set"), nothing, OF_STONES),
        "gauge": ("gauge", say("Gauge"), _numbered(sheet.gauge_ids), (EventKind.GAUGE_ZEROED,)),
        "value": ("amount", amount, nothing, OF_AMOUNT),
        "note": ("name", say("Note"), nothing, ()),
    }
    return [
        happened,
        *(
            Box(
                name=name,
                kind=kind,
                label=label,
                default="",
                hint=hint,
                only=tuple(one.value for one in only),
            )
            for name, (kind, label, hint, only) in later.items()
        ),
    ]


def check_boxes(sheet: Sheet) -> list[Box]:
    """Return the boxes of a gauge that was read on a master, in the order in which they are asked."""
    first = sheet.measuring.gauge
    gauges = say("{gauges}. Enter: {first}", gauges=_numbered(sheet.gauge_ids), first=first)
    found = say("{states}. Enter: as found", states=_numbered(_said(STATES)))
    return [
        Box(name="gauge", kind="gauge", label=say("Gauge"), default=first, hint=gauges),
        Box(name="master", kind="reading", label=say("The master's own size")),
        Box(name="reading", kind="reading", label=say("The gauge on it")),
        Box(name="state", kind="state", label=say("As found or as left"), default="as-found", hint=found),
        Box(
            name="master_c",
            kind="temperature",
            label=say("Master, °C"),
            default="",
            hint=say("Enter: not measured"),
        ),
    ]


def honed_on(sheet: Sheet, bore: str) -> Box:
    """Return the box that asks which spindle honed a bore; Enter takes the one that hones it by the sheet."""
    honing = [spindle.id for spindle in sheet.spindles if bore in spindle.bores]
    usual = honing[0] if len(honing) == 1 else HAND
    hint = say("{spindles}. Enter: {spindle}", spindles=_numbered([*sheet.spindle_ids, HAND]), spindle=usual)
    return Box(name="spindle", kind="spindle", label=say("Honed on"), default=usual, hint=hint)


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
    shown = _numbered({"event": _said(EVENTS), "state": _said(STATES)}.get(kind, known))
    raise WrongUsage(say("'{typed}' is none of {known}.", typed=typed, known=shown or say("none")))


def _said(named: Mapping[Any, str]) -> list[str]:
    return [say(words) for words in named.values()]


def _numbered(names: Sequence[str]) -> str:
    return "; ".join(f"{number} {name}" for number, name in enumerate(names, start=1))


def _happened(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return say(EVENTS[EventKind(word_of(text, "event", asks["names"]))]), ()


def _named(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return word_of(text, box["kind"], asks["names"]), ()


def _state(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return say(STATES[word_of(text, "state", asks["names"])]), ()


def _thickness(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return say("{mm} mm", mm=local.number(read_figure(text), 3)), ()


def _name(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return text.strip(), ()


def _amount(text: str, box: Mapping[str, Any], asks: Mapping[str, Any]) -> tuple[str, Sequence[str]]:
    return local.significant(read_figure(text)), ()


READ = {
    "event": _happened,
    "spindle": _named,
    "gauge": _named,
    "state": _state,
    "name": _name,
    "amount": _amount,
    "thickness": _thickness,
}
"""How each kind of box here is read."""
