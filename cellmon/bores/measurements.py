"""Measurements: which rows of a gauge were read together as one measuring of one bore.

Rows of one gauge, part and bore belong together that share the text `measurement`; without it, those
within three minutes of the first that repeat no plane and direction. A row that would repeat one
begins the next measurement, or joins the next that has room. The order of the rows does not matter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cellmon.records.alike import dense, numbered

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
WITHIN = np.timedelta64(180, "s").astype("timedelta64[us]")
"""Rows later than this after the first are another measurement."""
_WITHIN_US = int(WITHIN.astype(np.int64))
_LONG = 64
"""Rows of one bore in one unbroken series beyond which rounds over all chunks no longer pay."""


def measurement_numbers(
    gauge: NDArray[np.object_],
    part: NDArray[np.object_],
    bore: NDArray[np.object_],
    measured_at: NDArray[np.datetime64],
    measurement: NDArray[np.object_],
    read: Flags,
) -> Whole:
    """Return for each row the number of the measurement it belongs to.

    Parameters
    ----------
    gauge, part, bore, measurement : ndarray of object, shape (rows,)
        Texts, None where nothing stands.
    measured_at : ndarray of datetime64, shape (rows,)
    read : ndarray of bool, shape (rows, planes, directions)
        What each row holds.

    Returns
    -------
    ndarray of int64, shape (rows,)
        0 to the number of measurements less one. Which rows share a number does not depend on their
        order, as long as no two rows of a bore share both moment and readings; the numbers do.
    """
    rows = len(part)
    if rows == 0:
        return np.zeros(0, dtype=np.int64)
    held = np.asarray(read, dtype=np.bool_).reshape(rows, -1)
    bores = _joined([_codes(column) for column in (gauge, part, bore)])
    named = _codes(measurement)
    moments = np.asarray(measured_at).astype("datetime64[us]").astype(np.int64)
    number = np.empty(rows, dtype=np.int64)
    with_name = np.flatnonzero(named >= 0)
    number[with_name] = _joined([bores[with_name], named[with_name]])
    without = np.flatnonzero(named < 0)
    offset = int(number[with_name].max()) + 1 if with_name.size else 0
    number[without] = offset + _by_time(bores[without], moments[without], held[without])
    return number


def _codes(column: NDArray[np.object_]) -> Whole:
    """Return a number for each different text, -1 for None."""
    return numbered(np.asarray(column, dtype=object))[0]


def _joined(columns: list[Whole]) -> Whole:
    """Return one number for each different combination, dense from 0."""
    joined = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        joined = dense(joined * (int(column.max(initial=-1)) + 2) + column + 1)
    return joined


def _by_time(bores: Whole, moments: Whole, held: Flags) -> Whole:
    """Number the rows that carry no name of their measurement."""
    if bores.size == 0:
        return np.zeros(0, dtype=np.int64)
    order = np.lexsort((moments, bores))
    if ((bores[order[1:]] == bores[order[:-1]]) & (moments[order[1:]] == moments[order[:-1]])).any():
        order = np.lexsort((*held.T[::-1], moments, bores))
    bores, moments, held = bores[order], moments[order], held[order]
    # rows further apart than the window can never belong together: each such chunk stands alone
    new = np.ones(len(bores), dtype=np.bool_)
    new[1:] = (bores[1:] != bores[:-1]) | (np.diff(moments) > _WITHIN_US)
    starts = np.flatnonzero(new)
    chunk = np.cumsum(new) - 1
    ends = np.append(starts[1:], len(bores)) - 1
    repeated = (np.add.reduceat(held.astype(np.int32), starts, axis=0) > 1).any(axis=1)
    crowded = repeated | (moments[ends] - moments[starts] > _WITHIN_US)
    within = np.zeros(len(bores), dtype=np.int64)
    long = ends - starts >= _LONG
    busy = np.flatnonzero((crowded & ~long)[chunk])
    if busy.size:
        within[busy] = _first_that_fits(chunk[busy], moments[busy], held[busy])
    for i in np.flatnonzero(crowded & long):
        rows = slice(int(starts[i]), int(ends[i]) + 1)
        within[rows] = _one_long_chunk(moments[rows], held[rows])
    result = np.empty(len(bores), dtype=np.int64)
    result[order] = _joined([chunk, within])
    return result


def _first_that_fits(chunk: Whole, moments: Whole, held: Flags) -> Whole:
    """Return for each row, in order of time, the measurement of its chunk that it joins.

    A round fills one measurement of every chunk at once: the first row left opens it, then row after
    row joins that lies in the window and repeats nothing. Rounds go on until no row is left.
    """
    joined = np.full(len(chunk), -1, dtype=np.int64)
    left = np.arange(len(chunk))
    for turn in range(len(chunk)):
        if left.size == 0:
            break
        joined[left[_one_round(chunk[left], moments[left], held[left])]] = turn
        left = left[joined[left] < 0]
    return joined


def _one_long_chunk(moments: Whole, held: Flags) -> Whole:
    """The same for a bore that was read on and on, as a reference part is: one row after the other.

    A measurement that has once refused a set of places refuses it for good, because it only fills
    and grows old; each set of places remembers how far it has been refused.
    """
    places = [int.from_bytes(row.tobytes()) for row in np.packbits(held, axis=1)]
    opened: list[int] = []
    filled: list[int] = []
    refused_until: dict[int, int] = {}
    joined = np.empty(len(moments), dtype=np.int64)
    for row, (moment, place) in enumerate(zip(moments.tolist(), places, strict=True)):
        at = refused_until.get(place, 0)
        while at < len(opened) and (filled[at] & place or moment - opened[at] > _WITHIN_US):
            at += 1
        if at == len(opened):
            opened.append(moment)
            filled.append(place)
        else:
            filled[at] |= place
        refused_until[place] = at + 1 if place else at
        joined[row] = at
    return joined


def _one_round(chunk: Whole, moments: Whole, held: Flags) -> Flags:
    """Return which rows join the measurement that the first row of each chunk opens."""
    starts = np.flatnonzero(np.concatenate(([True], chunk[1:] != chunk[:-1])))
    lengths = np.diff(starts, append=len(chunk))
    near = moments - np.repeat(moments[starts], lengths) <= _WITHIN_US
    taken = held[starts]
    joins = np.zeros(len(chunk), dtype=np.bool_)
    joins[starts] = True
    reach = np.add.reduceat(near.astype(np.int64), starts)  # near rows stand first in each chunk
    for step in range(1, int(reach.max())):
        open_ = np.flatnonzero(reach > step)
        rows = starts[open_] + step
        fits = ~(taken[open_] & held[rows]).any(axis=1)
        taken[open_[fits]] |= held[rows[fits]]
        joins[rows[fits]] = True
    return joins
