"""Questions and answers line by line at the bore; the same in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from cellmon.cli.terminal import clean, write
from cellmon.cli.wording import number
from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

Places = list[tuple[str, str]]
BACK, END = ("b", "back"), ("q", "quit")


def ask(words: str) -> str | None:
    """Return one typed line without its ends, or None at the end of the input."""
    sys.stdout.write(words)
    sys.stdout.flush()
    line = sys.stdin.readline()
    if not sys.stdin.isatty():
        sys.stdout.write("\n")
    return line.strip() if line else None


def sure(asked: tuple[str, ...], *, again: str) -> bool:
    """Say what is odd about something typed, and return whether it is to be kept; `again` asks for it."""
    write([f"? {clean(one)}" for one in asked])
    if asked and ask(again) != "":
        write([say("Nothing was kept.")])
        return False
    return True


def tried(do: Callable[[], object]) -> bool:
    """Do something; a refusal is said in one line."""
    try:
        do()
    except CellmonError as refusal:
        write([clean(str(refusal))])
        return False
    return True


def places_of(monitor: Monitor) -> Places:
    """Return every plane with each of its directions, in the sheet's order."""
    measuring = monitor.sheet.measuring
    return [(plane, direction) for plane in measuring.planes for direction in measuring.directions]


def asked_readings(monitor: Monitor, part_number: str | None) -> dict[tuple[str, str], str] | None:
    """Ask for one reading after another; back goes to the one before. None: the person ended."""
    from cellmon.monitor.bore.entry import Dial, read_entry

    places = places_of(monitor)
    dial = Dial.of(monitor.sheet, monitor.sheet.part(part_number))
    found: dict[tuple[str, str], str] = {}
    while len(found) < len(places):
        place = places[len(found)]
        said = ask(f"  {' '.join(place)}: ")
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
        write(
            [
                f"    {number(dial.nominal_mm + typed.um / 1000, decimals=4)} mm",
                *(f"  ? {one}" for one in typed.asked),
            ]
        )
        if typed.asked and ask(say("  Enter: yes; else type it again: ")) != "":
            continue
        found[place] = said
    return found


def figure_of(words: str) -> float | None:
    """Return a typed temperature; one that cannot be read is left out and said so."""
    try:
        return float(words.replace(",", ".")) if words else None
    except ValueError:
        write([say("No figure: the temperature was left out.")])
        return None


def readings_given(monitor: Monitor, given: object) -> dict[tuple[str, str], str]:
    """Return readings as a program sends them: a list in the sheet's order, or by plane_direction."""
    places = places_of(monitor)
    if isinstance(given, dict):
        named = {f"{plane}_{direction}": (plane, direction) for plane, direction in places}
        return {named.get(key, (key, "")): str(value) for key, value in given.items()}
    if not isinstance(given, list) or len(given) != len(places):
        text = to_say("{count} readings are needed, in a list or by plane_direction")
        raise WrongUsage(say(text, count=len(places)))
    return dict(zip(places, map(str, given), strict=True))
