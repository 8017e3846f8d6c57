"""A cell sheet proposed from a file of readings: what the file shows, and what a person must fill in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from cellmon.errors import FileUnreadable
from cellmon.intake.columns import UNIT_OF, base_name, normal_name
from cellmon.intake.numbers import number_columns
from cellmon.intake.proposal import Shown, proposal_text
from cellmon.intake.sheet_file import parse_sheet
from cellmon.intake.sheet_texts import blank_sheet
from cellmon.intake.table import Table
from cellmon.intake.tables import open_file
from cellmon.intake.words import Words, no_words, words_of
from cellmon.records import Readings
from cellmon.units import LengthUnit
from cellmon.words import say, to_say

__all__ = ["blank_sheet", "propose_sheet"]

LIKELY = {
    "part": ("serial", "serial_no", "serial_number", "block", "part_id"),
    "bore": ("cylinder", "bore_no", "cyl"),
    "spindle": ("station", "machine"),
    "measured_at": ("time", "timestamp", "datetime", "date_time", "measured"),
    "plane": ("level", "depth", "height"),
    "direction": ("axis", "angle"),
    "diameter": ("size", "value", "reading", "measurement_value"),
}
"""Names that files may use for ours; they are proposed in [columns], where a person sees them."""
ORDER = ("top", "upper", "t", "middle", "mid", "m", "centre", "center", "bottom", "lower", "b")
"""Words for planes from the top face down; others keep the order of the file."""
MOST_WORDS = 100
"""Distinct bores, planes or spindles beyond which a column can hardly be that."""
MISTAKEN = 0.2
"""A spindle with a smaller share of rows at a bore, of its own or of others, is a mistake of the log."""
PLACE = re.compile(r"^(?P<plane>[a-z0-9]+)_(?P<direction>[a-z0-9]+)$")


def propose_sheet(path: str | Path) -> str:
    """Return the text of a commented cell sheet for the cell that a file of readings shows.

    What the file cannot show (depths, limits, zone) is marked FILL IN and stands as a remark or a
    placeholder. The text passes every check of a sheet.

    Raises
    ------
    FileUnreadable
        When the file cannot be read, or is no file of readings.
    """
    opened = open_file(path)
    shown = _shown(opened.table, opened.name)
    text = proposal_text(shown, opened.name)
    parse_sheet(text, where=say("the proposed sheet"))
    return text


def _shown(table: Table, name: str) -> Shown:
    own = [normal_name(given) for given in table.header]
    places, renamed = _places(own, table.header)
    missing = [each for each in ("part", "bore", "spindle", "measured_at") if each not in places]
    long = [each for each in places if base_name(each) in ("diameter", "deviation")]
    wide = {} if long else _wide(own, set(places.values()))
    if long:
        missing += [each for each in ("plane", "direction") if each not in places]
    elif not wide:
        missing.append(say("diameter (or columns such as top_x)"))
    if missing:
        lacks = ", ".join(missing)
        why = say("is no file of readings that a sheet can be made from; it lacks: {names}", names=lacks)
        raise FileUnreadable(name, why)
    words = {
        each: _words(table, places.get(each)) for each in ("bore", "spindle", "plane", "direction", "gauge")
    }
    _few(words, name)
    size_places = [places[long[0]]] if long else list(wide)
    found, _ = number_columns([table.columns[i] for i in size_places])
    unit, deviation = _unit_of(own[size_places[0]] if not long else long[0], wide=not long)
    pairs = list(wide.values())
    part_number = _words(table, places.get("part_number")).words
    known = {*places.values(), *size_places}
    return Shown(
        renamed=renamed,
        bores=_sorted(words["bore"].words),
        planes=_downwards(words["plane"].words if long else tuple(dict.fromkeys(p for p, _ in pairs))),
        directions=_sorted(words["direction"].words if long else tuple(dict.fromkeys(d for _, d in pairs))),
        routing=_routing(words["spindle"], words["bore"]),
        gauges=_by_count(words["gauge"]),
        part_number=part_number[0] if part_number else None,
        sizes=np.concatenate([column.values for column in found]),
        unit=unit,
        deviation=deviation,
        unknown=tuple(table.header[i] for i in range(len(own)) if i not in known),
    )


def _places(own: Sequence[str], header: Sequence[str]) -> tuple[dict[str, int], dict[str, str]]:
    """Return where our columns stand, and which stand there under another name."""
    places: dict[str, int] = {}
    renamed: dict[str, str] = {}
    declared = [column.name for column in Readings.columns()]
    sizes = [base + end for base in ("diameter", "deviation") for end in ("", *UNIT_OF)]
    for ours in (*declared, "plane", "direction", *sizes):
        if ours in own:
            places[ours] = own.index(ours)
    for ours, names in LIKELY.items():
        if ours in places or (ours == "diameter" and any(size in places for size in sizes)):
            continue
        theirs = next((i for i, each in enumerate(own) if each in names), None)
        if theirs is not None and theirs not in places.values():
            places[ours] = theirs
            if own[theirs] != "serial":
                renamed[ours] = header[theirs]
    return places, renamed


def _wide(own: Sequence[str], taken: set[int]) -> dict[int, tuple[str, str]]:
    """Return the columns of one plane and direction: a full grid of at least two."""
    found: dict[int, tuple[str, str]] = {}
    for i, name in enumerate(own):
        base = base_name(name).removesuffix("_deviation")
        fits = PLACE.match(base)
        if i not in taken and fits:
            found[i] = (fits["plane"], fits["direction"])
    planes = list(dict.fromkeys(plane for plane, _ in found.values()))
    best: dict[int, tuple[str, str]] = {}
    for plane in planes:
        directions = {d for p, d in found.values() if p == plane}
        grid = {i: (p, d) for i, (p, d) in found.items() if d in directions}
        alike = [p for p in planes if {d for q, d in found.values() if q == p} >= directions]
        grid = {i: pair for i, pair in grid.items() if pair[0] in alike}
        if len(grid) > max(len(best), 1):
            best = grid
    return best


def _words(table: Table, place: int | None) -> Words:
    return no_words(len(table)) if place is None else words_of(table.columns[place])


def _few(words: Mapping[str, Words], name: str) -> None:
    for column, found in words.items():
        if len(found.words) > MOST_WORDS:
            text = to_say("has {count} different words in column {column}")
            raise FileUnreadable(name, say(text, count=len(found.words), column=column))
    if not words["bore"].words or not words["spindle"].words:
        raise FileUnreadable(name, say("names no bore and spindle in any row"))


def _unit_of(name: str, *, wide: bool) -> tuple[LengthUnit | None, bool]:
    unit = next((each for end, each in UNIT_OF.items() if name.endswith(end)), None)
    deviation = base_name(name).endswith("deviation")
    if wide and unit is LengthUnit.UM:
        deviation = True
    return unit, deviation


def _routing(spindle: Words, bore: Words) -> dict[str, tuple[str, ...]]:
    """Return the bores each spindle hones: those it hones about as often as its others, and as others do."""
    sound = (spindle.codes >= 0) & (bore.codes >= 0)
    often = np.zeros((len(spindle.words), len(bore.words)), dtype=np.int64)
    np.add.at(often, (spindle.codes[sound], bore.codes[sound]), 1)
    often[[word.casefold() == "hand" for word in spindle.words]] = 0
    most = np.maximum(often.max(axis=1, initial=0)[:, None], often.max(axis=0, initial=0))
    hones = (often > 0) & (often >= MISTAKEN * most)
    named = {s: tuple(bore.words[b] for b in np.flatnonzero(hones[i])) for i, s in enumerate(spindle.words)}
    return {s: _sorted(named[s]) for s in _sorted(tuple(named)) if named[s]}


def _by_count(words: Words) -> tuple[str, ...]:
    often = np.bincount(words.codes[words.codes >= 0], minlength=len(words.words))
    return tuple(words.words[i] for i in np.argsort(-often, kind="stable"))


def _sorted(words: Sequence[str]) -> tuple[str, ...]:
    return tuple(
        sorted(words, key=lambda word: (not word.isdigit(), int(word) if word.isdigit() else 0, word))
    )


def _downwards(planes: Sequence[str]) -> tuple[str, ...]:
    rank = {name: i for i, name in enumerate(ORDER)}
    return tuple(sorted(planes, key=lambda plane: rank.get(plane.casefold(), len(ORDER))))
