"""A finished bore whose readings are typed one after another, as those of a whole shift are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.monitor.bore import terms_for
from cellmon.monitor.bore.keeping import asked_of_shape, read_places
from cellmon.monitor.view import View
from cellmon.records import HAND
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class TypedBore:
    """A bore as it was typed.

    Attributes
    ----------
    readings : mapping
        What was typed for each place, by (plane, direction) of the sheet.
    spindle : str
        That honed it; `hand` for a bore finished by hand.
    at : str
        When it was measured, ISO 8601; empty: now.
    """

    part: str
    bore: str
    readings: Mapping[tuple[str, str], str]
    spindle: str = HAND
    at: str = ""
    stone_set: str = ""
    fixture: str = ""
    part_temp_c: float | None = None
    by: str = ""
    part_number: str | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class LookedBore:
    """What was understood of a typed bore, µm from nominal by place, and what is odd about it."""

    um: Mapping[tuple[str, str], float]
    asked: tuple[str, ...]


def look_at_measured(view: View, typed: TypedBore) -> LookedBore:
    """Say what a typed bore would be kept as, and what a person should confirm first.

    Raises
    ------
    WrongUsage
        When a figure cannot be read, a place is missing or unknown, or the sheet has no such spindle.
    """
    _, terms = terms_for(view, typed.bore, typed.part_number)
    if not typed.part:
        raise WrongUsage(say("which block: its serial"))
    known = view.sheet.spindle_ids
    if known and typed.spindle not in (*known, HAND):
        raise WrongUsage(
            say(
                "no spindle {spindle}; the sheet names {spindles}",
                spindle=typed.spindle,
                spindles=", ".join(known),
            )
        )
    um, asked = read_places(terms, typed.readings)
    return LookedBore(um=um, asked=(*asked, *asked_of_shape(terms, um)))


def rows_of_measured(typed: TypedBore, looked: LookedBore, *, at: np.datetime64) -> list[dict[str, str]]:
    """Return a bore as rows of the kind `readings`, as a file would bring them."""
    shared = {
        "part": typed.part,
        "bore": typed.bore,
        "spindle": typed.spindle,
        "measured_at": typed.at or f"{np.datetime_as_string(at, unit='us')}Z",
        "stone_set": typed.stone_set,
        "fixture": typed.fixture,
        "part_temp_c": "" if typed.part_temp_c is None else f"{typed.part_temp_c:g}",
        "operator": typed.by,
        "part_number": typed.part_number or "",
    }
    return [
        {**shared, "plane": plane, "direction": direction, "deviation_um": f"{um:.4f}"}
        for (plane, direction), um in looked.um.items()
    ]
