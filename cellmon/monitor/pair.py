"""The classic pair of charts of one stream: level above spread, as every text prints them.

Subgroup means with ranges, means with standard deviations, single bores with moving ranges; and two that
remember: the weighted moving average of means with ranges, and both cumulative sums. All rest on the same
centre and sigma, those of the stream inside subgroups.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cache
from typing import Any

import numpy as np

from cellmon.charts.cusum import cusum
from cellmon.charts.ewma import ewma, ewma_limits
from cellmon.charts.shewhart import (
    LEAST_SUBGROUPS,
    Limits,
    beyond,
    mean_limits,
    moving_range,
    range_limits,
    sd_limits,
)
from cellmon.errors import NotEnoughData
from cellmon.monitor.answers import Answer
from cellmon.monitor.stream import TWO_DAYS
from cellmon.monitor.stream_bores import stream_bores, value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Texts, Times, Whole
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import to_say


class PairKind(StrEnum):
    """Which level and which spread stand one above the other."""

    RANGE = "range"
    SD = "sd"
    SINGLE = "single"
    EWMA = "ewma"
    CUSUM = "cusum"


REMEMBERING = (PairKind.EWMA, PairKind.CUSUM)
"""These begin at the first point shown and are not set back where they pass a limit."""
WEIGHT, REFERENCE = 0.1, 0.5
"""Of the newest mean in an average; of the sums, in standard errors of a mean: as `run-length` takes them."""
RUN_LENGTH = 370.4
"""Points that a moving average, or both sums together, run until a false call: as means at three sigma."""

NAMES = {  # in English, as files name their columns; whoever shows one says it
    PairKind.RANGE: (to_say("mean"), to_say("range")),
    PairKind.SD: (to_say("mean"), to_say("standard deviation")),
    PairKind.SINGLE: (to_say("bore"), to_say("moving range")),
    PairKind.EWMA: (to_say("moving average"), to_say("range")),
    PairKind.CUSUM: (to_say("upper sum"), to_say("lower sum")),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartPair(Answer):
    """One entry a point, in making order; micrometres; limits nan where nothing is called a limit.

    `beyond_level` and `beyond_spread` are -1 below, 0 inside, +1 above. A moving range is nan where
    the bore before it belongs to another shift.
    """

    stream: Stream
    kind: PairKind
    level_name: str
    spread_name: str
    since: datetime
    until: datetime
    zone: str
    shifts: tuple[ShiftOf, ...]
    part: Texts
    at: Times
    n: Whole
    level: Numbers
    level_lower: Numbers
    level_center: Numbers
    level_upper: Numbers
    spread: Numbers
    spread_lower: Numbers
    spread_center: Numbers
    spread_upper: Numbers
    beyond_level: Whole
    beyond_spread: Whole
    stone_set: Texts


def chart_pair(
    view: View, stream: Stream, kind: PairKind, *, since: datetime | None, until: datetime | None
) -> ChartPair:
    """Answer with one pair of charts of one stream, by default over the last two days.

    Raises
    ------
    NotEnoughData
        For a chart that remembers, where nothing is called a limit.
    """
    end = min(view.as_of, to_utc(until)) if until else view.as_of
    start = to_utc(since) if since else end - TWO_DAYS
    points = (
        _single(view, stream, start, end)
        if kind is PairKind.SINGLE
        else _grouped(view, stream, kind, start, end)
    )
    if len(points["at"]):
        start = max(start, points["at"][0])
    centre, sigma = view.limits[stream].over(points["at"])
    if kind in REMEMBERING:
        points, levels, spreads = _remembered(kind, points, centre, sigma)
    else:
        levels = mean_limits(centre, sigma, points["n"])
        spreads = _spread_limits(kind, sigma, points["n"])
    level_name, spread_name = NAMES[kind]
    return ChartPair(
        **view.head(),
        stream=stream,
        kind=kind,
        level_name=level_name,
        spread_name=spread_name,
        since=view.local(start),
        until=view.local(end),
        zone=view.zone.key,
        shifts=tuple(view.rules.now.calendar.between(start, end)),
        **points,
        level_lower=levels.lower,
        level_center=levels.centre,
        level_upper=levels.upper,
        spread_lower=spreads.lower,
        spread_center=spreads.centre,
        spread_upper=spreads.upper,
        beyond_level=beyond(points["level"], levels),
        beyond_spread=beyond(points["spread"], spreads),
    )


def _grouped(
    view: View, stream: Stream, kind: PairKind, start: np.datetime64, end: np.datetime64
) -> dict[str, Any]:
    found = view.session.subgroups(stream, start=start, end=end)
    spread = found.sd if kind is PairKind.SD else found.range
    return {
        "part": found.last_part,
        "at": found.at,
        "n": found.n,
        "level": found.mean,
        "spread": spread,
        "stone_set": found.stone_set,
    }


def _single(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> dict[str, Any]:
    bores = stream_bores(view, stream, start, end)
    values = getattr(bores, value_column(view, stream))
    bores, values = bores.select(np.isfinite(values)), values[np.isfinite(values)]
    ranges = moving_range(values)
    ranges[1:][bores.shift_start[1:] != bores.shift_start[:-1]] = np.nan
    ones = np.ones(len(bores), dtype=np.int64)
    return {
        "part": bores.part,
        "at": bores.measured_at,
        "n": ones,
        "level": values,
        "spread": ranges,
        "stone_set": bores.stone_set,
    }


def _spread_limits(kind: PairKind, sigma: Numbers, n: Whole) -> Limits:
    if kind is PairKind.SD:
        return sd_limits(sigma, n)
    return range_limits(sigma, np.full(len(n), 2) if kind is PairKind.SINGLE else n)


def _remembered(
    kind: PairKind, points: dict[str, Any], centre: Numbers, sigma: Numbers
) -> tuple[dict[str, Any], Limits, Limits]:
    """Return the points that have limits, with what each remembers of those before in place of its mean."""
    known = np.isfinite(sigma) & np.isfinite(points["level"])
    if not known.any():
        raise NotEnoughData("subgroups for limits", need=LEAST_SUBGROUPS, got=len(known))
    points = {name: values[known] for name, values in points.items()}
    centre, error = centre[known], sigma[known] / np.sqrt(points["n"])
    away = (points["level"] - centre) / error
    if kind is PairKind.EWMA:
        since = np.arange(1, len(away) + 1)
        levels = ewma_limits(centre, error, WEIGHT, width=_ewma_width(), points=since)
        points["level"] = centre + error * ewma(away, WEIGHT)
        return points, levels, range_limits(sigma[known], points["n"])
    sums, nought = cusum(away, REFERENCE), np.zeros_like(error)
    limits = Limits(lower=nought, centre=nought, upper=error * _cusum_limit())
    points["level"], points["spread"] = error * sums.upper, error * sums.lower
    return points, limits, limits


@cache
def _ewma_width() -> float:
    from cellmon.charts.run_length.ewma import ewma_limit  # late: few ask for it

    return ewma_limit(WEIGHT, RUN_LENGTH, exact_limits=True)


@cache
def _cusum_limit() -> float:
    from cellmon.charts.run_length.cusum import two_sided_cusum_limit  # late: few ask for it

    return two_sided_cusum_limit(REFERENCE, RUN_LENGTH)
