"""Readings one a row to bores one a row; what was said before in the same file is told apart.

Whole arrays only: rows are numbered by what their columns hold, and every reading is put into its
place by that number.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.intake.words import Codes, groups_of
from cellmon.records import Flags, Whole

Coded = tuple[NDArray[np.integer[Any]], int]
"""Codes of a column from -1 to count - 1, and that count."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Pivot:
    """Bores made of rows. Row `first[i]` of the file begins bore i; `bore` is -1 for rows left out.

    `um` has shape (bores, places); `lines` too, 0 where nothing was read.
    """

    first: Whole
    bore: Codes
    um: NDArray[np.float64]
    lines: Whole
    repeated: Flags
    contradicts: Flags


def pivot_long(
    keys: Iterable[Coded],
    others: Iterable[Coded],
    *,
    run: Whole,
    runs: int,
    place: NDArray[np.integer[Any]],
    places: int,
    um: NDArray[np.float64],
    line: Whole,
) -> Pivot:
    """Gather readings into bores.

    Parameters
    ----------
    keys, others : iterables of (codes, count), codes of shape (runs,)
        Columns that make the key of a measurement, and those that must agree besides; each run has a row.
    run, runs : shape (n,)
        The run of each row, and how many there are.
    place : shape (n,), from 0 to places - 1
        Where in the bore each reading was taken.
    um, line : shape (n,)
        The readings and the file lines they stand on.
    """
    size = len(um)
    of_key, key_count = groups_of(keys, runs)
    cell = of_key[run] * places + place
    seen = np.zeros(key_count * places, dtype=bool)
    seen[cell] = True
    again = np.zeros(size, dtype=bool)
    repeated = contradicts = again
    group, count = groups_of([(of_key, key_count), *others], runs)
    bore, kept = group[run], slice(None)
    if np.count_nonzero(seen) < size:
        first = _first_of(cell, key_count * places)
        again = first[cell] != np.arange(size)
        same = um == um[first[cell]]
        repeated, contradicts, kept = again & same, again & ~same, ~again
        bore, count = _renumbered(np.where(again, -1, bore), count)
    flat = bore[kept] * places + place[kept]
    gathered = np.full(count * places, np.nan)
    gathered[flat] = um[kept]
    lines = np.zeros(count * places, dtype=np.int64)
    lines[flat] = line[kept]
    return Pivot(
        first=_first_of(bore, count),
        bore=bore,
        um=gathered.reshape(count, places),
        lines=lines.reshape(count, places),
        repeated=repeated,
        contradicts=contradicts,
    )


def pivot_wide(keys: Iterable[Coded], *, um: NDArray[np.float64], line: Whole) -> Pivot:
    """Tell which bores a file holds twice; `um` has shape (n, places), nan where nothing was read.

    A later row of the same key that says nothing new is repeated, one that says otherwise
    contradicts; one that adds readings is kept with just those.
    """
    size, places = um.shape
    of_key, _ = groups_of(keys, size)
    cell = (of_key[:, None] * places + np.arange(places)).ravel()
    read = ~np.isnan(um).ravel()
    contradicts = np.zeros(size, dtype=bool)
    while True:
        live = np.flatnonzero(read & ~np.repeat(contradicts, places))
        first = np.full(size * places, -1)
        first[cell[live][::-1]] = live[::-1]
        differs = live[um.ravel()[live] != um.ravel()[first[cell[live]]]]
        against = first[cell[differs]] // places
        wrong = np.zeros(size, dtype=bool)
        wrong[differs // places] = True
        firm = differs[~wrong[against]]
        if len(firm) == 0:
            break
        contradicts[firm // places] = True
    new = np.zeros(size * places, dtype=bool)
    new[live] = first[cell[live]] == live
    new_cells = new.reshape(size, places)
    repeated = ~new_cells.any(axis=1) & ~contradicts
    kept = np.flatnonzero(~repeated & ~contradicts)
    bore = np.full(size, -1)
    bore[kept] = np.arange(len(kept))
    return Pivot(
        first=kept,
        bore=bore,
        um=np.where(new_cells, um, np.nan)[kept],
        lines=np.where(new_cells, line[:, None], 0)[kept],
        repeated=repeated,
        contradicts=contradicts,
    )


def _first_of(codes: Codes, count: int) -> Whole:
    """Return the first row of each code from 0 on; -1 for a code that no row has."""
    first = np.full(count, -1)
    rows = np.arange(len(codes))[::-1]
    later = codes[::-1]
    if len(codes) and codes.min() < 0:
        rows, later = rows[later >= 0], later[later >= 0]
    first[later] = rows  # of several rows the last written stands: the first of the file
    return first


def _renumbered(codes: Codes, count: int) -> tuple[Codes, int]:
    """Return codes without the numbers that no row has any more."""
    used = np.zeros(count, dtype=bool)
    used[codes[codes >= 0]] = True
    number = np.append(np.cumsum(used) - 1, -1)
    return number[codes], int(used.sum())
