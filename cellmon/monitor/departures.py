"""What takes three-sigma limits off their promise: each departure alone, with limits that keep it.

The promise is one false alarm in 370 of a chart's means, and what D3 and D4 give for its ranges, with
limits known and bores normal, unrelated and finely read.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtri

from cellmon import lengths
from cellmon.charts.fitted import Fitted, fit_from_zero, fit_skewed
from cellmon.charts.inside import neighbour_correlation, skewness_inside
from cellmon.charts.run_length.correlated import correlated_chance, correlated_width
from cellmon.charts.run_length.estimated import (
    Baseline,
    baseline_of,
    estimated_run,
    over_baselines,
    share_shorter,
    widened,
)
from cellmon.charts.run_length.rounded import RoundedCharts, rounded_charts, sheppard_ratio
from cellmon.charts.run_length.shewhart import range_chance
from cellmon.charts.run_length.skewed import mean_of, probability_limits, range_share, skewed_charts
from cellmon.local import number
from cellmon.records import Numbers
from cellmon.stats.constants import chart_factors
from cellmon.words import say

WIDTH = 3.0
PROMISED = 370.3983473449564
"""Points to a false alarm of means at three sigma: by normal tables, 1 / 0.0026998."""
MATTERS = 0.8
"""A run length below this share of the promise is told as a fault of the limits."""
SURE = 0.998
"""Confidence of intervals: of tens of streams, 95 % would find something in every twentieth."""
LEAST_STEPS = 5.0
"""Steps of the gauge within the limits of ranges, below which spread cannot be told (Wheeler and Lyday,
Evaluating the Measurement Process, 1989, from memory)."""


@dataclass(frozen=True, kw_only=True)
class Basis:
    """What a chart's limits rest on, micrometres."""

    centre: float
    sigma: float
    subgroups: int
    n: int


@dataclass(frozen=True, kw_only=True)
class Departure:
    """One departure from what the promise assumes.

    `one_in` is the points to a false alarm of means with the limits as they are; `low` and `high` its
    range: over baselines (5 and 95 %), or over the interval of the correlation. `range_one_in` is that of
    ranges. The corrected limits keep the promise under this departure alone; None where none is needed.
    """

    name: str
    """In English, whatever the site speaks: pages look for it."""
    words: str
    one_in: float | None
    low: float | None = None
    high: float | None = None
    range_one_in: float | None = None
    lower_um: float | None = None
    upper_um: float | None = None
    range_upper_um: float | None = None
    matters: bool = False


def few_subgroups(basis: Basis) -> Departure:
    """Return what limits from so many subgroups do, over all baselines that could have been."""
    found = _estimated(basis.subgroups, basis.n)
    half = found.width * basis.sigma / np.sqrt(basis.n)
    return Departure(
        name="few subgroups",
        words=say(
            "{subgroups} subgroups: one in {one_in} over all such baselines, {low} to {high} in nine of ten",
            subgroups=basis.subgroups,
            one_in=number(found.one_in),
            low=number(found.low),
            high=number(found.high),
        ),
        one_in=found.one_in,
        low=found.low,
        high=found.high,
        range_one_in=found.range_one_in,
        lower_um=basis.centre - half,
        upper_um=basis.centre + half,
        range_upper_um=found.range_factor * basis.sigma,
        matters=found.one_in < MATTERS * PROMISED,
    )


def neighbours(basis: Basis, x: Numbers) -> Departure:
    """Return what the correlation of neighbouring bores does; refusals as `neighbour_correlation`."""
    found = neighbour_correlation(x, confidence=SURE)
    r, ends = found.value, found.interval
    shown = ends.low > 0 or ends.high < 0
    words = say(
        "neighbours correlate by {r} ({low} to {high})",
        r=number(r, 2),
        low=number(ends.low, 2),
        high=number(ends.high, 2),
    )
    low, high = (1 / correlated_chance(basis.n, end) for end in (ends.high, ends.low))
    one_in = 1 / correlated_chance(basis.n, r)
    half = correlated_width(basis.n, r) * basis.sigma / np.sqrt(basis.n)
    if shown:
        words = say("{words}: one in {one_in}", words=words, one_in=number(one_in))
    else:
        words = say("{words}, which may be none", words=words)
    return Departure(
        name="neighbours",
        words=words,
        one_in=one_in,
        low=low,
        high=high,
        lower_um=basis.centre - half if shown else None,
        upper_um=basis.centre + half if shown else None,
        matters=shown and one_in < MATTERS * PROMISED,
    )


def gauge_steps(basis: Basis, step: float) -> Departure:
    """Return what the steps of the gauge do, at worst: all readings of a bore rounded the same way."""
    true, found = basis.sigma, _rounded(step / basis.sigma, basis.n)
    for _ in range(3):  # the mean range of rounded readings gives a sigma that is a little off itself
        if abs(true * found.sigma_ratio / basis.sigma - 1) < 1e-3:
            break
        true = basis.sigma / found.sigma_ratio
        found = _rounded(step / true, basis.n)
    one_in = 1 / found.mean_chance
    matters = one_in < MATTERS * PROMISED
    half = WIDTH * true * sheppard_ratio(step / true) / np.sqrt(basis.n) + step / (2 * basis.n)
    upper = chart_factors(basis.n).D2 * true * sheppard_ratio(step / true) + step / 2
    return Departure(
        name="gauge steps",
        words=say(
            "steps of {step} are {sigmas} sigma: one in {one_in}",
            step=lengths.said(step, None),
            sigmas=number(step / true, 2),
            one_in=number(one_in),
        ),
        one_in=one_in,
        range_one_in=1 / found.range_chance if found.range_chance > 0 else None,
        lower_um=basis.centre - half if matters else None,
        upper_um=basis.centre + half if matters else None,
        range_upper_um=upper if matters else None,
        matters=matters,
    )


def skew(basis: Basis, x: Numbers, *, from_zero: bool) -> Departure:
    """Return what skewness, or a bound at nought, does; refusals as `skewness_inside`, `fit_from_zero`."""
    if from_zero:
        fitted, why = fit_from_zero(x.ravel()), say("cannot fall below 0")
    else:
        found = skewness_inside(x, confidence=SURE)
        ends = found.interval
        why = say(
            "skewness {skewness} ({low} to {high})",
            skewness=number(found.value, 2),
            low=number(ends.low, 2),
            high=number(ends.high, 2),
        )
        if ends.low <= 0 <= ends.high:
            return Departure(name="skew", words=say("{words}, which may be none", words=why), one_in=PROMISED)
        fitted = fit_skewed(basis.centre, basis.sigma, found.value)
    charts = skewed_charts(fitted.distribution, basis.n)
    one_in = 1 / charts.mean_chance
    limits = probability_limits(mean_of(fitted.distribution, basis.n), arl=PROMISED)
    return Departure(
        name="skew",
        words=say(
            "{why}, taken as {family}: one in {one_in}, of ranges one in {ranges}",
            why=why,
            family=say(fitted.name),
            one_in=number(one_in),
            ranges=number(1 / charts.range_chance),
        ),
        one_in=one_in,
        range_one_in=1 / charts.range_chance,
        lower_um=limits.lower,
        upper_um=limits.upper,
        range_upper_um=_range_limit(fitted, basis.n),
        matters=min(one_in / PROMISED, range_chance(basis.n) / charts.range_chance) < MATTERS,
    )


def _range_limit(fitted: Fitted, n: int) -> float:
    """Return the range that is passed as often as a normal bore's passes three sigma."""
    from scipy.optimize import brentq  # late: slow to import

    wanted, longest = range_chance(n), float(fitted.distribution.ppf(1 - 1e-9))
    least = float(fitted.distribution.ppf(1e-9))
    return float(
        brentq(
            lambda w: 1 - range_share(fitted.distribution, w, n) - wanted,
            0.0,
            longest - least,
            xtol=1e-9 * (longest - least),
        )
    )


@dataclass(frozen=True, kw_only=True)
class _Estimated:
    one_in: float
    low: float
    high: float
    width: float
    range_one_in: float
    range_factor: float
    """Upper limit of ranges in estimated sigma."""


@lru_cache(maxsize=512)
def _estimated(subgroups: int, n: int) -> _Estimated:
    from scipy.optimize import brentq  # late: slow to import

    base = baseline_of(subgroups, n)

    def chance(upper: float) -> float:
        @lru_cache(maxsize=64)
        def at(sd: float) -> float:
            return range_chance(n, ratio=sd, limits=(chart_factors(n).D1, upper))

        return over_baselines(lambda _, sd: at(sd), base).mean

    usual = chart_factors(n).D2
    wanted = range_chance(n)
    low, high = _nine_of_ten(base)
    return _Estimated(
        one_in=1 / estimated_run(base).chance,
        low=low,
        high=high,
        width=widened(base),
        range_one_in=1 / chance(usual),
        range_factor=float(brentq(lambda upper: chance(upper) - wanted, usual * 0.9, usual * 3, xtol=1e-4)),
    )


def _nine_of_ten(base: Baseline) -> tuple[float, float]:
    """Return what 5 and 95 % of baselines stay below: read off a curve that is nearly straight."""
    logs = np.linspace(np.log(5.0), np.log(5e5), 120)
    share = share_shorter(base, np.exp(logs))
    inside = (share > 1e-6) & (share < 1 - 1e-6)
    low, high = np.exp(np.interp(ndtri([0.05, 0.95]), ndtri(share[inside]), logs[inside]))
    return float(low), float(high)


def _rounded(resolution: float, n: int) -> RoundedCharts:
    """Return the charts of a step; fine ones, which hardly matter, to two figures."""
    digits = 3 if resolution > 0.3 else 2
    return _rounded_charts(float(f"{min(max(resolution, 0.02), 20.0):.{digits}g}"), n)


_rounded_charts = lru_cache(maxsize=1024)(rounded_charts)
