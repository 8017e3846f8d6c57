"""What each limit of a stream is held against, the plain indices, and the spread inside its subgroups."""

from __future__ import annotations

import numpy as np

from cellmon.capability.indices import Indices, Side, indices
from cellmon.charts.shewhart import Spread, sigma_from_ranges
from cellmon.charts.subgroups import statistics
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.audited_bores import AuditedBores
from cellmon.monitor.capability_figures import Held
from cellmon.monitor.kept import kept
from cellmon.monitor.stream_bores import value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Whole
from cellmon.records.alike import run_starts
from cellmon.stats.summary import summarise
from cellmon.words import say, to_say

ONE_LIMIT = to_say("Cp and Pp need two limits")
NEEDS_TRACE = to_say("the size that decides is taken from traces: see diameter_trace")
OF_INDICES = ("model", "cp", "cpk", "pp", "ppk", "ppm_expected", "ppm_observed", "lower_bound")


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


def of_traces(view: View, stream: Stream) -> bool:
    """Return whether two-point sizes of a stream carry no claim, because a size from traces decides."""
    part = view.sheet.charted_part(stream.part_number)
    return stream.feature == "diameter" and part.sized_by_trace and part.diameter.judge == "size"


def plain_indices(view: View, stream: Stream, bores: Bores) -> tuple[Indices | None, dict[str, str]]:
    """Return the indices by the normal formulas, and why each that is missing is not known."""
    if of_traces(view, stream):
        return None, dict.fromkeys(OF_INDICES, say(NEEDS_TRACE))
    tolerance = view.tolerance(stream)
    lower, upper = tolerance.lower_um, tolerance.upper_um
    low, high = judged_columns(view, stream)
    why_not: dict[str, str] = {}
    try:
        found = indices(
            lower,
            upper,
            low_side=None if lower is None else _side_of(bores, low, view),
            high_side=None if upper is None else _side_of(bores, high, view),
            nonconforming=_count_outside(bores, low, high, lower, upper),
            claim_confidence=view.sheet.capability.confidence,
        )
    except (NotEnoughData, NoSpread) as refused:
        return None, dict.fromkeys(OF_INDICES, str(refused))
    if found.cp is None:
        one = lower is None or upper is None
        why_not.update(cp=say(ONE_LIMIT) if one else say("no whole subgroup"))
    if found.pp is None:
        why_not.update(pp=say(ONE_LIMIT))
    if found.cpk is None:
        why_not.update(cpk=say("no whole subgroup, so nothing is known of the spread inside them"))
    return found, why_not


def _side_of(bores: Bores, column: str, view: View) -> Side:
    return kept(_side, getattr(bores, column), runs(bores, view.sheet.subgroups.size))


def _side(values: Numbers, labels: Whole) -> Side:
    summary = summarise(values)
    spread = _spread_within(values, labels)
    return Side(
        mean=summary.mean,
        sd_within=spread.sigma if spread else None,
        df_within=spread.df if spread else None,
        sd_total=summary.sd,
        n=summary.n,
    )


def runs(bores: Bores, size: int) -> Whole:
    """Number neighbouring bores of one shift and stone set as subgroups of `size`, the rest -1.

    Of an audited stream all are single values.
    """
    if not len(bores):
        return np.zeros(0, dtype=np.int64)
    if isinstance(bores, AuditedBores):
        return np.full(len(bores), -1)
    begins = np.union1d(run_starts(bores.shift_start), run_starts(bores.stone_set))
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


def _count_outside(bores: Bores, low: str, high: str, lower: float | None, upper: float | None) -> int:
    outside = np.zeros(len(bores), dtype=bool)
    if lower is not None:
        outside |= getattr(bores, low) < lower
    if upper is not None:
        outside |= getattr(bores, high) > upper
    return int(outside.sum())


def spread_inside(subgroups: Subgroups) -> float | None:
    """Return sigma from the ranges of subgroups; None without any."""
    if not len(subgroups):
        return None
    return sigma_from_ranges(subgroups.range, subgroups.n).sigma
