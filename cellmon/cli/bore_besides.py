"""What is typed at the bore beside its rounds: cell events, and the readings of a whole shift."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from cellmon.cli.arguments import zone_of
from cellmon.cli.bore_asked import END, ask, asked_readings, readings_given, sure, tried
from cellmon.cli.terminal import clean, write
from cellmon.cli.typed import ENTRIES, Entry, columns_of
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.bore.measured import TypedBore
from cellmon.records import HAND
from cellmon.words import say, say_many

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.records import Column


def by_hand_event(monitor: Monitor, *, by: str) -> None:
    """Ask which cell event, then for what it needs, and keep it."""
    names = {str(i): name for i, name in enumerate(ENTRIES, start=1)}
    write([f"  {i}: {say(ENTRIES[name].summary)}" for i, name in names.items()])
    said = ask(say("Which event (Enter: none): "))
    if said in (None, "", *END):
        return
    entry = ENTRIES.get(names.get(said, said))
    if entry is None:
        write([say("No such event; there are {events}.", events=", ".join(ENTRIES))])
        return
    given = {} if not by else {"by": by}
    for column in columns_of(entry):
        if column.name in ("at", *given):
            continue
        value = ask(f"  {_asked_for(entry, column)}: ")
        if value is None or value in END:
            write([say("Nothing was kept.")])
            return
        if value:
            given[column.name] = value
    tried(lambda: _keep_event(monitor, entry, given, ask_first=True))


def _asked_for(entry: Entry, column: Column) -> str:
    needed = column.needed or column.name in entry.needs
    words = [column.name.replace("_", " ")]
    if column.choices:
        words.append(f"({', '.join(column.choices)})")
    elif column.name in entry.help:
        words.append(f"({say(entry.help[column.name])})")
    return " ".join([*words, "" if needed else say("(Enter: nothing)")]).strip()


def _keep_event(monitor: Monitor, entry: Entry, given: dict[str, str], *, ask_first: bool) -> tuple[str, ...]:
    """Keep an event, and return what is odd about it; `ask_first` lets a person change their mind."""
    at = datetime.now(tz=zone_of(monitor)).replace(microsecond=0).isoformat()
    values = {**({} if entry.event is None else {"event": entry.event.value}), "at": at, **given}
    looked = monitor.look_at(entry.kind, [values])
    if looked.refused:
        raise WrongUsage(" ".join(looked.refused))
    if ask_first and not sure(looked.asked, again=say("Enter: keep it as typed; n: type the event again: ")):
        return looked.asked
    taken = monitor.log(entry.kind, values)
    if taken.why_not is not None or taken.set_aside:
        raise WrongUsage(taken.why_not or taken.set_aside[0].reason)
    if ask_first:
        write([say("It is already known.") if taken.known else say("Logged.")])
    return looked.asked


def by_hand_measured(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask for bore after bore of a shift, each with its readings, until the person ends."""
    drawing = monitor.sheet.part(args.part_number)
    part = args.part or ""
    kept = 0
    while True:
        said = ask(say("Block (Enter: {block}; e: a cell event; q: end): ", block=part or say("none")))
        if said is None or said in END or not (said or part):
            break
        if said == "e":
            by_hand_event(monitor, by=args.by)
            continue
        part = said or part
        bore = ask(say("Bore ({bores}): ", bores=", ".join(drawing.bores)))
        if bore is None or bore in END:
            break
        found = asked_readings(monitor, args.part_number)
        if found is None:
            break
        typed = TypedBore(
            part=part,
            bore=bore,
            readings=found.texts,
            spindle=args.measured,
            by=args.by,
            part_number=args.part_number,
        )
        kept += _keep_measured(monitor, typed, found.confirmed)
    write([say_many("{count} bore kept.", "{count} bores kept.", kept)])


def _keep_measured(monitor: Monitor, typed: TypedBore, confirmed: frozenset[str]) -> bool:
    """Keep a bore unless the person says no to what is odd, or it is refused; return whether it is kept."""
    try:
        again = say("Enter: keep it as typed; n: type the bore again: ")
        asked = tuple(one for one in monitor.look_at_measured(typed).asked if one not in confirmed)
        if not sure(asked, again=again):
            return False
        monitor.keep_measured(typed)
    except CellmonError as refusal:
        write([clean(str(refusal))])
        return False
    write([clean(say("Bore {bore} of {part} is kept.", bore=typed.bore, part=typed.part))])
    return True


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What became of something a program sent: whether it was kept, and what is odd about it."""

    kept: bool
    asked: tuple[str, ...]


def event_by_program(monitor: Monitor, given: dict[str, Any], *, by: str) -> Heard:
    """Keep an event as a program sends it."""
    values = {name: str(value) for name, value in given.items()}
    entry = ENTRIES.get(values.pop("event", ""))
    if entry is None:
        raise WrongUsage(say("an event among {events}", events=", ".join(ENTRIES)))
    known = {column.name for column in columns_of(entry)}
    if set(values) - known:
        raise WrongUsage(say("no such key: {keys}", keys=", ".join(sorted(set(values) - known))))
    needs = {column.name for column in columns_of(entry) if column.needed or column.name in entry.needs} - {
        "at"
    }
    if needs - set(values):
        raise WrongUsage(say("the event needs {keys}", keys=", ".join(sorted(needs - set(values)))))
    asked = _keep_event(monitor, entry, {"by": by, **values} if by else values, ask_first=False)
    return Heard(kept=True, asked=asked)


def measured_by_program(monitor: Monitor, given: dict[str, Any], *, by: str, sure_of_it: bool) -> Heard:
    """Keep a bore of a shift as a program sends it, unless something is odd and it is not sure of it."""
    typed = TypedBore(
        part=str(given.get("part", "")),
        bore=str(given.get("bore", "")),
        readings=readings_given(monitor, given.get("readings")),
        spindle=str(given.get("spindle", HAND)),
        at=str(given.get("at", "")),
        stone_set=str(given.get("stone_set", "")),
        fixture=str(given.get("fixture", "")),
        part_temp_c=None if given.get("part_temp_c") is None else float(given["part_temp_c"]),
        by=by,
        part_number=given.get("part_number"),
    )
    asked = monitor.look_at_measured(typed).asked
    if asked and not sure_of_it:
        return Heard(kept=False, asked=asked)
    monitor.keep_measured(typed)
    return Heard(kept=True, asked=asked)
