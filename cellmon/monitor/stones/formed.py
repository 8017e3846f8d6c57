"""The form that spindles honed in the last weeks, by stream; what stands as it stood is not read again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.monitor.stones.counted import StoredUnit
from cellmon.monitor.view import View
from cellmon.records import Batch, Numbers, Stream, Times, Whole, number, time, whole
from cellmon.store.joining import by_stream

FORM = ("taper", "barrel", "ovality", "twist", "size_range", "roundness")
"""Features that stones print and no offset puts right."""
LOOKED_BACK = np.timedelta64(14, "D")
"""Time from which the drift of form is read."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Formed(Batch):
    """Subgroups of one stream without a doubted bore, in the order they ended; micrometres."""

    first_at: Times = time(needed=True)
    at: Times = time(needed=True)
    n: Whole = whole(needed=True)
    mean: Numbers = number()
    sd: Numbers = number()


OfStreams = Mapping[Stream, Formed]


def formed(view: View) -> OfStreams:
    """Return the subgroups of the features of form that ended in the last weeks, by stream."""
    start = view.as_of - LOOKED_BACK
    units = {one.start: one for one in view.units_stored if one.end >= start and one.start <= view.as_of}
    stored = {unit: one.stored for unit, one in units.items()}
    found = list(view.carry_each("form by unit", stored, lambda unit: _of_unit(view, units[unit])).values())
    over = view.carry("form of whole shifts", tuple(stored.values())[:-1], lambda: _joined(found[:-1]))
    return {
        stream: rows.select((rows.at >= start) & (rows.at <= view.as_of))
        for stream, rows in _joined([over, *found[-1:]]).items()
    }


def _of_unit(view: View, unit: StoredUnit) -> OfStreams:
    rows = view.session.subgroups(start=unit.start, end=unit.end, clean=True)
    rows = rows.select(np.isfinite(rows.mean))
    return {
        stream: Formed(
            first_at=rows.first_at[mine],
            at=rows.at[mine],
            n=rows.n[mine],
            mean=rows.mean[mine],
            sd=rows.sd[mine],
        )
        for stream, mine in by_stream(rows).items()
        if stream.feature in FORM
    }


def _joined(units: Sequence[OfStreams]) -> OfStreams:
    """Return the subgroups of each stream in some units, which follow one another."""
    found: dict[Stream, list[Formed]] = {}
    for unit in units:
        for stream, rows in unit.items():
            found.setdefault(stream, []).append(rows)
    return {stream: Formed.concat(rows) for stream, rows in found.items()}
