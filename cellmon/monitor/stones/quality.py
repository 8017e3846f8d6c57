"""Bores until sizes scatter too far or honing takes too long even with freshly dressed stones."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cellmon.errors import NotEnoughData
from cellmon.monitor.stones.drifting import BLOCKS, clear_line
from cellmon.monitor.stones.dulling import SETTLING, Intervals, dulled
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.monitor.view import View
from cellmon.sheet import StoneKind
from cellmon.stones.crossing import level_crossing

Floats = NDArray[np.float64]

LEAST = 20
"""Bores in each stretch."""


def cycle_left(view: View, stay: Stay, kind: StoneKind | None) -> GoodBores | None:
    """Return when freshly dressed stones of a set will take longer than `most_cycle_s`."""
    if kind is None or kind.most_cycle_s is None:
        return None
    found = view.dressed_intervals(stay.spindle)
    mine = np.flatnonzero((found.bores.honed > stay.start) & (found.since >= SETTLING))
    cycle = found.bores.cycle_s
    return _left(found, mine, cycle[mine], upper=kind.most_cycle_s, feature="cycle_s", bore=None)


def spread_left(view: View, stay: Stay) -> GoodBores | None:
    """Return when tolerance over spread of sizes falls below `capability.required`.

    The spread is that of neighbours, as freshly dressed stones leave it: a dressing restores the rest.
    """
    diameter, required = view.running(stay.spindle).diameter, view.sheet.capability.required
    lower, upper = diameter.lower_um, diameter.upper_um
    if lower is None or upper is None:
        return None
    found = view.dressed_intervals(stay.spindle)
    fit = (found.bores.honed > stay.start) & (found.since >= SETTLING) & np.isfinite(found.bores.average)
    left = []
    for bore in dict.fromkeys(found.bores.bore[fit].tolist()):
        mine = np.flatnonzero(fit & (found.bores.bore == bore))
        beside = found.interval[mine[1:]] == found.interval[mine[:-1]]
        squares = np.diff(found.bores.average[mine])[beside] ** 2 / 2
        most = ((upper - lower) / (6 * required)) ** 2
        one = _left(found, mine[1:][beside], squares, upper=most, feature="size_spread", bore=bore)
        left += [] if one is None else [one]
    return min(left, key=lambda one: one.p50, default=None)


def _left(
    found: Intervals, mine: NDArray[np.int64], values: Floats, *, upper: float, feature: str, bore: str | None
) -> GoodBores | None:
    """Return when the level of freshly dressed stones passes a limit; None where no drift is clear."""
    known = np.isfinite(values)
    mine, values = mine[known], values[known]
    if len(mine) < BLOCKS * LEAST:
        return None
    try:
        dull = dulled(found, mine, values)
    except NotEnoughData:
        return None  # what a dressing restores cannot be told from what it does not
    line = clear_line(found.age[mine], values - dull.per_bore * found.since[mine])
    if line is None:
        return None
    crossed = level_crossing(level=line.level, slope=line.slope, covariance=line.covariance, upper=upper)
    if crossed is None:
        return None
    return GoodBores(
        p05=round(crossed.p05),
        p50=round(crossed.p50),
        p95=None if crossed.p95 is None else round(crossed.p95),
        feature=feature,
        bore=bore,
    )
