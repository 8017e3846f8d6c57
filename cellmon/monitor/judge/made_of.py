"""Subgroups as rows: what they say of the bores they are made of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cellmon.charts.subgroups import SubgroupStatistics
from cellmon.judged import Bores, Subgroups
from cellmon.records import Numbers, Texts, Times, Whole
from cellmon.records.alike import said


def from_bores(
    bores: Bores,
    first: Whole,
    last: Whole,
    found: SubgroupStatistics,
    *,
    feature: str,
    order: Whole | None = None,
    part_of: str = "itself",
    bore: Texts | None = None,
    fixture: Texts | None = None,
    segment: Whole | None = None,
    thermal: Numbers | None = None,
) -> Subgroups:
    """Return one row a subgroup, of the rows of bores from `first` to `last`.

    Parameters
    ----------
    first, last : ndarray, shape (k,)
        Rows of `bores`, in order.
    order : ndarray, shape (bores,), optional
        The rows of `bores` in the order in which `first` and `last` count them; None: as they stand.
    found : SubgroupStatistics
        Of as many subgroups.
    bore, fixture, segment, thermal : ndarray, shape (k,), optional
        None: of no bore, no fixture, one segment, no temperature known.
    """
    size = len(first)
    nothing = said(None, size)
    flags = bores.flags if order is None else bores.flags[order]
    flagged = np.concatenate(([0], np.cumsum(flags != 0)))
    flagged = flagged[last + 1] - flagged[first]
    if order is not None:
        first, last = order[first], order[last]
    return Subgroups(
        part_number=bores.part_number[last],
        spindle=bores.spindle[last],
        bore=nothing if bore is None else bore,
        feature=said(feature, size),
        part_of=said(part_of, size),
        fixture=nothing if fixture is None else fixture,
        unit_start=bores.unit_start[last],
        shift_start=bores.shift_start[last],
        segment=np.zeros(size, dtype=np.int64) if segment is None else segment,
        first_part=bores.part[first],
        last_part=bores.part[last],
        first_at=bores.measured_at[first],
        at=bores.measured_at[last],
        n=found.n,
        mean=found.mean,
        range=found.range,
        sd=found.sd,
        low=found.low,
        high=found.high,
        flagged=flagged,
        stone_set=bores.stone_set[last],
        honed_first=_honed(bores, first),
        honed_last=_honed(bores, last),
        thermal=np.full(size, np.nan) if thermal is None else thermal,
    )


def of_the_same(
    made: Subgroups, found: SubgroupStatistics, *, feature: str, thermal: Numbers | None = None
) -> Subgroups:
    """Return subgroups of the same bores with the figures of another feature."""
    size = len(made)
    return replace(
        made,
        feature=said(feature, size),
        n=found.n,
        mean=found.mean,
        range=found.range,
        sd=found.sd,
        low=found.low,
        high=found.high,
        thermal=np.full(size, np.nan) if thermal is None else thermal,
    )


def _honed(bores: Bores, rows: Whole) -> Times:
    """Return when some bores were honed, or measured where that is not known."""
    found: Times = np.where(np.isnat(bores.honed_at[rows]), bores.measured_at[rows], bores.honed_at[rows])
    return found
