"""Release of a set-up by its first bores: run, correct, or measure more.

What is released is the mean of the set-up, not its first bores: they tell of it with the scatter of single
bores, and with the gauge's uncertainty, of which a part is the same in every reading and does not average
out. The mean is in order where the share of bores beyond the limits stays at or below a promised one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from cellmon import local
from cellmon.errors import NoSpread
from cellmon.stats.normal import ppm_outside
from cellmon.stats.summary import as_series
from cellmon.words import say, say_many, to_say

Verdict = Literal["run", "correct", "cannot tell yet"]

SHARE = 0.001
"""Bores beyond the limits that a set-up in order may make."""
REQUIRED = 0.95
"""Probability with which a mean must be in order, or not, to say so."""
MOST = 10
"""Bores more that are asked for at once, at most."""
WORTH = 0.5
"""Chance that they release the set-up which makes more bores worth measuring before a correction."""
AFTER_CORRECTION = 3
"""Bores to measure after a correction."""
CAUTION = to_say(
    "Advice only: whoever releases signs for it, by the site's procedure and the machine's manual; spindle"
    " stopped and guards closed before anybody reaches for a part."
)
_NODES = np.asarray(ndtri((np.arange(200) + 0.5) / 200), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class Band:
    """Means at which no more than a promised share of bores lies beyond the limits, micrometres."""

    lower_um: float
    upper_um: float


@dataclass(frozen=True, kw_only=True)
class Release:
    """What the first bores of a set-up say."""

    verdict: Verdict
    by_um: float
    """To add to the size; 0 unless the verdict is to correct."""
    more: int | None
    """Bores to measure next: after the correction, or to tell; None where more would not tell."""
    probability: float
    """That the mean is in order as it is."""
    mean_um: float
    sd_um: float
    """What is known of the mean: normal, with this standard deviation."""
    band: Band | None
    """None where the spread alone breaks the promise, wherever the mean lies."""
    why: str
    caution: str = field(default_factory=lambda: say(CAUTION))


def band_of_means(
    *, sigma_um: float, lower_um: float | None, upper_um: float | None, share: float
) -> Band | None:
    """Return the means at which at most `share` of normal bores lie beyond the limits; None if none.

    References
    ----------
    ISO 7870-3, acceptance control charts, for limits of a mean drawn in from the tolerance (from memory);
    both tails are counted here.

    Examples
    --------
    >>> band = band_of_means(sigma_um=2.0, lower_um=0.0, upper_um=24.0, share=0.00135)
    >>> round(band.lower_um, 2), round(band.upper_um, 2)
    (6.0, 18.0)
    """
    from scipy.optimize import brentq  # late: slow to import

    if not sigma_um > 0:
        raise NoSpread("bores of a set-up")
    if lower_um is None and upper_um is None:
        raise ValueError("at least one limit")
    z = float(-ndtri(share))
    if lower_um is None or upper_um is None:
        low = -np.inf if lower_um is None else lower_um + z * sigma_um
        return Band(lower_um=low, upper_um=np.inf if upper_um is None else upper_um - z * sigma_um)
    middle = (lower_um + upper_um) / 2

    def too_many(mean: float) -> float:
        return float(ppm_outside(mean, sigma_um, lower=lower_um, upper=upper_um).total) / 1e6 - share

    if too_many(middle) > 0:
        return None
    if too_many(middle) == 0:
        return Band(lower_um=middle, upper_um=middle)
    high = float(brentq(too_many, middle, upper_um, xtol=1e-10))
    return Band(lower_um=lower_um + upper_um - high, upper_um=high)


def judge_first_bores(
    values_um: ArrayLike,
    *,
    sigma_um: float,
    gauge_common_um: float = 0.0,
    gauge_reading_um: float = 0.0,
    lower_um: float | None,
    upper_um: float | None,
    target_um: float | None = None,
    prior_mean_um: float | None = None,
    prior_sd_um: float | None = None,
    share: float = SHARE,
    required: float = REQUIRED,
    step_um: float = 0.0,
) -> Release:
    """Judge a set-up by its first bores.

    Parameters
    ----------
    values_um : array_like, shape (n,)
        Sizes of the first bores, deviation from nominal; 1 or more.
    sigma_um : float
        Standard deviation of bores of one set-up, the gauge's own taken out; above 0.
    gauge_common_um, gauge_reading_um : float
        Standard uncertainties (k = 1): what all readings share, and what is of each alone.
    lower_um, upper_um : float or None
        Tolerance limits; None on a side without one.
    target_um : float, optional
        Where a correction aims; the middle of the band of means without it.
    prior_mean_um, prior_sd_um : float, optional
        Where set-ups of this kind came to lie in the past; without them nothing is known before.
    share : float
        Bores beyond the limits that a set-up in order may make.
    required : float
        Probability needed for a verdict.
    step_um : float
        The least step the machine can be set by. 0: any.

    Raises
    ------
    NotEnoughData, GapInReadings, NoSpread

    References
    ----------
    Normal mean with known variance and normal prior, and what n bores more would tell before they are
    measured: Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), chapter 5 (from memory).
    Gauge: JCGM 106:2012, section 7. Error rates by simulation: docs/drift.md.

    Examples
    --------
    >>> judged = judge_first_bores([12.4, 10.9, 13.1], sigma_um=1.5, lower_um=0.0, upper_um=24.0)
    >>> judged.verdict
    'run'
    """
    x = as_series(values_um, need=1, what="first bores of a set-up")
    if not 0.5 < required < 1:
        raise ValueError(f"a probability above 0.5 and below 1, not {required}")
    band = band_of_means(sigma_um=sigma_um, lower_um=lower_um, upper_um=upper_um, share=share)
    setup = _SetUp(
        single=sigma_um**2 + gauge_reading_um**2,
        common=gauge_common_um**2,
        prior_mean=0.0 if prior_mean_um is None or prior_sd_um is None else prior_mean_um,
        prior_weight=0.0 if prior_mean_um is None or prior_sd_um is None else prior_sd_um**-2,
    )
    known = setup.after(x.size, float(x.mean()))
    if band is None:
        text = to_say(
            "Even a mean in the middle would leave more than {percent}% of bores beyond the limits."
        )
        why = say(text, percent=_percent(share, 2))
        return _told(known, 0.0, verdict="cannot tell yet", more=None, band=None, why=why)
    aim = _aim(band, target_um, sigma_um)
    return _judged(setup, known, x.size, band=band, aim=aim, required=required, step_um=step_um)


@dataclass(frozen=True, kw_only=True)
class _Known:
    """What is known of a mean."""

    mean: float
    sd: float

    def inside(self, band: Band) -> float:
        return float(
            ndtr((band.upper_um - self.mean) / self.sd) - ndtr((band.lower_um - self.mean) / self.sd)
        )


@dataclass(frozen=True, kw_only=True)
class _SetUp:
    """Variances of one reading alone and of what readings share, and what the past says of the mean."""

    single: float
    common: float
    prior_mean: float
    prior_weight: float

    def sd_after(self, n: int) -> float:
        return 1 / sqrt(self.prior_weight + 1 / (self.single / n + self.common))

    def after(self, n: int, mean: float) -> _Known:
        weight = 1 / (self.single / n + self.common)
        together = self.prior_weight + weight
        return _Known(
            mean=(self.prior_weight * self.prior_mean + weight * mean) / together, sd=self.sd_after(n)
        )

    def best(self, band: Band, aim: float) -> float:
        """Return the probability to be in order that a mean on target would come to, bore after bore."""
        return _Known(mean=aim, sd=max(self.sd_after(10**6), 1e-12)).inside(band)

    def released(self, known: _Known, n: int, more: int, band: Band, required: float) -> float:
        """Return the chance that so many bores more show the mean to be in order."""
        sd = self.sd_after(n + more)
        means = known.mean + sqrt(max(known.sd**2 - sd**2, 0.0)) * _NODES
        inside = ndtr((band.upper_um - means) / sd) - ndtr((band.lower_um - means) / sd)
        return float((inside >= required).mean())


def _judged(
    setup: _SetUp, known: _Known, n: int, *, band: Band, aim: float, required: float, step_um: float
) -> Release:
    inside = known.inside(band)
    by = aim - known.mean
    by = round(by / step_um) * step_um if step_um > 0 else by
    if inside >= required:
        return _told(
            known,
            inside,
            verdict="run",
            more=0,
            band=band,
            why=say("The mean is in order with a probability of {percent} %.", percent=_percent(inside, 1)),
        )
    for more in range(1, MOST + 1):
        if setup.released(known, n, more, band, required) >= WORTH:
            why = say_many(
                "The mean is in order with a probability of {percent} %; one more bore should tell.",
                "The mean is in order with a probability of {percent} %; {count} more bores should tell.",
                more,
                percent=_percent(inside),
            )
            return _told(known, inside, verdict="cannot tell yet", more=more, band=band, why=why)
    if setup.best(band, aim) < required or by == 0:
        why = say(
            "More bores would not tell: too unsure a gauge for this tolerance, or too large a least step."
        )
        return _told(known, inside, verdict="cannot tell yet", more=None, band=band, why=why)
    why = say(
        "The mean is in order with a probability of {percent} % only; set it on target and measure again.",
        percent=_percent(inside),
    )
    return _told(known, inside, verdict="correct", by=by, more=AFTER_CORRECTION, band=band, why=why)


def _told(
    known: _Known,
    inside: float,
    *,
    verdict: Verdict,
    more: int | None,
    band: Band | None,
    why: str,
    by: float = 0.0,
) -> Release:
    return Release(
        verdict=verdict,
        by_um=by,
        more=more,
        probability=inside,
        mean_um=known.mean,
        sd_um=known.sd,
        band=band,
        why=why,
    )


def _percent(share: float, digits: int = 0) -> str:
    """Return a probability; never all of it, however near it comes."""
    least = 10.0**-digits
    if 100 * share > 100 - least / 2:
        return say("over {most}", most=local.number(100 - least, digits))
    return local.number(100 * share, digits)


def _aim(band: Band, target_um: float | None, sigma_um: float) -> float:
    """Return where a correction aims: the target, if a mean there is in order, else the nearest that is."""
    if target_um is not None:
        return min(max(target_um, band.lower_um), band.upper_um)
    if np.isfinite(band.lower_um) and np.isfinite(band.upper_um):
        return (band.lower_um + band.upper_um) / 2
    # one limit and no target: as far inside as three more sigma
    return band.upper_um - 3 * sigma_um if np.isfinite(band.upper_um) else band.lower_um + 3 * sigma_um
