"""Questions and answers line by line at the bore; the same in a pipe."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cellmon.cli.terminal import clean, write
from cellmon.cli.wording import number
from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore import BoreAnswer
    from cellmon.monitor.bore.entry import Dial

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


@dataclass(frozen=True, kw_only=True)
class AskedReadings:
    """What was typed for each place, and which questions about single figures a person has answered."""

    texts: dict[tuple[str, str], str]
    confirmed: frozenset[str]


def asked_readings(
    monitor: Monitor, part_number: str | None, *, expected_um: Mapping[str, float] | None = None
) -> AskedReadings | None:
    """Ask for one reading after another; back goes to the one before. None: the person ended."""
    from cellmon.monitor.bore.entry import Dial

    places = places_of(monitor)
    dial = Dial.of(monitor.sheet, monitor.sheet.part(part_number))
    found: dict[tuple[str, str], str] = {}
    confirmed: dict[tuple[str, str], tuple[str, ...]] = {}
    while len(found) < len(places):
        place = places[len(found)]
        said = ask(f"  {' '.join(place)}: ")
        while said not in (None, *END, *BACK):
            asked = _odd_in(str(said), dial, expected_um=(expected_um or {}).get(place[0]))
            if asked is None:
                break
            if not asked:
                found[place] = str(said)
                break
            again = ask(say("  Enter: yes; else type it again: "))
            if again == "":
                found[place], confirmed[place] = str(said), asked
                break
            said = again
        if said is None or said in END:
            return None
        if said in BACK and found:
            confirmed.pop(found.popitem()[0], None)
    told = frozenset(f"{' '.join(place)}: {one}" for place, asked in confirmed.items() for one in asked)
    return AskedReadings(texts=found, confirmed=told)


def _odd_in(said: str, dial: Dial, *, expected_um: float | None) -> tuple[str, ...] | None:
    """Say how a figure is understood, and return what is odd about it; None where it cannot be read."""
    from cellmon.monitor.bore.entry import read_entry

    try:
        typed = read_entry(said, dial, expected_um=expected_um)
    except WrongUsage as wrong:
        write([f"  {wrong}"])
        return None
    size = f"    {number(dial.nominal_mm + typed.um / 1000, decimals=4)} mm"
    write([size, *(f"  ? {one}" for one in typed.asked)])
    return typed.asked


def asked_temperature(words: str) -> str | None:
    """Ask for a temperature and return it as typed; "": not measured, None: the person ended."""
    from cellmon.monitor.bore.entry import read_temperature

    said = ask(words)
    while said not in (None, "", *END):
        try:
            odd = read_temperature(str(said)).asked
        except WrongUsage as wrong:
            write([f"  {wrong}"])
            said = ask(words)
            continue
        write([f"  ? {one}" for one in odd])
        again = ask(say("  Enter: yes; else type it again: ")) if odd else ""
        if again == "":
            return said
        said = again
    return None if said is None or said in END else said


def degrees(typed: str) -> float | None:
    """Return a temperature that was accepted; None where it was not measured."""
    from cellmon.monitor.bore.entry import read_temperature

    return read_temperature(typed).c if typed else None


def answer_of(monitor: Monitor, args: argparse.Namespace, *, next_stones: str | None = None) -> BoreAnswer:
    """Return what is known of the bore that a command names."""
    return monitor.bore(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        next_stones=next_stones,
        mating_part=args.mating_part,
    )


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
