"""The classic pair of charts of one stream: level above spread, as every text prints them.

Three pairs are at hand: subgroup means with ranges, means with standard deviations, and single bores
with moving ranges. All rest on the same limits: the stream's centre and its sigma inside subgroups.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

import numpy as np

from cellmon.charts.shewhart import Limits, beyond, mean_limits, moving_range, range_limits, sd_limits
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


NAMES = {  # in English, as files name their columns; whoever shows one says it
    PairKind.RANGE: (to_say("mean"), to_say("range")),
    PairKind.SD: (to_say("mean"), to_say("standard deviation")),
    PairKind.SINGLE: (to_say("bore"), to_say("moving range")),
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
    """Answer with one pair of charts of one stream, by default over the last two days."""
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
