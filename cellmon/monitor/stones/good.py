"""Bores until the form a set hones leaves its tolerance: the quality limit of its life."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.forecast import bores_to_limit
from cellmon.errors import NoSpread
from cellmon.judged import Subgroups
from cellmon.monitor.running import is_running, routed_bores
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.now import LOOKED_BACK, StonesNow
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.monitor.view import View
from cellmon.records import Stream

Floats = NDArray[np.float64]

FORM = ("taper", "barrel", "ovality", "twist", "size_range", "roundness")
"""Features that stones print and no offset puts right."""
NO_DRIFT = "no form feature of this spindle drifts towards a limit"
BLOCKS = 12
"""Stretches of a set's subgroups whose means tell a drift: what wanders inside one is no news."""
CLEAR = 4.5
"""Standard errors from which a drift is believed: with 10 degrees of freedom about 1 in 1000."""


def good_bores(now: StonesNow, stay: Stay, why_not: dict[str, str]) -> GoodBores | None:
    """Return the form feature that a fitted set is expected to bring to a limit first.

    `why_not` is told where there is none. What was honed before the set was fitted is another's.
    """
    view, found = now.view, []
    start = max(stay.start, view.as_of - LOOKED_BACK)
    beside = len(routed_bores(view, stay.spindle))
    for stream, rows in now.subgroups.items():
        if (
            stream.spindle == stay.spindle
            and stream.feature in FORM
            and is_running(view, stream, stay.spindle)
        ):
            one = _left(view, stream, rows, start, beside)
            found += [] if one is None else [one]
    if not found:
        why_not["good_bores"] = NO_DRIFT
        return None
    return min(found, key=lambda one: one.p50)


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A clear line through a set's subgroups, at its last bore; the slope a bore."""

    level: float
    slope: float
    covariance: tuple[tuple[float, float], tuple[float, float]]


def _left(view: View, stream: Stream, rows: Subgroups, start: np.datetime64, beside: int) -> GoodBores | None:
    rows = rows.select((rows.flagged == 0) & (rows.first_at > start) & np.isfinite(rows.mean))
    line = _line(np.cumsum(rows.n).astype(np.float64), rows.mean) if len(rows) >= 3 * BLOCKS else None
    limits, sd = view.tolerance(stream), _bore_sd(rows)
    if line is None or not sd > 0 or (limits.lower_um is None and limits.upper_um is None):
        return None
    try:
        left = bores_to_limit(
            level_um=line.level,
            slope_um=line.slope,
            covariance=line.covariance,
            sigma_um=sd,
            lower_um=limits.lower_um,
            upper_um=limits.upper_um,
        )
    except NoSpread:
        return None
    if left is None:
        return None
    return GoodBores(
        p05=left.p05 * beside,
        p50=left.p50 * beside,
        p95=None if left.p95 is None else left.p95 * beside,
        feature=stream.feature,
        bore=stream.bore,
    )


def _line(bores: Floats, mean: Floats) -> _Line | None:
    """Return a straight line by the means of equal stretches, where its slope is clear."""
    edges = np.linspace(0, len(bores), BLOCKS + 1).astype(int)
    x = np.array([bores[a:b].mean() for a, b in pairwise(edges)])
    y = np.array([mean[a:b].mean() for a, b in pairwise(edges)])
    off = x - x.mean()
    squares = float((off**2).sum())
    slope = float((off * y).sum()) / squares
    variance = float(((y - y.mean() - slope * off) ** 2).sum()) / (BLOCKS - 2)
    slope_var = variance / squares
    if abs(slope) <= CLEAR * np.sqrt(slope_var):
        return None
    ahead = float(bores[-1]) - float(x.mean())
    level_var = variance / BLOCKS + ahead**2 * slope_var
    both = ahead * slope_var
    level = float(y.mean()) + slope * ahead
    return _Line(level=level, slope=slope, covariance=((level_var, both), (both, slope_var)))


def _bore_sd(rows: Subgroups) -> float:
    """Return the standard deviation of a bore inside subgroups; nan where none tells."""
    spread = np.asarray(rows.sd, dtype=np.float64)
    known = spread[np.isfinite(spread)]
    return float(np.sqrt((known**2).mean())) if len(known) else float("nan")
