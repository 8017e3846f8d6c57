"""Capability and performance indices of normal data, with intervals, and what lies outside.

Where every two-point size is judged, the upper limit meets the greatest size of each bore and the
lower limit the least: two populations, each with its own mean and spread. An index towards a limit
takes the population of that limit. Where both are the same the formulas are the usual ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.intervals import (
    Interval,
    clopper_pearson,
    cp_interval,
    cpk_interval,
    one_sided_index_bound,
    one_sided_index_interval,
)
from cellmon.stats.normal import PER_MILLION, quantile, share_below


@dataclass(frozen=True, kw_only=True)
class Side:
    """The population that one limit meets, micrometres."""

    mean: float
    sd_within: float | None
    """Spread inside subgroups; None where there are none."""
    df_within: float | None
    sd_total: float
    n: int
    """Bores."""

    def __post_init__(self) -> None:
        if self.n < 2:
            raise NotEnoughData("bores for an index", need=2, got=self.n)
        if not self.sd_total > 0 or (self.sd_within is not None and not self.sd_within > 0):
            raise NoSpread("bores for an index")
        if (self.sd_within is None) != (self.df_within is None):
            raise ValueError("sd_within and df_within together or neither")


@dataclass(frozen=True, kw_only=True)
class Index:
    """An index or a share with the interval that holds its true value."""

    value: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True, kw_only=True)
class Indices:
    """All indices of one stream; None where a limit or a spread is missing."""

    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index | None
    cpl: float | None
    cpu: float | None
    ppl: float | None
    ppu: float | None
    cpk_bound: float | None
    """What Cpk exceeds with the one-sided confidence `claim_confidence`."""
    ppk_bound: float
    claim_confidence: float
    ppm_expected: Index
    """Parts per million outside by the normal model, from the total spread."""
    ppm_observed: Index | None
    """Parts per million seen outside, with the Clopper-Pearson interval."""


@dataclass(frozen=True, kw_only=True)
class _Spread:
    """Mean, spread and their weight for one limit."""

    mean: float
    sd: float
    df: float
    n: int


def indices(
    lower_um: float | None,
    upper_um: float | None,
    *,
    low_side: Side | None = None,
    high_side: Side | None = None,
    nonconforming: int | None = None,
    confidence: float = 0.95,
    claim_confidence: float = 0.975,
) -> Indices:
    """Return all indices of a normal process, with intervals.

    Parameters
    ----------
    lower_um, upper_um : float or None
        Limits; None on a side without one.
    low_side, high_side : Side, optional
        The population that each limit meets; give the same one twice for a single population. A side
        is needed exactly where there is a limit.
    nonconforming : int, optional
        Bores seen outside, for `ppm_observed`.
    confidence : float
        Of the two-sided intervals.
    claim_confidence : float
        Of the one-sided bounds a claim rests on.

    Notes
    -----
    Cp with two populations is the largest Cpk that moving the level alone could give:
    (U - mean_high + mean_low - L) / (3 (sd_high + sd_low)).

    References
    ----------
    NIST/SEMATECH e-Handbook, section 6.1.6 (indices); Kane (1986) for the interval of Cp; Nagata and
    Nagahata (1994) for that of Cpk; Chou, Owen and Borrego (1990), noncentral t, for one limit and
    for the bounds.
    """
    sides = _paired(lower_um, low_side), _paired(upper_um, high_side)
    if lower_um is None and upper_um is None:
        raise ValueError("at least one limit")
    within = [None if side is None else _within(side) for side in sides]
    total = [
        None if side is None else _Spread(mean=side.mean, sd=side.sd_total, df=side.n - 1, n=side.n)
        for side in sides
    ]
    limits = (lower_um, upper_um)
    needed = [spread for side, spread in zip(sides, within, strict=True) if side is not None]
    has_within = all(spread is not None for spread in needed)
    cpl, cpu = _towards(limits, within) if has_within else (None, None)
    ppl, ppu = _towards(limits, total)
    ppk_bound = _bound((ppl, ppu), total, claim_confidence)
    assert ppk_bound is not None
    return Indices(
        cp=_both(limits, within, confidence),
        cpk=_worse((cpl, cpu), within, confidence),
        pp=_both(limits, total, confidence),
        ppk=_worse((ppl, ppu), total, confidence),
        cpl=cpl,
        cpu=cpu,
        ppl=ppl,
        ppu=ppu,
        cpk_bound=_bound((cpl, cpu), within, claim_confidence),
        ppk_bound=ppk_bound,
        claim_confidence=claim_confidence,
        ppm_expected=_expected((ppl, ppu), total, confidence),
        ppm_observed=_observed(nonconforming, sides, confidence),
    )


def _paired(limit: float | None, side: Side | None) -> Side | None:
    if (limit is None) != (side is None):
        raise ValueError("a side exactly where there is a limit")
    return side


def _within(side: Side) -> _Spread | None:
    if side.sd_within is None or side.df_within is None:
        return None
    return _Spread(mean=side.mean, sd=side.sd_within, df=side.df_within, n=side.n)


def _towards(
    limits: tuple[float | None, float | None], spreads: list[_Spread | None]
) -> tuple[float | None, float | None]:
    """Return the index towards the lower and towards the upper limit."""
    (lower, upper), (low, high) = limits, spreads
    return (
        None if lower is None or low is None else (low.mean - lower) / (3 * low.sd),
        None if upper is None or high is None else (upper - high.mean) / (3 * high.sd),
    )


def _both(
    limits: tuple[float | None, float | None], spreads: list[_Spread | None], confidence: float
) -> Index | None:
    (lower, upper), (low, high) = limits, spreads
    if lower is None or upper is None or low is None or high is None:
        return None
    value = (upper - high.mean + low.mean - lower) / (3 * (high.sd + low.sd))
    return _index(value, cp_interval(value, df=min(low.df, high.df), confidence=confidence))


def _governing(
    values: tuple[float | None, float | None], spreads: list[_Spread | None]
) -> tuple[float, _Spread] | None:
    there = [(v, s) for v, s in zip(values, spreads, strict=True) if v is not None and s is not None]
    return min(there, key=lambda pair: pair[0]) if there else None


def _worse(
    values: tuple[float | None, float | None], spreads: list[_Spread | None], confidence: float
) -> Index | None:
    governing = _governing(values, spreads)
    if governing is None:
        return None
    value, spread = governing
    one_limit = None in values
    interval = one_sided_index_interval if one_limit else cpk_interval
    return _index(value, interval(value, n=spread.n, df=spread.df, confidence=confidence))


def _bound(
    values: tuple[float | None, float | None], spreads: list[_Spread | None], confidence: float
) -> float | None:
    """Return the smaller of the exact one-sided bounds of the limits there are."""
    there = [(v, s) for v, s in zip(values, spreads, strict=True) if v is not None and s is not None]
    bounds = [one_sided_index_bound(v, n=s.n, df=s.df, confidence=confidence) for v, s in there]
    return min(bounds) if bounds else None


def _expected(
    values: tuple[float | None, float | None], spreads: list[_Spread | None], confidence: float
) -> Index:
    """Return the share outside; its interval exact for one limit, by the delta method for two.

    For two limits the normal quantile of the total share is taken as nearly normal; the errors of
    both sides are taken as one and the same, as they are where both are one population.
    """
    there = [(v, s) for v, s in zip(values, spreads, strict=True) if v is not None and s is not None]
    share = sum(float(share_below(-3 * v)) for v, _ in there)
    if len(there) == 1:
        value, spread = there[0]
        exact = one_sided_index_interval(value, n=spread.n, df=spread.df, confidence=confidence)
        low, high = (float(share_below(-3 * end)) for end in (exact.high, exact.low))
    elif 0 < share < 1:
        z = -float(quantile(share))
        density = math.exp(-z * z / 2)
        weights = [math.exp(-((3 * v) ** 2) / 2) / density for v, _ in there]
        by_level = weights[1] - weights[0]  # a higher level is nearer above, farther below
        by_spread = sum(w * 3 * v for w, (v, _) in zip(weights, there, strict=True))
        n, df = min(s.n for _, s in there), min(s.df for _, s in there)
        half = float(quantile((1 + confidence) / 2)) * math.sqrt(by_level**2 / n + by_spread**2 / (2 * df))
        low, high = (float(share_below(-end)) for end in (z + half, z - half))
    else:  # beyond what a double can tell from none or all
        low = high = min(share, 1.0)
    ppm = [PER_MILLION * p for p in (share, low, high)]
    return Index(value=min(ppm[0], PER_MILLION), low=ppm[1], high=ppm[2], confidence=confidence)


def _observed(
    nonconforming: int | None, sides: tuple[Side | None, Side | None], confidence: float
) -> Index | None:
    if nonconforming is None:
        return None
    n = max(side.n for side in sides if side is not None)
    seen = clopper_pearson(nonconforming, n, confidence=confidence)
    return Index(
        value=PER_MILLION * nonconforming / n,
        low=PER_MILLION * seen.low,
        high=PER_MILLION * seen.high,
        confidence=confidence,
    )


def _index(value: float, interval: Interval) -> Index:
    return Index(value=value, low=interval.low, high=interval.high, confidence=interval.confidence)
