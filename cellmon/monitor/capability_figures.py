"""The figures of one stream's capability: its model in time, its family, its indices, and their bounds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cellmon.capability.choice import LEVELS
from cellmon.capability.fitted import FittedIndices, fitted_indices
from cellmon.capability.indices import Index, Indices
from cellmon.capability.models import Recognised, recognise
from cellmon.capability.moving import MovingIndices, moving_distribution, moving_indices
from cellmon.capability.tolerance import free_tolerance_interval
from cellmon.capability.unbounded import NORMAL
from cellmon.capability.window import EffectiveBores, effective_bores
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.monitor.kept import kept
from cellmon.records import Numbers, Whole
from cellmon.words import say, to_say

ZERO_BOUNDED = ("roundness", "size_range", "roundness_trace", "cylindricity")
"""Features that cannot be negative."""
LEAST_FOR_FAMILY = 25
"""Bores below which the normal formulas are given and no family is sought."""
OUTER = 0.99865
FAMILIES = (
    to_say("normal"),
    to_say("shifted lognormal"),
    to_say("heavy-tailed"),
    to_say("lognormal"),
    to_say("half normal"),
    to_say("Rayleigh"),
    to_say("Weibull"),
    to_say("gamma"),
    to_say("Nakagami"),
    to_say("folded normal"),
    to_say("two levels"),
    to_say("three levels"),
    to_say("four levels"),
)
"""The names of families, which their own module keeps in English."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Held:
    """What one limit is held against: the bores' figures in making order, one limit or both."""

    values: Numbers
    lower: float | None
    upper: float | None


@dataclass(frozen=True, kw_only=True)
class Figures:
    """Indices of all bores, the worse limit's where each limit meets its own figures."""

    family: str
    time: Recognised | None
    effective: EffectiveBores
    pp: Index | None
    ppk: Index
    ppm: Index
    bound: float
    cautious_bound: float
    fits: bool
    """Some family could have made the bores, or none is needed."""
    levels: bool
    """The bores lie about several levels."""
    normal: bool


def figures(
    held: tuple[Held, ...],
    values: Numbers,
    labels: Whole,
    plain: Indices,
    *,
    zero_bounded: bool,
    claim_confidence: float,
) -> Figures:
    """Return the figures of a stream.

    Parameters
    ----------
    held : tuple of Held
        One where a single figure meets the limits, else one for each limit.
    values : ndarray, shape (n,)
        The charted figure, for the model in time.
    labels : ndarray, shape (n,)
        Subgroup of each bore, -1 where in none.
    plain : Indices
        By the normal formulas; they stand where the bores are too few for more.
    """
    time, effective = kept(time_of, values, labels), effective_bores(values)
    if len(values) < LEAST_FOR_FAMILY:
        return _plain(plain, time, effective)
    over_time = time is not None and time.over_time
    worth = worth_of(effective, time, labels, len(values))
    found = [
        _over_time(side, labels, time, claim_confidence)
        if over_time and time is not None
        else _of_family(side, zero_bounded, worth, claim_confidence)
        for side in held
    ]
    worst = min(found, key=lambda f: f.ppk.value)
    ppm = [sum(getattr(f.ppm, end) for f in found) for end in ("value", "low", "high")]
    family = worst.family
    if len({f.family for f in found}) > 1:
        family = say("{low} and {high}", low=found[0].family, high=found[-1].family)
    pp = found[0].pp if len(found) == 1 else None
    if len(found) > 1 and all(f.normal for f in found):
        pp = plain.pp
    return replace(
        worst,
        family=family,
        time=time,
        effective=effective,
        pp=pp,
        ppm=replace(worst.ppm, value=ppm[0], low=ppm[1], high=min(ppm[2], 1e6)),
        bound=min(f.bound for f in found),
        cautious_bound=min(f.cautious_bound for f in found),
        fits=all(f.fits for f in found),
        levels=any(f.levels for f in found),
        normal=all(f.normal for f in found),
    )


def time_of(values: Numbers, labels: Whole) -> Recognised | None:
    """Return the model in time; None where the bores are too few to tell."""
    inside = labels >= 0
    if not inside.any():
        return None
    try:
        return recognise(values[inside], labels[inside])
    except (NotEnoughData, NoSpread):
        return None


def worth_of(effective: EffectiveBores, time: Recognised | None, labels: Whole, n: int) -> float:
    """Return what the bores are worth: less where neighbours, or those of a subgroup, go together."""
    worth = effective.for_mean / n if effective.noted else 1.0
    if time is not None and time.between_share > 0:
        size = float(np.bincount(labels[labels >= 0]).max())
        worth = min(worth, 1 / (1 + (size - 1) * time.between_share))
    return min(worth, 1.0)


def _plain(plain: Indices, time: Recognised | None, effective: EffectiveBores) -> Figures:
    assert plain.ppk is not None
    return Figures(
        family=say(NORMAL.name),
        time=time,
        effective=effective,
        pp=plain.pp,
        ppk=plain.ppk,
        ppm=plain.ppm_expected,
        bound=plain.ppk_bound,
        cautious_bound=plain.ppk_bound,
        fits=True,
        levels=False,
        normal=True,
    )


def _over_time(held: Held, labels: Whole, time: Recognised, claim_confidence: float) -> Figures:
    inside = labels >= 0
    found: MovingIndices = moving_indices(
        moving_distribution(
            held.values[inside], labels[inside], in_time=time.in_time, spread_moves=time.spread_moves
        ),
        lower=held.lower,
        upper=held.upper,
        claim_confidence=claim_confidence,
    )
    return Figures(
        family=say("all bores over time ({model})", model=time.model),
        time=time,
        effective=effective_bores(held.values),
        pp=found.pp,
        ppk=found.ppk,
        ppm=found.ppm,
        bound=found.bound,
        cautious_bound=found.bound,
        fits=True,
        levels=False,
        normal=False,
    )


def _of_family(held: Held, zero_bounded: bool, worth: float, claim_confidence: float) -> Figures:
    bounded = zero_bounded and held.lower is None and bool(held.values.min() >= 0)
    found: FittedIndices = fitted_indices(
        held.values,
        lower=held.lower,
        upper=held.upper,
        zero_bounded=bounded,
        worth=worth,
        claim_confidence=claim_confidence,
    )
    free = None if found.choice.fitting else _free_bound(held, worth, claim_confidence)
    return Figures(
        family=say(found.choice.best.family.name),
        time=None,
        effective=effective_bores(held.values),
        pp=found.pp,
        ppk=found.ppk,
        ppm=found.ppm,
        bound=found.bound,
        cautious_bound=found.cautious_bound if free is None else min(found.cautious_bound, free),
        fits=found.choice.fitting or free is not None,
        levels=found.choice.best.family in LEVELS,
        normal=found.choice.best.family is NORMAL,
    )


def _free_bound(held: Held, worth: float, confidence: float) -> float | None:
    """Return what Ppk exceeds whatever the distribution; None where the bores are too few for that.

    The outer quantile is replaced by the limit of a tolerance interval of any distribution.
    """
    x = held.values
    every = max(1, round(1 / worth))  # as many bores as the whole is worth
    middle, bounds = float(np.median(x)), []
    try:
        if held.upper is not None:
            high = free_tolerance_interval(
                x[::every], content=OUTER, confidence=confidence, side="upper"
            ).high
            bounds.append((held.upper - middle) / ((np.inf if high is None else high) - middle))
        if held.lower is not None:
            low = free_tolerance_interval(x[::every], content=OUTER, confidence=confidence, side="lower").low
            bounds.append((middle - held.lower) / (middle - (-np.inf if low is None else low)))
    except NotEnoughData:
        return None
    return float(min(bounds))
