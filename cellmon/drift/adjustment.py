"""Corrections of size: when one pays, how large, and what it costs to adjust too much.

A correction pays when the level is off target by more than a dead band, and clearly so. The band weighs
what a correction costs against what being off target costs; on a steady drift the correction goes as far
beyond the target as the band reaches, so that the level spends as long on either side.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from cellmon import lengths, local
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.normal import PER_MILLION, share_above, share_below
from cellmon.words import say, to_say

Floats = NDArray[np.float64]

COST = 13.5
"""What a correction costs by default, in bores that are one sigma off target.

On a drift of 0.02 sigma a bore that comes to some 17 corrections in 1,000 bores.
"""
LEAST_BAND = 0.3
"""No correction below this many sigma: such a deviation adds under 5 % to the spread."""
SURE = 3.5
"""A level must be off target by this many of its own standard deviations."""
DRIFTS = float(ndtri(0.95))
"""A slope this many of its standard deviations from 0 is aimed against."""
CAUTION = to_say(
    "Advice only: a qualified person enters a correction, by the machine's manual and the site's procedure,"
    " after a look at the last bores and at the gauge's last master check."
)
ABOVE = to_say("The level is {size} above target (give or take {margin})")
BELOW = to_say("The level is {size} below target (give or take {margin})")


@dataclass(frozen=True, kw_only=True)
class DeadBand:
    """Where a correction begins to pay, and how far beyond target it should go, micrometres."""

    half_um: float
    beyond_um: float
    """Signed; against the drift."""
    every_bores: float
    """Bores between corrections that come of it; infinite where nothing moves."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One correction, or none, in words a machinist can use."""

    what: Literal["correct", "leave it alone"]
    by_um: float
    """To add to the size; 0 where nothing should be done."""
    sd_now_um: float
    """Expected root mean square deviation from target of the next bores if nothing is done."""
    sd_then_um: float
    """The same after the correction."""
    ppm_now: float | None
    """Expected parts per million beyond the limits among them; None without limits."""
    ppm_then: float | None
    too_much: float
    """What correcting every bore by its full deviation makes of the spread of a stable process."""
    band: DeadBand
    why: str
    caution: str = field(default_factory=lambda: say(CAUTION))


def tampering_sd_ratio(gain: float) -> float:
    """Return what adjusting a stable process after each bore makes of its standard deviation.

    Each bore's deviation times `gain` is taken off the setting; sqrt(2 / (2 - gain)).

    References
    ----------
    Deming, Out of the Crisis (1986), chapter 11: the funnel, its second rule has gain 1 (from memory).

    Examples
    --------
    >>> round(tampering_sd_ratio(1.0), 3)
    1.414
    """
    if not 0 <= gain < 2:
        raise ValueError(f"a gain from 0 to below 2, not {gain}")
    return sqrt(2 / (2 - gain))


def dead_band(
    *, slope_um: float, slope_sd_um: float = 0.0, walk_um: float = 0.0, sigma_um: float, cost: float = COST
) -> DeadBand:
    """Return the dead band that costs least, corrections and deviations together.

    A drift b met every n bores costs (b n)^2 / 12 a bore and cost sigma^2 / n, least at
    n = (6 cost sigma^2 / b^2)^(1/3); a level that wanders by w a bore, set back at L, costs L^2 / 6 and
    cost sigma^2 w^2 / L^2, least at L = (6 cost sigma^2 w^2)^(1/4). The wider of the two bands holds.

    Parameters
    ----------
    slope_um, slope_sd_um : float
        Drift a bore, and how sure it is; aimed against only where it is clear.
    walk_um : float
        Standard deviation of what the level wanders from one bore to the next.
    sigma_um : float
        Of one bore, above 0.
    cost : float
        Of a correction, in bores one sigma off target: 0 corrects at every chance.

    References
    ----------
    Elementary (the drift); Box and Luceno, Statistical Control by Monitoring and Feedback
    Adjustment (1997), from memory (the wandering level).
    """
    if not sigma_um > 0:
        raise NoSpread("bores to be corrected")
    if cost < 0:
        raise ValueError(f"a cost of 0 or more, not {cost}")
    drifts = slope_um != 0 and abs(slope_um) > DRIFTS * slope_sd_um
    moved = abs(slope_um) if drifts else 0.0
    of_drift = (0.75 * cost * sigma_um**2 * moved) ** (1 / 3)
    of_walk = (6 * cost * (sigma_um * walk_um) ** 2) ** 0.25
    half = max(of_drift, of_walk, LEAST_BAND * sigma_um)
    every = [2 * half / moved] if drifts else []
    every += [(half / walk_um) ** 2] if walk_um > 1e-9 * sigma_um else []
    return DeadBand(
        half_um=half,
        beyond_um=-float(np.sign(slope_um)) * half if drifts and of_drift >= of_walk else 0.0,
        every_bores=min(every, default=float("inf")),
    )


def advise(
    *,
    level_um: float,
    slope_um: float,
    covariance: ArrayLike,
    target_um: float,
    sigma_um: float,
    walk_um: float = 0.0,
    lower_um: float | None = None,
    upper_um: float | None = None,
    cost: float = COST,
    step_um: float = 0.0,
    ahead: int = 100,
) -> Advice:
    """Advise a correction, or to leave the setting alone.

    Parameters
    ----------
    level_um, slope_um : float
        Expected size of the last bore, deviation from nominal, and its growth, micrometres a bore.
    covariance : array_like, shape (2, 2)
        Of level and slope.
    target_um : float
        What the level should be.
    sigma_um : float
        Standard deviation of one bore about the level, above 0.
    walk_um : float
        Standard deviation of what the level wanders from one bore to the next, beside the slope.
    lower_um, upper_um : float or None
        Tolerance limits; with them the effect is told in parts per million as well.
    cost : float
        What a correction costs, in bores that are one sigma off target.
    step_um : float
        The least step the machine can be set by; the correction is a multiple of it. 0: any.
    ahead : int
        Bores over which the effect is counted.

    References
    ----------
    As `dead_band`. On a drift of 0.02 sigma a bore the spread it reaches, and how often it leaves a stable
    process alone, are measured in docs/drift.md.

    Examples
    --------
    >>> advice = advise(level_um=14.0, slope_um=0.0, covariance=[[0.04, 0], [0, 0]],
    ...     target_um=12.0, sigma_um=1.5)
    >>> advice.what, advice.by_um
    ('correct', -2.0)
    """
    c = np.asarray(covariance, dtype=np.float64)
    if c.shape != (2, 2):
        raise TypeError(f"a covariance of level and slope, not of shape {c.shape}")
    if ahead < 1:
        raise NotEnoughData("bores ahead", need=1, got=ahead)
    slope_sd = sqrt(max(float(c[1, 1]), 0.0))
    band = dead_band(slope_um=slope_um, slope_sd_um=slope_sd, walk_um=walk_um, sigma_um=sigma_um, cost=cost)
    off = level_um + slope_um - target_um
    off_sd = sqrt(max(float(c.sum()), 0.0))
    # where the drift is on its way back to target, it is left to it for as long again
    comes_back = off * band.beyond_um > 0
    needed = max(band.half_um + (abs(band.beyond_um) if comes_back else 0.0), SURE * off_sd)
    by = _whole(band.beyond_um - off, step_um) if abs(off) > needed else 0.0
    expected: Floats = off + slope_um * np.arange(ahead, dtype=np.float64)
    ways = _Ahead(expected, _variances(c, walk_um, sigma_um, ahead))
    lower, upper = (None if x is None else x - target_um for x in (lower_um, upper_um))
    return Advice(
        what="correct" if by else "leave it alone",
        by_um=by,
        sd_now_um=ways.rms(0.0),
        sd_then_um=ways.rms(by),
        ppm_now=ways.ppm(0.0, lower, upper),
        ppm_then=ways.ppm(by, lower, upper),
        too_much=tampering_sd_ratio(1.0),
        band=band,
        why=_why(off, off_sd, needed, by, comes_back=comes_back),
    )


@dataclass(frozen=True, eq=False)
class _Ahead:
    """The bores ahead: expected deviation from target and variance of each, micrometres."""

    off_um: Floats
    variance: Floats

    def rms(self, by_um: float) -> float:
        return float(np.sqrt(np.mean((self.off_um + by_um) ** 2 + self.variance)))

    def ppm(self, by_um: float, lower: float | None, upper: float | None) -> float | None:
        if lower is None and upper is None:
            return None
        at, sd = self.off_um + by_um, np.sqrt(self.variance)
        below = 0.0 if lower is None else float(share_below((lower - at) / sd).mean())
        above = 0.0 if upper is None else float(share_above((upper - at) / sd).mean())
        return PER_MILLION * (below + above)


def _variances(c: Floats, walk_um: float, sigma_um: float, ahead: int) -> Floats:
    k = np.arange(1, ahead + 1)
    level = c[0, 0] + 2 * k * c[0, 1] + k**2 * c[1, 1]
    return np.asarray(sigma_um**2 + level + k * walk_um**2, dtype=np.float64)


def _whole(um: float, step_um: float) -> float:
    return round(um / step_um) * step_um if step_um > 0 else um


def _why(off: float, off_sd: float, needed: float, by: float, *, comes_back: bool) -> str:
    """Say in a sentence why this is advised."""
    level = say(
        ABOVE if off > 0 else BELOW, size=lengths.said(abs(off), 1), margin=lengths.bare(2 * off_sd, 1)
    )
    from_ = lengths.said(needed, 1)
    if by:
        return say("{level}; from {size} on a correction pays.", level=level, size=from_)
    if comes_back:
        text = to_say("{level} and the drift carries it back; a correction would pay from {size} on.")
        return say(text, level=level, size=from_)
    if abs(off) > needed:
        return say("{level}; the machine's least step would not bring it closer.", level=level)
    return say(
        "{level}; a correction pays from {size} on. Below that it chases noise: correcting every bore by "
        "its full deviation would make the spread {times} times as wide.",
        level=level,
        size=from_,
        times=local.number(tampering_sd_ratio(1.0), 2),
    )
