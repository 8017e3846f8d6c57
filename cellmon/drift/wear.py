"""The level of a stream as stones wear: level and slope, moved by what is known, learned from a baseline.

The mean of a subgroup is its level plus noise. From one subgroup to the next the level moves by the slope
times the bores between, by offsets and temperatures that are known, and by a random step that stands for
all that is not. What the baseline leaves unsure (its level, its slope, its spread) is carried as variance,
so that a stream watched from few subgroups is judged by what those can say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.intervals import (
    LEAST_IN_INTERVAL,
    LEAST_INTERVALS,
    LEAST_INTERVALS_OF_WEAR,
    Between,
    Interval,
    Lines,
    between,
    fit_lines,
    what_dressing_does,
)
from cellmon.errors import NoSpread, NotEnoughData

Floats = NDArray[np.float64]
LEAST_SUBGROUPS = 20
WALKS = np.array([0.0, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3])
"""Variances of a random step, in variances of a subgroup mean, among which a baseline chooses."""
WALK_COST = 1.5
SLOPE_COST, SLOPE_COST_OF_WEAR = 6.0, 2.0
"""What a log-likelihood must gain before a random walk or a slope is believed; less of what wears."""
PRIOR_DF = 5.0
"""What the spread inside subgroups counts for as a first guess of that between them, degrees of freedom."""
DIFFUSE = 1e4
ANYWHERE = 1e4
"""Standard deviations of a mean over which the level of other stones is as good as unknown."""
DRESSED_BORES, DRESSED_VAR = 10, 0.5
"""So many bores after a dressing vary more, by so much of the variance of a bore."""
FRESH_VAR, FRESH_VAR_OF_WEAR = 2.0, 8.0
"""What a dressing leaves unsure of the level, in variances of a subgroup mean, before it was learned."""
SLOPE_VARIES = 0.25
"""Standard deviation of the slope between dressing intervals, as a share of it."""


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What a baseline taught about one stream, micrometres; variances in their square."""

    centre: float
    level: float
    """Where the level stood at the end of the window."""
    level_var: float
    slope: float
    """A bore."""
    slope_var: float
    walk: float
    """Variance of the random step a bore."""
    mean_sd: float
    """Of a mean of `size` bores about its level."""
    mean_df: float
    bore_sd: float
    """Of one bore inside its subgroup."""
    bore_df: float
    size: int
    spread_of_level: float
    """Standard deviation of the level over the window."""
    wears: bool = False
    """Whether stones' wear moves it."""
    resets: bool = False
    """Whether a dressing puts the level anew at `dressed`, else it steps by that from where it was."""
    dressed: float = 0.0
    dressed_var: float | None = None
    """Variance of that between dressings; None where too few were seen to say."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The subgroups a stream is learned from, in order; arrays of shape (k,).

    `moved` is what known inputs moved the level by since the subgroup before, micrometres; `fresh` marks
    the first after a dressing, or after stones or set-up were changed.
    """

    mean: Floats
    sd: Floats
    n: Floats
    moved: Floats
    fresh: NDArray[np.bool_]
    wears: bool = False
    """Whether stones' wear moves it."""
    slopes: bool = True
    """Whether a slope may be learned at all."""
    anew: bool = False
    """Whether other stones may begin at any level."""
    changed: NDArray[np.bool_] | None = None
    """Which of the fresh ones follow other stones or another set-up."""
    doubt: Floats | None = None
    """Variance that the known inputs leave."""


def learn(window: Window, *, past: Window | None = None) -> Learned:
    """Learn one stream's level, slope, random step and spreads.

    `past` is a longer stretch of the same stream, with more dressings: how it wears is learned there,
    where it stands from the window.

    Of each of `WALKS`, with and without a slope, the likelihood is had by a Kalman filter whose noise
    is the unit; the best is taken once it gains `WALK_COST` and `SLOPE_COST` (less of what wears). Where
    the window holds several dressing intervals, each is a line of its own, and how those vary is learned.

    Raises
    ------
    NotEnoughData
        Below 20 subgroups.
    NoSpread
        Where the bores inside subgroups, or the means, do not differ.

    References
    ----------
    Harvey, Forecasting, Structural Time Series Models and the Kalman Filter (1989), chapters 3 and 4:
    local level and local linear trend, likelihood from innovations with the noise concentrated out
    (from memory); checked in `tests/drift/test_wear.py` against the likelihood of the joint normal.
    """
    if len(window.mean) < LEAST_SUBGROUPS:
        raise NotEnoughData("subgroups to learn a stream from", need=LEAST_SUBGROUPS, got=len(window.mean))
    inner = np.maximum(window.n - 1, 0)
    bore_df = float(inner.sum())
    bore_sd = float(np.sqrt((inner * np.nan_to_num(window.sd) ** 2).sum() / max(bore_df, 1)))
    if not bore_sd > 0 or not np.ptp(window.mean) > 0:
        raise NoSpread("subgroups to learn a stream from")
    size = int(np.median(window.n))
    bores = _Bores(sd=bore_sd, df=bore_df, size=size)
    found = _learned(window, bores)
    if past is None or past.fresh[1:].sum() <= window.fresh[1:].sum():
        return found
    wears = _learned(past, bores)
    return replace(
        wears,
        centre=found.centre,
        level=found.level,
        level_var=found.level_var,
        spread_of_level=found.spread_of_level,
    )


def _learned(window: Window, bores: _Bores) -> Learned:
    stretches = _intervals(window, bores.size)
    long = sum(len(one.mean) >= LEAST_IN_INTERVAL for one in stretches)
    if long >= (LEAST_INTERVALS_OF_WEAR if window.wears else LEAST_INTERVALS):
        return _from_intervals(window, stretches, bores)
    return _from_the_whole(window, bores)


@dataclass(frozen=True, kw_only=True)
class _Bores:
    """One bore inside its subgroup."""

    sd: float
    df: float
    size: int


def _from_the_whole(window: Window, bores: _Bores) -> Learned:
    """Learn from a window with few dressings: one slope, and what a dressing does is not known."""
    bore_sd, bore_df, size = bores.sd, bores.df, bores.size
    found = filtered(window, size=size, prior=bore_sd**2 / size)
    slope = (SLOPE_COST_OF_WEAR if window.wears else SLOPE_COST) if window.slopes else np.inf
    cost = np.where(WALKS > 0, WALK_COST, 0.0)[None, :] + np.array([0.0, slope])[:, None]
    best = int(np.argmax(found.likelihood - cost.ravel()))
    mean_sd = float(np.sqrt(max(float(found.variance[best]), (0.1 * bore_sd) ** 2 / size)))
    scale = mean_sd**2
    varies = (SLOPE_VARIES * float(found.slope[best])) ** 2 if window.fresh.any() else 0.0
    return Learned(
        centre=float(np.average(window.mean, weights=window.n)),
        level=float(found.level[best]),
        level_var=float(found.p11[best]) * scale,
        slope=float(found.slope[best]),
        slope_var=float(found.p22[best]) * scale + varies,
        walk=float(np.tile(WALKS, 2)[best]) / size * scale,
        mean_sd=mean_sd,
        mean_df=float(len(window.mean) + PRIOR_DF - (1 if best < len(WALKS) else 2)),
        bore_sd=bore_sd,
        bore_df=bore_df,
        size=size,
        spread_of_level=ANYWHERE * mean_sd if window.anew else float(found.levels[:, best].std()),
        wears=window.wears,
    )


def _intervals(window: Window, size: int) -> list[Interval]:
    """Cut a window at its dressings."""
    fresh = np.flatnonzero(window.fresh[1:]) + 1
    changed = np.zeros(len(window.mean), dtype=bool) if window.changed is None else window.changed
    doubt = np.zeros(len(window.mean)) if window.doubt is None else window.doubt
    found = []
    for a, b in zip([0, *fresh], [*fresh, len(window.mean)], strict=True):
        n = window.n[a:b]
        gap = np.concatenate([n[:1], (n[1:] + n[:-1]) / 2])
        bores = np.cumsum(gap)
        moved = window.moved[a:b] * (np.arange(a, b) > 0)
        after = bool(a and not changed[a])
        early = np.where(bores <= DRESSED_BORES, DRESSED_VAR * size, 0.0) if after else 0.0
        found.append(
            Interval(
                mean=window.mean[a:b],
                so_far=np.cumsum(moved),
                doubt=doubt[a:b],
                bores=bores,
                gap=gap,
                noise=size / n + early,
                dressed=after,
            )
        )
    return found


def _from_intervals(window: Window, stretches: Sequence[Interval], bores: _Bores) -> Learned:
    """Learn from a window with several dressings: where each starts, how it falls, and how both vary."""
    long = [one for one in stretches if len(one.mean) >= LEAST_IN_INTERVAL]
    cost = SLOPE_COST_OF_WEAR if window.wears else SLOPE_COST
    prior, size = bores.sd**2 / bores.size, bores.size
    best = 0
    for slopes in (True, False) if window.slopes else (False,):
        lines = fit_lines(long, walks=WALKS / size, slopes=slopes, prior=prior, prior_df=PRIOR_DF)
        best = int(np.argmax(lines.likelihood - np.where(WALKS > 0, WALK_COST, 0.0)))
        scale = max(float(lines.variance[best]), (0.1 * bores.sd) ** 2 / size)
        slope = between(lines.slope[best], scale * lines.slope_var[best]) if slopes else None
        if slope is not None and slope.mean**2 > 2 * cost * slope.mean_var:
            break
        slope = None
    return _learned_lines(window, long, lines, best, slope, bores)


def _learned_lines(
    window: Window, long: Sequence[Interval], lines: Lines, best: int, slope: Between | None, bores: _Bores
) -> Learned:
    scale = max(float(lines.variance[best]), (0.1 * bores.sd) ** 2 / bores.size)
    does = what_dressing_does(
        lines.start[best],
        lines.end[best],
        scale * lines.start_var[best],
        scale * lines.end_var[best],
        np.array([one.dressed for one in long]),
        guess=FRESH_VAR * scale,
    )
    levels = np.concatenate(
        [
            start + fall * one.bores + one.so_far
            for one, start, fall in zip(long, lines.start[best], lines.slope[best], strict=True)
        ]
    )
    return Learned(
        centre=float(np.average(window.mean, weights=window.n)),
        level=float(lines.end[best, -1]),
        level_var=scale * float(lines.end_var[best, -1]),
        slope=slope.mean if slope else 0.0,
        slope_var=slope.next_var(guess=(SLOPE_VARIES * slope.mean) ** 2) if slope else 0.0,
        walk=float(WALKS[best]) / bores.size * scale,
        mean_sd=float(np.sqrt(scale)),
        mean_df=lines.df,
        bore_sd=bores.sd,
        bore_df=bores.df,
        size=bores.size,
        spread_of_level=ANYWHERE * float(np.sqrt(scale)) if window.anew else float(levels.std()),
        wears=window.wears,
        resets=does is not None and does.resets,
        dressed=does.level if does else 0.0,
        dressed_var=does.var if does else None,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Filtered:
    """A window under each of `WALKS` without, then with, a slope; variances in those of a mean."""

    likelihood: Floats
    variance: Floats
    """Of a mean about its level, as the innovations have it."""
    level: Floats
    slope: Floats
    p11: Floats
    p22: Floats
    levels: Floats
    """Shape (k, lanes)."""


def filtered(window: Window, *, size: int, prior: float) -> Filtered:
    """Run the filter over a window for every walk, without and with a slope.

    `prior` is a first guess of the variance of a mean of `size` bores.
    """
    walk = np.tile(WALKS, 2)
    lanes = len(walk)
    level, slope = np.full(lanes, float(window.mean[0])), np.zeros(lanes)
    p11, p12 = np.full(lanes, DIFFUSE), np.zeros(lanes)
    p22 = np.repeat([0.0, 1.0], len(WALKS)) / size**2
    logs, squares = np.zeros(lanes), np.zeros(lanes)
    levels = np.empty((len(window.mean), lanes))
    for t, y in enumerate(window.mean):
        gap = (window.n[t] + window.n[t - 1]) / 2 if t else 0.0
        level = level + slope * gap + window.moved[t] * (t > 0)
        p11 = p11 + 2 * gap * p12 + gap**2 * p22 + walk * gap / size
        p12 = p12 + gap * p22
        noise = size / float(window.n[t])
        if window.fresh[t] and t:
            p11, noise = p11 + FRESH_VAR, noise + 1.0
        spread = p11 + noise
        away = y - level
        gain, gain2 = p11 / spread, p12 / spread
        level, slope = level + gain * away, slope + gain2 * away
        p22 = p22 - gain2 * p12
        p12 = (1 - gain) * p12
        p11 = (1 - gain) * p11
        levels[t] = level
        if t:  # the first only sets the level
            logs += np.log(spread)
            squares += away**2 / spread
    count = len(window.mean) - 1 + PRIOR_DF
    variance = (squares + PRIOR_DF * prior) / count
    return Filtered(
        likelihood=-0.5 * (logs + count * np.log(variance)),
        variance=variance,
        level=level,
        slope=slope,
        p11=p11,
        p22=p22,
        levels=levels,
    )
