"""Long histories reduced for the eye: what a column of pixels could not show anyway is left undrawn.

Of every column the first, the last, the least and the greatest point stay, and whatever is told apart:
beyond a limit, outside the tolerance, doubted. So the outline is that of all points, and no point that
calls for attention is lost. What is saved and told as a table is never reduced.
"""

from __future__ import annotations

import numpy as np

from cellmon.records import Flags, Numbers, Times, Whole

COLUMNS = 1200
"""So many stretches of equal time are drawn: about one a pixel of a usual screen."""
FROM = 6000
"""Points up to which all are drawn."""
FEW_COLUMNS, FEW_FROM = 400, 1600
"""The same without WebGL, of which a browser has little or none: reduced sooner, to wider stretches."""

CELLS = (160, 60)
"""So many cells across and up may hold a point of a cloud: each the size of a finger's mark or less."""


def kept(
    at: Times,
    *values: Numbers,
    always: Flags | None = None,
    columns: int = COLUMNS,
    above: int = FROM,
) -> Whole:
    """Return which points to draw, in order.

    Parameters
    ----------
    at : array, shape (n,)
        Moments, ascending.
    *values : array, shape (n,)
        What is drawn of each point: its level, the ends of its bar. Of each the least and the greatest
        of a column stay; nan is neither.
    always : array of bool, shape (n,), optional
        Points that stay in any case.
    columns : int
        Stretches of equal time.
    above : int
        Points up to which all are drawn.

    Examples
    --------
    >>> at = np.arange(10000).astype("datetime64[s]")
    >>> values = np.zeros(10000)
    >>> values[5001] = 7.0
    >>> 5001 in kept(at, values, columns=10)
    True
    >>> len(kept(at, values, columns=10)) < 50
    True
    """
    count = len(at)
    if count <= above:
        return np.arange(count)
    seconds = (at - at[0]) / np.timedelta64(1, "s")
    column = np.minimum((seconds / (seconds[-1] or 1.0) * columns).astype(np.int64), columns - 1)
    starts = np.flatnonzero(np.diff(column, prepend=-1))
    drawn = np.zeros(count, dtype=bool) if always is None else always.copy()
    drawn[starts] = True
    drawn[np.append(starts[1:], count) - 1] = True
    for value in values:
        for sign in (1.0, -1.0):
            drawn[_least(sign * value, column, starts)] = True
    return np.flatnonzero(drawn)


def apart(x: Numbers, y: Numbers, *, always: Flags | None = None, above: int = FROM) -> Whole:
    """Return which points of a cloud to draw, in order: of those in one small cell the first, and `always`.

    Parameters
    ----------
    x, y : array, shape (n,)
        Places on the drawing, finite, in any unit.
    always : array of bool, shape (n,), optional
        Points that stay in any case.
    above : int
        Points up to which all are drawn.

    Examples
    --------
    >>> len(apart(np.tile([0.0, 1.0], 5000), np.tile([0.0, 1.0], 5000)))
    2
    """
    count = len(x)
    if count <= above:
        return np.arange(count)
    cell = _cells(x, CELLS[0]) * (CELLS[1] + 1) + _cells(y, CELLS[1])
    drawn = np.zeros(count, dtype=bool) if always is None else always.copy()
    drawn[np.unique(cell, return_index=True)[1]] = True
    return np.flatnonzero(drawn)


def _cells(value: Numbers, count: int) -> Whole:
    width = float(np.ptp(value)) or 1.0
    found: Whole = ((value - value.min()) / width * count).astype(np.int64)
    return found


def _least(value: Numbers, column: Whole, starts: Whole) -> Whole:
    """Return the first point of each column at which it is least."""
    known = np.where(np.isnan(value), np.inf, value)
    least = np.minimum.reduceat(known, starts)
    place = np.repeat(least, np.diff(np.append(starts, len(value))))
    at_least = np.flatnonzero(known == place)
    _, first = np.unique(column[at_least], return_index=True)
    found: Whole = at_least[first]
    return found
