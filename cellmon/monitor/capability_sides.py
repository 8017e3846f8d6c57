"""What each limit of a stream is held against, and the spread inside its subgroups."""

from __future__ import annotations

import numpy as np

from cellmon.capability.indices import Side
from cellmon.charts.shewhart import Spread, sigma_from_ranges
from cellmon.charts.subgroups import statistics
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.capability_figures import Held
from cellmon.monitor.stream import value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Whole
from cellmon.stats.summary import summarise


def held_against(view: View, stream: Stream, bores: Bores) -> tuple[Held, ...]:
    """Return what each limit is held against: one figure for both, or the least and the greatest."""
    tolerance = view.tolerance(stream)
    low, high = (
        np.asarray(getattr(bores, column), dtype=np.float64) for column in judged_columns(view, stream)
    )
    lower, upper = tolerance.lower_um, tolerance.upper_um
    if low is high or lower is None or upper is None or np.array_equal(low, high):
        return (Held(values=low if upper is None else high, lower=lower, upper=upper),)
    return (Held(values=low, lower=lower, upper=None), Held(values=high, lower=None, upper=upper))


def judged_columns(view: View, stream: Stream) -> tuple[str, str]:
    """Return the columns held against the lower and the upper limit."""
    part = view.sheet.charted_part(stream.part_number)
    if stream.feature == "diameter" and part.diameter.judge == "every-reading":
        return "least", "greatest"
    column = value_column(view, stream)
    return column, column


def side_of(bores: Bores, column: str, view: View) -> Side:
    values = getattr(bores, column)
    summary = summarise(values)
    spread = _spread_within(values, runs(bores, view.sheet.subgroups.size))
    return Side(
        mean=summary.mean,
        sd_within=spread.sigma if spread else None,
        df_within=spread.df if spread else None,
        sd_total=summary.sd,
        n=summary.n,
    )


def runs(bores: Bores, size: int) -> Whole:
    """Number neighbouring bores of one shift and stone set as subgroups of `size`, the rest -1."""
    if not len(bores):
        return np.zeros(0, dtype=np.int64)
    shift = np.unique(bores.shift_start, return_inverse=True)[1]
    stones = np.unique(bores.stone_set.astype(str), return_inverse=True)[1]
    changed = np.concatenate(([True], (shift[1:] != shift[:-1]) | (stones[1:] != stones[:-1])))
    begins = np.flatnonzero(changed)
    place = np.arange(len(bores)) - np.repeat(begins, np.diff(np.append(begins, len(bores))))
    number = np.cumsum(place % size == 0) - 1
    whole = np.bincount(number)[number] == size
    return np.where(whole, number, -1)


def _spread_within(values: Numbers, labels: Whole) -> Spread | None:
    found = statistics(values[labels >= 0], _dense(labels[labels >= 0]))
    usable = found.n >= 2
    if not usable.any():
        return None
    return sigma_from_ranges(found.range[usable], found.n[usable])


def _dense(labels: Whole) -> Whole:
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


def count_outside(bores: Bores, low: str, high: str, lower: float | None, upper: float | None) -> int:
    outside = np.zeros(len(bores), dtype=bool)
    if lower is not None:
        outside |= getattr(bores, low) < lower
    if upper is not None:
        outside |= getattr(bores, high) > upper
    return int(outside.sum())


def spread_inside(subgroups: Subgroups) -> float | None:
    if not len(subgroups):
        return None
    return sigma_from_ranges(subgroups.range, subgroups.n).sigma
