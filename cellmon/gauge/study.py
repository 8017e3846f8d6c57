"""What a gauge study says: how much repeats, how much comes with the person, how much is the part.

Three designs, told by their shape (`cellmon.gauge.designs`): parts crossed with operators; parts
without operators, an automatic gauge; one master read again and again. All by analysis of variance
with the parts and operators as drawn at random.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from cellmon.errors import NoSpread
from cellmon.gauge.components import (
    MeanSquare,
    combination_interval,
    effective_df,
    one_way,
    two_way,
)
from cellmon.stats.intervals import sd_interval
from cellmon.stats.summary import as_series, summarise

Floats = NDArray[np.float64]
POOL_ABOVE = 0.25
"""An interaction is left in where chance gives one as large less often than this."""
DRAWS = 20_000
CATEGORIES = 1.41
"""Distinct categories are so many part spreads over gauge spreads (the handbook's figure for root 2)."""


@dataclass(frozen=True, kw_only=True)
class Spread:
    """A standard deviation with its interval; 0 where the estimate of its square is not above 0."""

    sd: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """A ratio of spreads with its interval."""

    value: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True, kw_only=True)
class Source:
    """One spread as weights of the mean squares."""

    weights: tuple[float, ...]
    squares: tuple[MeanSquare, ...]

    @property
    def variance(self) -> float:
        return max(sum(w * s.ms for w, s in zip(self.weights, self.squares, strict=True)), 0.0)

    def spread(self, confidence: float) -> Spread:
        found = combination_interval(self.weights, self.squares, confidence=confidence)
        low, high = (math.sqrt(max(v, 0.0)) for v in (found.low, found.high))
        return Spread(sd=math.sqrt(self.variance), low=low, high=high, confidence=confidence)


@dataclass(frozen=True, kw_only=True)
class Study:
    """A study of parts: spreads as standard deviations, in the unit of the readings.

    Without operators, `operator` and `interaction` are None and the gauge is what repeats. Where the
    interaction is pooled it is part of what repeats, and None too.
    """

    parts: int
    operators: int
    trials: int
    table: tuple[tuple[str, MeanSquare], ...]
    """Lines of the table of variance as computed, before anything is pooled."""
    p_interaction: float | None
    pooled: bool
    repeatability: Spread
    reproducibility: Spread | None
    """Operator and interaction together."""
    operator: Spread | None
    interaction: Spread | None
    gauge: Spread
    """Repeatability and reproducibility together."""
    part: Spread
    total: Spread
    gauge_df: float
    """Degrees of freedom of the gauge's variance, after Satterthwaite."""
    gauge_source: Source
    part_source: Source


@dataclass(frozen=True, kw_only=True)
class MasterStudy:
    """One master read again and again: how far off, and how well it repeats."""

    n: int
    mean: float
    bias: float | None
    """Mean less the master's size; None where that is not known."""
    bias_low: float | None
    bias_high: float | None
    repeatability: Spread
    confidence: float


def crossed_study(readings: ArrayLike, *, confidence: float = 0.95, pool_above: float = POOL_ABOVE) -> Study:
    """Return what parts, operators and repetition add, from a balanced crossed study.

    Parameters
    ----------
    readings : array_like, shape (parts, operators, trials)
        At least two of each, no gap.
    pool_above : float
        The interaction is pooled into what repeats where its F test gives a larger p; 1 never pools,
        0 always.

    Raises
    ------
    NotEnoughData, GapInReadings, NoSpread
        When there are too few, one is missing, or nothing differs within.

    References
    ----------
    Burdick, Borror and Montgomery, J. Quality Technology 35 (2003), 342-354, for model and intervals;
    Bancroft, Biometrics 20 (1964), for pooling at 0.25; AIAG, Measurement Systems Analysis, 4th ed.,
    for the worked example. From memory.
    """
    x = np.asarray(readings, dtype=np.float64)
    table = two_way(x)
    p, o, r = x.shape
    _need_spread(x)
    pooled = table.p_interaction > pool_above
    within, between = table.within, table.interaction
    if pooled:
        within = between = table.within.pooled(table.interaction)
    squares = (table.part, table.operator, between, within)

    def source(part: float, operator: float, both: float, repeat: float) -> Source:
        return _source(squares, (part, operator, both, repeat), pooled=pooled)

    a, b = 1 / (p * r), 1 / (o * r)
    gauge = source(0, a, (p - 1) * a, p * (r - 1) * a)
    part = source(b, 0, -b, 0)
    total = source(b, a, (p - 1) * a - b, p * (r - 1) * a)
    return Study(
        parts=p,
        operators=o,
        trials=r,
        table=(
            ("part", table.part),
            ("operator", table.operator),
            ("part by operator", table.interaction),
            ("repeats", table.within),
        ),
        p_interaction=table.p_interaction,
        pooled=pooled,
        repeatability=source(0, 0, 0, 1).spread(confidence),
        reproducibility=source(0, a, (p - 1) * a, -p * a).spread(confidence),
        operator=source(0, a, -a, 0).spread(confidence),
        interaction=None if pooled else source(0, 0, 1 / r, -1 / r).spread(confidence),
        gauge=gauge.spread(confidence),
        part=part.spread(confidence),
        total=total.spread(confidence),
        gauge_df=effective_df(gauge.weights, gauge.squares),
        gauge_source=gauge,
        part_source=part,
    )


def _source(squares: tuple[MeanSquare, ...], weights: tuple[float, ...], *, pooled: bool) -> Source:
    """Return a spread; where the interaction is pooled its weight falls to what repeats."""
    if not pooled:
        return Source(weights=weights, squares=squares)
    part, operator, both, repeat = weights
    return Source(weights=(part, operator, both + repeat), squares=(*squares[:2], squares[3]))


def _need_spread(x: Floats) -> None:
    """Refuse trials that never differ, whatever rounding makes of their mean."""
    if (x.max(axis=-1) == x.min(axis=-1)).all():
        raise NoSpread("the trials of each part")


def automatic_study(readings: ArrayLike, *, confidence: float = 0.95) -> Study:
    """Return what parts and repetition add, from a study without operators.

    Parameters
    ----------
    readings : array_like, shape (parts, trials)
        At least two of each, no gap. The parts are taken out and put in again between trials.

    References
    ----------
    Burdick, Borror and Montgomery, J. Quality Technology 35 (2003), the one-factor model. From memory.
    """
    x = np.asarray(readings, dtype=np.float64)
    if x.ndim != 2:
        raise TypeError(f"expected (parts, trials), got {x.ndim} dimension(s)")
    p, r = x.shape
    table = one_way(x.ravel(), np.repeat(np.arange(p), r))
    _need_spread(x)
    squares = (table.between, table.within)
    gauge = Source(weights=(0.0, 1.0), squares=squares)
    part = Source(weights=(1 / r, -1 / r), squares=squares)
    total = Source(weights=(1 / r, 1 - 1 / r), squares=squares)
    return Study(
        parts=p,
        operators=0,
        trials=r,
        table=(("part", table.between), ("repeats", table.within)),
        p_interaction=None,
        pooled=False,
        repeatability=gauge.spread(confidence),
        reproducibility=None,
        operator=None,
        interaction=None,
        gauge=gauge.spread(confidence),
        part=part.spread(confidence),
        total=total.spread(confidence),
        gauge_df=float(table.within.df),
        gauge_source=gauge,
        part_source=part,
    )


def master_study(readings: ArrayLike, *, master: float | None, confidence: float = 0.95) -> MasterStudy:
    """Return bias and repeatability from one master that was read again and again.

    Parameters
    ----------
    readings : array_like, shape (n,)
    master : float or None
        The master's size in the unit of the readings; its own uncertainty is not in the interval.

    References
    ----------
    NIST/SEMATECH e-Handbook, section 1.3.5.2 (limits of a mean) and 1.3.5.8 (of a standard deviation).
    """
    x = as_series(readings, what="readings of the master")
    if x.max() == x.min():
        raise NoSpread("the readings of the master")
    found = summarise(x)
    inside = sd_interval(found.sd, df=found.n - 1, confidence=confidence)
    half = float(stdtrit(found.n - 1, (1 + confidence) / 2)) * found.sd / math.sqrt(found.n)
    bias = None if master is None else found.mean - master
    return MasterStudy(
        n=found.n,
        mean=found.mean,
        bias=bias,
        bias_low=None if bias is None else bias - half,
        bias_high=None if bias is None else bias + half,
        repeatability=Spread(sd=found.sd, low=inside.low, high=inside.high, confidence=confidence),
        confidence=confidence,
    )


def share_of_tolerance(spread: Spread, tolerance: float, *, sigmas: float = 6.0) -> Ratio:
    """Return so many standard deviations as a share of the tolerance, with their interval."""
    if not tolerance > 0:
        raise ValueError(f"a tolerance above 0, not {tolerance}")
    factor = sigmas / tolerance
    return Ratio(
        value=factor * spread.sd,
        low=factor * spread.low,
        high=factor * spread.high,
        confidence=spread.confidence,
    )


@dataclass(frozen=True, kw_only=True)
class AgainstParts:
    """The gauge against the parts of the study."""

    of_study: Ratio
    """The gauge's spread as a share of the whole spread of the study."""
    categories: Ratio
    """So many kinds of parts the gauge can tell apart; what is claimed is the whole number below."""


def against_parts(study: Study, *, generator: Generator, draws: int = DRAWS) -> AgainstParts:
    """Return the gauge's share of the study's spread, and the distinct categories, with intervals.

    The intervals are generalised ones: each mean square is divided by a chi-square over its degrees of
    freedom, drawn anew, and the ratio worked from them; its quantiles are the limits.

    References
    ----------
    Burdick, Borror and Montgomery, Design and Analysis of Gauge R&R Studies (2005), generalised
    intervals; Weerahandi, J. American Statistical Association 88 (1993). From memory.
    """
    gauge, part = study.gauge_source, study.part_source
    scale = [s.df / generator.chisquare(s.df, draws) for s in gauge.squares]
    measured, made = (_drawn(s.weights, s.squares, scale) for s in (gauge, part))
    tail = (1 - study.gauge.confidence) / 2

    def ratio(value: float, values: Floats) -> Ratio:
        low, high = np.quantile(values, [tail, 1 - tail])
        return Ratio(value=value, low=float(low), high=float(high), confidence=study.gauge.confidence)

    total = math.hypot(study.gauge.sd, study.part.sd)
    return AgainstParts(
        of_study=ratio(study.gauge.sd / total, np.sqrt(measured / (measured + made))),
        categories=ratio(CATEGORIES * study.part.sd / study.gauge.sd, CATEGORIES * np.sqrt(made / measured)),
    )


def _drawn(weights: Sequence[float], squares: Sequence[MeanSquare], scale: Sequence[Floats]) -> Floats:
    terms = (w * s.ms * k for w, s, k in zip(weights, squares, scale, strict=True))
    return np.maximum(sum(terms, start=np.zeros(len(scale[0]))), 0.0)
