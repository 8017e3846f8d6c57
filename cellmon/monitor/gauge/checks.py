"""What the master checks say: zero, drift, linearity, and the times in which a gauge was not believed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from scipy.special import stdtrit

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.line import Line, straight_line, zero_errors
from cellmon.monitor.answers import Due, Estimate
from cellmon.monitor.due import master_check
from cellmon.monitor.judge.context import Suspect, is_good, suspect_times
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Flag, Flags, GaugeChecks, Numbers, Texts, Times
from cellmon.stats.intervals import sd_interval
from cellmon.words import say

SHOWN = np.timedelta64(28, "D")
"""Checks of so long are looked at."""
LEAST_FOR_DRIFT = 5
DAY = np.timedelta64(1, "D")
CONFIDENCE = 0.95


@dataclass(frozen=True, kw_only=True)
class LastCheck:
    """The newest reading on a master."""

    at: datetime
    error_um: float
    good: bool | None
    """None where the sheet sets no limit."""


@dataclass(frozen=True, kw_only=True)
class MasterMean:
    """What a gauge read too large on one master, on average."""

    master_mm: float
    n: int
    error_um: Estimate


@dataclass(frozen=True, kw_only=True)
class Linearity:
    """How the error grows with size, by regression over masters; `over_tolerance_um` across the tolerance."""

    n: int
    masters: tuple[MasterMean, ...]
    um_per_mm: Estimate
    over_tolerance_um: Estimate | None


@dataclass(frozen=True, kw_only=True)
class SuspectTime:
    """A time in which a gauge is not to be believed, and the bores it measured in it."""

    gauge: str
    found_at: datetime
    by_um: float
    after: datetime
    until: datetime
    ended: bool
    """Whether it was zeroed or read its master well again."""
    bores: int
    blocks: int
    waiting: int
    """Bores still flagged for it."""
    first_part: str | None
    last_part: str | None


@dataclass(frozen=True, kw_only=True, eq=False)
class MasterChecks:
    """Readings of one gauge on masters over some weeks; errors are reading less master, micrometres."""

    gauge: str
    at: Times
    error_um: Numbers
    master_mm: Numbers
    state: Texts
    good: Flags
    limit_um: float | None
    usual_master_mm: float
    last: LastCheck
    due: Due | None
    zero_um: Estimate | None
    """Mean of the as-found errors within the limit, on the usual master."""
    zero_sd_um: Estimate | None
    zero_n: int
    drift_um_per_day: Estimate | None
    drift_since: datetime | None
    drift_n: int
    linearity: Linearity | None
    suspect: tuple[SuspectTime, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


def master_checks(view: View, gauge: str) -> MasterChecks | None:
    """Return what the checks of one gauge say; None where there are none."""
    start, end = view.as_of - SHOWN, view.as_of + np.timedelta64(1, "us")
    every = view.checked(start, end)
    mine = every.select(every.gauge == gauge)
    if not len(mine):
        return None
    mine = mine.select(np.lexsort((mine.reading_mm, mine.at)))
    events = view.logged(start, end)
    limit = view.sheet.checks.as_found_limit_um if view.sheet.checks else None
    error = zero_errors(mine.reading_mm, mine.master_mm)
    good = np.ones(len(mine), dtype=bool) if limit is None else is_good(mine, limit_um=limit)
    suspect = () if limit is None else suspect_times(mine, events, limit_um=limit)
    usual = _usual(mine.master_mm)
    found = good & (mine.state != "as-left")
    why_not: dict[str, str] = {}
    zero = found & (mine.master_mm == usual)
    since = _last_set(mine, events, gauge)
    lately = zero if since is None else zero & (mine.at >= since)
    drift = _drift(mine.at[lately], error[lately], why_not)
    return MasterChecks(
        gauge=gauge,
        at=mine.at,
        error_um=error,
        master_mm=mine.master_mm,
        state=mine.state,
        good=good,
        limit_um=limit,
        usual_master_mm=usual,
        last=LastCheck(
            at=view.local(mine.at[-1]),
            error_um=float(error[-1]),
            good=None if limit is None else bool(good[-1]),
        ),
        due=_due(view, gauge),
        zero_um=_mean(error[zero], why_not, "zero_um"),
        zero_sd_um=_sd(error[zero], why_not),
        zero_n=int(zero.sum()),
        drift_um_per_day=drift,
        drift_since=None if since is None else view.local(since),
        drift_n=int(lately.sum()),
        linearity=_linearity(view, mine.master_mm[found], error[found], why_not),
        suspect=tuple(_suspect(view, one) for one in suspect),
        why_not=why_not,
    )


def _usual(master_mm: Numbers) -> float:
    sizes, counts = np.unique(master_mm, return_counts=True)
    return float(sizes[counts.argmax()])


def _last_set(checks: GaugeChecks, events: Events, gauge: str) -> np.datetime64 | None:
    """Return when the gauge was last set: zeroed, or read as left."""
    zeroed = events.at[(events.event == EventKind.GAUGE_ZEROED) & (events.gauge == gauge)]
    moments = np.concatenate([zeroed, checks.at[checks.state == "as-left"]])
    return moments.max() if len(moments) else None


def _due(view: View, gauge: str) -> Due | None:
    if gauge != view.sheet.measuring.gauge:
        return None
    return next(iter(master_check(view)), None)


def mean_estimate(values: Numbers) -> Estimate | None:
    """Return a mean with its interval; None below two values."""
    n = len(values)
    if n < 2:
        return None
    half = float(stdtrit(n - 1, (1 + CONFIDENCE) / 2)) * float(values.std(ddof=1)) / math.sqrt(n)
    mean = float(values.mean())
    return Estimate(value=mean, low=mean - half, high=mean + half, confidence=CONFIDENCE)


def _mean(values: Numbers, why_not: dict[str, str], name: str) -> Estimate | None:
    found = mean_estimate(values)
    if found is None:
        why_not[name] = say("{count} good as-found checks; two are needed", count=len(values))
    return found


def _sd(values: Numbers, why_not: dict[str, str]) -> Estimate | None:
    if len(values) < 2 or not values.std() > 0:
        several = len(values) > 1
        why_not["zero_sd_um"] = say("the as-found checks do not differ") if several else say("too few checks")
        return None
    sd = float(values.std(ddof=1))
    found = sd_interval(sd, df=len(values) - 1, confidence=CONFIDENCE)
    return Estimate(value=sd, low=found.low, high=found.high, confidence=CONFIDENCE)


def slope(line: Line, factor: float = 1.0) -> Estimate:
    """Return the slope of a line, times a factor, as an estimate."""
    ends = sorted((factor * line.slope_low, factor * line.slope_high))
    return Estimate(value=factor * line.slope, low=ends[0], high=ends[1], confidence=line.confidence)


def _drift(at: Times, error: Numbers, why_not: dict[str, str]) -> Estimate | None:
    if len(at) < LEAST_FOR_DRIFT:
        why_not["drift_um_per_day"] = say(
            "{count} good checks since it was set; {needed} are needed",
            count=len(at),
            needed=LEAST_FOR_DRIFT,
        )
        return None
    days = (at - at[0]) / DAY
    try:
        return slope(straight_line(days, error, confidence=CONFIDENCE))
    except NoSpread:
        why_not["drift_um_per_day"] = say("all checks were at one moment")
        return None


def _linearity(view: View, master_mm: Numbers, error: Numbers, why_not: dict[str, str]) -> Linearity | None:
    try:
        return linearity(view, master_mm, error)
    except (NotEnoughData, NoSpread):
        sizes = len(np.unique(master_mm))
        why_not["linearity"] = say(
            "{sizes} size of master was read; two are needed, three readings in all", sizes=sizes
        )
        return None


def linearity(view: View, master_mm: Numbers, error: Numbers) -> Linearity:
    """Return how the error grows with the master's size.

    Raises
    ------
    NotEnoughData, NoSpread
        When fewer than three readings, or one size only.
    """
    line = straight_line(master_mm, error, confidence=CONFIDENCE)
    size = view.sheet.part().diameter
    width = None
    if size.lower is not None and size.upper is not None:
        width = size.upper - size.lower
    masters = []
    for master in np.unique(master_mm):
        here = error[master_mm == master]
        alone = Estimate(value=float(here.mean()), low=None, high=None, confidence=None)
        masters.append(
            MasterMean(master_mm=float(master), n=len(here), error_um=mean_estimate(here) or alone)
        )
    return Linearity(
        n=line.n,
        masters=tuple(masters),
        um_per_mm=slope(line),
        over_tolerance_um=None if width is None else slope(line, width),
    )


def _suspect(view: View, one: Suspect) -> SuspectTime:
    end = min(one.until, view.as_of)
    bores = view.session.bores(start=one.after, end=end)
    bores = bores.select((bores.gauge == one.gauge) & (bores.measured_at > one.after))
    return SuspectTime(
        gauge=one.gauge,
        found_at=view.local(one.at),
        by_um=one.by_um,
        after=view.local(one.after),
        until=view.local(one.until),
        ended=bool(one.until <= view.as_of),
        bores=len(bores),
        blocks=len(set(bores.part.tolist())),
        waiting=int(((bores.flags & Flag.ZERO_SUSPECT.bit) != 0).sum()),
        first_part=bores.part[0] if len(bores) else None,
        last_part=bores.part[-1] if len(bores) else None,
    )
