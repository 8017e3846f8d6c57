"""The level of a stream as stones wear: level and slope, moved by what is known, learned from a baseline.

The mean of a subgroup is its level plus noise. From one subgroup to the next the level moves by the slope
times the bores between, by offsets and temperatures that are known, and by a random step that stands for
all that is not. What the baseline leaves unsure (its level, its slope, its spread) is carried as variance,
so that a stream watched from few subgroups is judged by what those can say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
FRESH_VAR = 2.0
"""What a dressing leaves unsure of the level, in variances of a subgroup mean."""
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


def learn(window: Window) -> Learned:
    """Learn one stream's level, slope, random step and spreads.

    Of each of `WALKS`, with and without a slope, the likelihood is had by a Kalman filter whose noise
    is the unit; the best is taken once it gains `WALK_COST` and `SLOPE_COST` (less of what wears).

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
    found = filtered(window, size=size, prior=bore_sd**2 / size)
    slope = SLOPE_COST_OF_WEAR if window.wears else SLOPE_COST
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
        spread_of_level=float(found.levels[:, best].std()),
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


def as_normal(t: ArrayLike, df: ArrayLike) -> Floats:
    """Return the normal deviate with the tail area of Student's t, by Wallace's approximation.

    References
    ----------
    Wallace, Bounds on normal approximations to Student's and the chi-square distributions, Annals of
    Mathematical Statistics 30 (1959) (from memory); checked against scipy in `tests/drift/test_wear.py`.
    """
    x, v = np.asarray(t, dtype=np.float64), np.asarray(df, dtype=np.float64)
    factor = (8 * v + 1) / (8 * v + 3)
    found: Floats = np.sign(x) * factor * np.sqrt(v * np.log1p(x * x / v))
    return found


def as_variance_ratio(ratio: ArrayLike, df: ArrayLike, known_df: ArrayLike, *, to_df: float) -> Floats:
    """Return the variance ratio of `to_df` over a known variance that lies as far out as the one seen.

    Parameters
    ----------
    ratio : array_like
        Variance of a subgroup over an estimate of it.
    df, known_df : array_like
        Degrees of freedom of both.

    References
    ----------
    Paulson, An approximate normalization of the analysis of variance distribution, Annals of
    Mathematical Statistics 13 (1942); Wilson and Hilferty, PNAS 17 (1931) (both from memory); checked
    against scipy in `tests/drift/test_wear.py`.
    """
    f, v1, v2 = (np.asarray(x, dtype=np.float64) for x in (ratio, df, known_df))
    root = np.cbrt(np.maximum(f, 0.0))
    a, b = 2 / (9 * v1), 2 / (9 * v2)
    z = ((1 - b) * root - (1 - a)) / np.sqrt(b * root**2 + a)
    c = 2 / (9 * to_df)
    found: Floats = np.maximum(z * np.sqrt(c) + 1 - c, 0.0) ** 3
    return found
