"""Measured thickness of stones as rounds of each set, beside the bores it had honed by then."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.bores_by import bores_at, gained_by
from cellmon.monitor.stones.honed import Honed
from cellmon.monitor.stones.laid_out import APART, Grid, Grids, StoneNow, laid_out
from cellmon.monitor.stones.log import LoggedOf, StoneLog
from cellmon.records import StoneMeasurements, Times
from cellmon.stones.evenness import Swap, swapped
from cellmon.stones.wear import Thickness

Floats = NDArray[np.float64]

SAME_BORES = 1.0
"""Rounds with fewer bores between, and near in time, are repeats of each other."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rounds:
    """All rounds of one set.

    `at` has shape (rounds,); stones and places name the axes of `thickness`; `repeats_um` are differences
    of two readings of one place with no bores between.
    """

    at: Times
    thickness: Thickness
    stones: tuple[str, ...]
    places: tuple[str, ...]
    last: tuple[StoneNow, ...]
    repeats_um: Floats
    asked: tuple[str, ...]
    said: tuple[str, ...]

    def says(self, other: Rounds) -> bool:
        """Return whether others say the same: of the same measurements, with the same bores by then."""
        alike = self.thickness.um is other.thickness.um
        return alike and np.array_equal(self.thickness.bores, other.thickness.bores)

    def swap(self, *, reading_um: float) -> Swap | None:
        """Return how stones may have changed place at the last round."""
        um = self.thickness.um
        return swapped(um[-2], um[-1], reading_um=reading_um) if len(um) > 1 else None


def rounds_of(
    rows: Mapping[str, StoneMeasurements],
    log: StoneLog,
    honed: Honed,
    *,
    per_set: Mapping[str, int],
    before: Mapping[str, float],
    grids: Callable[[Callable[[], Grids]], Grids] = lambda work: work(),
    each: Callable[[Mapping[str, Any], Callable[[str], Rounds]], dict[str, Rounds]] | None = None,
    before_now: Mapping[str, Rounds] = MappingProxyType({}),
) -> dict[str, Rounds]:
    """Return the rounds of every set that was measured, given its rows in order of time.

    `per_set`: how many stones its kind has; `before`: bores it had honed when it was received; `grids`
    returns what the rows alone say, `each` the rounds of each set, worked out now or as they were, which
    are `before_now` and stay the same ones where they say the same.
    """
    laid = grids(lambda: laid_out(rows, per_set))

    def work(name: str) -> Rounds:
        begun, grid, known = before.get(name, 0.0), laid[name], before_now.get(name)
        found = _rounds(grid, bores_at(log.stays.get(name, ()), honed, grid.moments, before=begun))
        return known if known is not None and found.says(known) else found

    if each is None:
        return {name: work(name) for name in laid}
    counts = {name: _counts_of(log.logged_of(name), honed, grid.moments) for name, grid in laid.items()}
    return each({name: (grid, before.get(name), *counts[name]) for name, grid in laid.items()}, work)


def _counts_of(logged: LoggedOf, honed: Honed, moments: Times) -> tuple[Any, ...]:
    """Return what the bores of a set by some moments rest on, the last of which is the newest."""
    runs = logged.is_fitted and gained_by(logged.stays[-1], honed) > 0
    return (logged, runs, honed.stamp(max(moments[-1], logged.last)))


def _rounds(grid: Grid, bores: Floats) -> Rounds:
    """Return the rounds of a set, from the bores it had honed by each moment it was measured."""
    honed = np.maximum.accumulate(bores[grid.begins])
    still = (np.diff(honed) < SAME_BORES) & (np.diff(grid.at) <= APART)
    return Rounds(
        at=grid.at,
        thickness=Thickness(bores=honed, um=grid.um),
        stones=grid.stones,
        places=grid.places,
        last=grid.last,
        repeats_um=_repeats(grid.cell, grid.read_um, grid.um, still=still),
        asked=grid.asked,
        said=grid.said,
    )


def _repeats(cell: np.ndarray, um: Floats, grid: Floats, *, still: np.ndarray) -> Floats:
    """Return differences of readings of one place: in one round, and between rounds with nothing honed."""
    order = np.lexsort((np.arange(len(cell)), cell))
    same = cell[order][1:] == cell[order][:-1]
    within = np.diff(um[order])[same]
    rounds = np.flatnonzero(still)
    between = (grid[rounds + 1] - grid[rounds]).ravel()
    found = np.concatenate((within, between[np.isfinite(between)]))
    return np.asarray(found, dtype=np.float64)
