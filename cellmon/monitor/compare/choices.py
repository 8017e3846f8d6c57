"""What can be held against each other here: the names and times that a side of a comparison may have."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from cellmon.monitor.answers import Answer
from cellmon.monitor.compare.bores import known_names, lots_of
from cellmon.monitor.compare.lives import fitted_sets
from cellmon.monitor.shifts import known_shifts
from cellmon.monitor.view import View
from cellmon.shifts import ShiftOf

SHIFTS = 600
"""So many of the newest shifts are looked through for days and weeks."""
OFFERED = 60
"""So many of the newest shifts, days or weeks are offered."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Shifts in a row, from the beginning of the first to the end of the last; `of` is its day."""

    of: date
    since: datetime
    until: datetime
    name: str | None = None
    """Of a single shift."""


@dataclass(frozen=True, kw_only=True)
class Comparable(Answer):
    """What a side may be: times with bores, oldest first, and names.

    Weeks begin on Monday (ISO 8601). Stone sets are those that were fitted, the last fitted last, and
    lots those of such sets.
    """

    shifts: tuple[Stretch, ...]
    days: tuple[Stretch, ...]
    weeks: tuple[Stretch, ...]
    stone_sets: tuple[str, ...]
    lots: tuple[str, ...]
    spindles: tuple[str, ...]
    fixtures: tuple[str, ...]


def comparable(view: View) -> Comparable:
    """Answer: which times, stone sets, lots, spindles and fixtures have bores to compare."""
    shifts, names, sets = tuple(known_shifts(view)[-SHIFTS:]), known_names(view), fitted_sets(view)
    return Comparable(
        **view.head(),
        shifts=_stretches(shifts, lambda one: one.starts),
        days=_stretches(shifts, lambda one: one.date),
        weeks=_stretches(shifts, lambda one: one.date - timedelta(days=one.date.weekday())),
        stone_sets=tuple(sets),
        lots=tuple(lots_of(view, sets)),
        spindles=names["spindle"],
        fixtures=names["fixture"],
    )


def _stretches(shifts: tuple[ShiftOf, ...], of: Callable[[ShiftOf], Hashable]) -> tuple[Stretch, ...]:
    """Return the newest stretches of shifts that are of the same time."""
    found: dict[Hashable, list[ShiftOf]] = {}
    for one in shifts:
        found.setdefault(of(one), []).append(one)
    return tuple(
        Stretch(
            of=mine[0].date,
            since=mine[0].starts,
            until=mine[-1].ends,
            name=mine[0].name if len(mine) == 1 else None,
        )
        for mine in list(found.values())[-OFFERED:]
    )
