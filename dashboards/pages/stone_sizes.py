"""The table in which the thickness of every stone of a set is typed, beside what it was the last time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import dcc, html

from cellmon import lengths, local
from cellmon.monitor.stones import StoneSetOf
from cellmon.words import say, to_say

FIELD = "stones-log-field"
"""Begins the names of the fields; the rest names the stone and what of it."""
PLACES = ("top", "middle", "bottom")
PLACE_HEADS = (to_say("Top, {unit}"), to_say("Middle, {unit}"), to_say("Bottom, {unit}"))
HOLDER, WAY_UP = "holder", "way_up"


@dataclass(frozen=True, kw_only=True)
class Size:
    """The thickness typed for one stone at one place, with where it was put back."""

    stone: str
    place: str
    thickness: str
    unit: str
    """In which it was typed, `mm` or `in`."""
    holder: str
    way_up: str


def sizes_table(found: StoneSetOf | None, *, count: int, key: str) -> html.Table:
    """Return a row of fields for each stone, as it was measured last or numbered; texts outlive a refresh."""
    known = {one.stone: one for one in (() if found is None else found.stones)}
    names = [*known, *(n for n in map(str, range(1, count + 1)) if n not in known)][: max(count, len(known))]
    unit = typed_in()
    heads = [say("Stone"), say("Holder"), say("Way up")]
    heads += [say(head, unit=unit) for head in PLACE_HEADS]
    rows = []
    for name in names:
        last = known.get(name)
        told = {HOLDER: last.holder if last else None, WAY_UP: last.way_up if last else None}
        cells = [_cell(name, of, key, value=told[of]) for of in (HOLDER, WAY_UP)]
        for place in PLACES:
            um = last.places_um.get(place) if last else None
            before = "" if um is None else say("last {size}", size=_size(um))
            cells.append(_cell(name, place, f"{key}-{unit}", before=before))
        rows.append(html.Tr([html.Th(name, scope="row"), *cells]))
    head = html.Thead(html.Tr([html.Th(words, scope="col") for words in heads]))
    caption = html.Caption(say("Put every stone back into the holder it came from, the same way up."))
    return html.Table([caption, head, html.Tbody(rows)], className="sizes")


def typed_in() -> str:
    """Return the unit in which sizes are typed: inches where they alone are shown."""
    return "in" if lengths.is_inch() else "mm"


def _size(um: float) -> str:
    return lengths.size(um / 1000) if lengths.is_inch() else local.number(um / 1000, 3)


def _cell(stone: str, of: str, key: str, *, value: str | None = None, before: str = "") -> html.Td:
    field = dcc.Input(
        id={"type": FIELD, "stone": stone, "of": of},
        value=value,
        autoComplete="off",
        inputMode="decimal" if of in PLACES else None,
        persistence=key,
        persistence_type="session",
    )
    return html.Td([html.Label([html.Span(f"{stone} {of}", className="unseen"), field]), _before(before)])


def _before(words: str) -> Any:
    return html.Span(words, className="before")


def typed_sizes(states: Sequence[Mapping[str, Any]]) -> tuple[Size, ...]:
    """Return what was typed, from what Dash lists of the fields; a place left empty was not measured."""
    found: dict[str, dict[str, str]] = {}
    for one in states:
        found.setdefault(one["id"]["stone"], {})[one["id"]["of"]] = str(one.get("value") or "").strip()
    return tuple(
        Size(
            stone=stone,
            place=place,
            thickness=typed[place],
            unit=typed_in(),
            holder=typed.get(HOLDER, ""),
            way_up=typed.get(WAY_UP, ""),
        )
        for stone, typed in found.items()
        for place in PLACES
        if typed.get(place)
    )
