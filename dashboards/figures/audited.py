"""Audits and findings drawn as the pair of charts: values above moving ranges, shares above bores."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.monitor.audits import AuditStream, FindingStream
from cellmon.records import Times
from cellmon.shifts import to_local
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.clock import Clock, clock_of
from dashboards.figures.mean_range import HEIGHT, Pair, mean_range_figure

LEAST_DRAWN = 2


def pair_of_audit(stream: AuditStream, zone: str) -> Pair:
    """Return single values with their moving ranges; on the log scale those are ratios."""
    ratio = stream.scale == "log"
    return Pair(
        clock=_clock(stream.at, zone),
        shifts=(),
        part=stream.part,
        at=stream.at,
        n=np.ones(len(stream.at), dtype=np.int64),
        mean=stream.value,
        mean_lower=stream.lower,
        mean_centre=stream.center,
        mean_upper=stream.upper,
        spread=stream.moving_range,
        spread_lower=np.where(np.isnan(stream.range_upper), np.nan, 1.0 if ratio else 0.0),
        spread_centre=stream.range_center,
        spread_upper=stream.range_upper,
        beyond_mean=stream.beyond,
        beyond_spread=stream.beyond_range,
        unit=stream.unit,
        spread_unit="" if ratio else None,
        names=(to_say("value"), to_say("ratio to last") if ratio else to_say("moving range")),
    )


def pair_of_finding(stream: FindingStream, zone: str) -> Pair:
    """Return the bores with a finding in each shift, and below them how many bores there were."""
    nothing = np.full(len(stream.bores), np.nan)
    share = stream.baseline_found / max(stream.baseline_bores, 1)
    none = np.zeros(len(stream.bores), dtype=np.int64)
    return Pair(
        clock=_clock(stream.shift_start, zone),
        shifts=(),
        part=stream.shift,
        at=stream.shift_start,
        n=stream.bores,
        mean=stream.found.astype(np.float64),
        mean_lower=np.where(np.isnan(stream.most), np.nan, 0.0),
        mean_centre=np.where(np.isnan(stream.most), np.nan, stream.bores * share),
        mean_upper=stream.most,
        spread=stream.bores.astype(np.float64),
        spread_lower=nothing,
        spread_centre=nothing,
        spread_upper=nothing,
        beyond_mean=stream.beyond.astype(np.int64),
        of_blocks=False,
        beyond_spread=none,
        unit="bores",
        names=(to_say("with it"), stream.of.removeprefix("bores ")),
    )


def audited_figure(stream: AuditStream | FindingStream, zone: str) -> theme.Figure:
    """Draw one stream of audits or of findings; one value alone is no chart."""
    at = stream.at if isinstance(stream, AuditStream) else stream.shift_start
    if len(at) < LEAST_DRAWN:
        return theme.notice(say("Fewer than two values of this stream were taken."), height=HEIGHT)
    return mean_range_figure(pair_of(stream, zone))


def pair_of(stream: AuditStream | FindingStream, zone: str) -> Pair:
    """Return either kind of stream as a pair of charts."""
    of_audit = isinstance(stream, AuditStream)
    return pair_of_audit(stream, zone) if of_audit else pair_of_finding(stream, zone)


def rows(stream: AuditStream | FindingStream, zone: str) -> dict[str, list[Any]]:
    """Return the stream as columns, in its own unit."""
    pair = pair_of(stream, zone)
    level, spread = (name.replace(" ", "_") for name in pair.names)
    return {
        "at": pair.clock.stamps(pair.at),
        "part" if isinstance(stream, AuditStream) else "shift": pair.part.tolist(),
        "unit": [pair.unit] * len(pair.at),
        level: pair.mean.tolist(),
        f"{level}_lower": pair.mean_lower.tolist(),
        f"{level}_centre": pair.mean_centre.tolist(),
        f"{level}_upper": pair.mean_upper.tolist(),
        spread: pair.spread.tolist(),
        f"{spread}_upper": pair.spread_upper.tolist(),
    }


def _clock(at: Times, zone: str) -> Clock:
    """Return a clock over all of a stream, with a little room at both ends."""
    first, last = (to_local(one, ZoneInfo(zone)) for one in (at[0], at[-1]))
    room = max((last - first) / 40, timedelta(hours=1))
    return clock_of(first - room, last + room, zone)
