"""The newest bores of a spindle as its stones are told by them, unit by unit: those of a unit are read once.

A unit that stands as it stood is not read again, so that a batch costs the unit that it comes into.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.made import honed_at
from cellmon.monitor.stones.counted import StoredUnit, stored_units
from cellmon.monitor.view import View
from cellmon.records import Batch, Numbers, Texts, Times, Whole, no_rows, number, text, time, whole

LOOKED_BACK = np.timedelta64(30, "D")
MOST_BORES = 20_000
LOOKED_AT = 8000
"""Newest bores of a spindle from which position, honing time and load are read, however old they are."""
WAITED = np.timedelta64(2, "D")
"""A bore may wait so long between being measured before honing and after it."""
NO_TIME = np.timedelta64(0, "us")
ALWAYS = np.datetime64(0, "us")
MOST_UNITS = 64
"""So many units are remembered for what was measured in them before honing."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked(Batch):
    """Charted bores of one spindle, as made; micrometres, seconds and per cent.

    `honed` is when each was measured where it is not known when it was honed; `before` its size as it was
    measured last before it was honed, nan where it was not.
    """

    measured_at: Times = time(needed=True)
    honed: Times = time(needed=True)
    bore: Texts = text(needed=True)
    flags: Whole = whole(needed=True)
    average: Numbers = number()
    before: Numbers = number()
    cycle_s: Numbers = number()
    load_pct: Numbers = number()
    load_ripple_pct: Numbers = number()
    feed_um: Numbers = number()


@dataclass(frozen=True, kw_only=True, eq=False)
class LookedAt:
    """Bores of a spindle up to the moment of a view."""

    every: Looked
    """As many as were read."""
    since: np.datetime64
    stored: tuple[str, ...]
    """How the units they are of are stored, oldest first."""

    @cached_property
    def lately(self) -> Looked:
        """Those of `LOOKED_BACK`, the newest `MOST_BORES` of them."""
        return newest_of(self.every, self.since)

    @cached_property
    def newest(self) -> Looked:
        """The newest `LOOKED_AT`."""
        return self.every.select(slice(-LOOKED_AT, None))


def newest_of(bores: Looked, since: np.datetime64) -> Looked:
    """Return bores measured from a moment on, the newest `MOST_BORES` of them."""
    return bores.select(bores.measured_at >= since).select(slice(-MOST_BORES, None))


def looked_at(view: View, spindle: str) -> LookedAt:
    """Return the newest bores of a spindle up to the moment of a view."""
    since = view.as_of - LOOKED_BACK
    units = [one for one in view.units_stored if one.start <= view.as_of]
    found = _read(view, spindle, units)
    if sum(map(len, found)) < LOOKED_AT:  # a spindle that makes few, or stood still
        units = [one for one in stored_units(view, since=ALWAYS) if one.start <= view.as_of]
        found = _read(view, spindle, units)
    every = Looked.concat(found) if found else no_rows(Looked)
    if len(every) and every.measured_at.max() > view.as_of:
        every = every.select(every.measured_at <= view.as_of)
    stored = tuple(one.stored for one in units[len(units) - len(found) :])
    return LookedAt(every=every, since=since, stored=stored)


def _read(view: View, spindle: str, units: list[StoredUnit]) -> list[Looked]:
    """Return the bores of the newest units, as many as are looked at without the newest, oldest first."""
    begun = {one.start: k for k, one in enumerate(units)}

    def enough(found: list[Looked]) -> bool:
        many, oldest = sum(map(len, found[1:])), units[len(units) - len(found)]
        whole = bool(oldest.start <= units[-1].start - LOOKED_BACK)
        return many >= MOST_BORES or (many >= LOOKED_AT and whole)

    found = view.carry_until(
        f"bores looked at of {spindle}",
        ((one.start, tuple(near.stored for near in _near(units, begun[one.start]))) for one in units[::-1]),
        lambda start: _of_unit(view, spindle, _near(units, begun[start])),
        enough=enough,
    )
    return found[::-1]


def _near(units: list[StoredUnit], k: int) -> list[StoredUnit]:
    """Return a unit and those in which a bore of it may have been measured before honing, newest last."""
    first = k
    while first > 0 and units[first - 1].end >= units[k].start - WAITED:
        first -= 1
    return units[first : k + 1]


def _of_unit(view: View, spindle: str, near: list[StoredUnit]) -> Looked:
    rows = view.session.bores_of_unit(near[-1].start)
    rows = rows.select((rows.spindle == spindle) & (rows.charted == 1))
    return Looked(
        measured_at=rows.measured_at,
        honed=honed_at(rows),
        bore=rows.bore,
        flags=rows.flags,
        average=rows.average,
        before=_sizes(rows, [_before(view, one) for one in near]),
        cycle_s=rows.cycle_s,
        load_pct=rows.load_pct,
        load_ripple_pct=rows.load_ripple_pct,
        feed_um=rows.feed_um,
    )


Before = Mapping[tuple[str, str], list[tuple[np.datetime64, float]]]
"""Sizes of bores measured before they were honed, by part and bore, in order of time."""


def _before(view: View, unit: StoredUnit) -> Before:
    """Return the sizes of one unit, worked out once: it stands shortly before several others."""
    known: dict[str, Before] = view.carry("sizes before honing", None, dict)
    if unit.stored not in known:
        while len(known) >= MOST_UNITS:
            del known[next(iter(known))]
        known[unit.stored] = _sizes_before(view.session.bores_of_unit(unit.start))
    return known[unit.stored]


def _sizes_before(rows: Bores) -> Before:
    rows = rows.select((rows.charted == 0) & (rows.stage == "before") & np.isfinite(rows.average))
    found: dict[tuple[str, str], list[tuple[np.datetime64, float]]] = {}
    for i in np.argsort(rows.measured_at, kind="stable").tolist():
        pair = rows.part[i], rows.bore[i]
        found.setdefault(pair, []).append((rows.measured_at[i], float(rows.average[i])))
    return found


def _sizes(rows: Bores, near: Iterable[Before]) -> Numbers:
    """Return the size of each bore as it was measured last before it was honed; nan where it was not."""
    found = np.full(len(rows), np.nan)
    for before in filter(None, near):
        pairs = zip(rows.part.tolist(), rows.bore.tolist(), strict=True)
        for i, sizes in ((i, before[pair]) for i, pair in enumerate(pairs) if pair in before):
            waited = [rows.measured_at[i] - at for at, _ in sizes]
            fit = [size for (_, size), by in zip(sizes, waited, strict=True) if NO_TIME <= by <= WAITED]
            found[i] = fit[-1] if fit else found[i]
    return found
