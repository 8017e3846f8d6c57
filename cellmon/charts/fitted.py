"""Which distribution a feature has, for limits by probability: zero-bounded, or skewed about its mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cellmon.charts.run_length.skewed import Distribution
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.words import to_say

LEAST_VALUES = 50


@dataclass(frozen=True, kw_only=True, eq=False)
class Fitted:
    """A distribution with its name in words."""

    name: str
    distribution: Distribution


def fit_from_zero(x: ArrayLike) -> Fitted:
    """Return the likeliest of gamma, Weibull and lognormal, all beginning at nought.

    Each has two parameters, so the likelihood alone may choose.

    Raises
    ------
    NotEnoughData
        With fewer than 50 values, or where one is not above nought (a reading of 0 on a coarse gauge).
    NoSpread
        When all are the same.

    References
    ----------
    Maximum likelihood; checked against a search of the likelihood on a grid.

    Examples
    --------
    >>> fit_from_zero(np.random.default_rng(3).weibull(2.0, 2000)).name
    'Weibull'
    """
    from scipy.stats import gamma, lognorm, weibull_min  # a tenth of a second: only where it is needed

    values = np.asarray(x, dtype=np.float64)
    above = values[np.isfinite(values) & (values > 0)]
    if len(above) < max(LEAST_VALUES, len(values)):
        raise NotEnoughData("values above nought", need=max(LEAST_VALUES, len(values)), got=len(above))
    if not np.ptp(above) > 0:
        raise NoSpread("bores")
    families = {"gamma": gamma, "Weibull": weibull_min, "lognormal": lognorm}
    fits = {name: family(*family.fit(above, floc=0)) for name, family in families.items()}
    best = max(fits, key=lambda name: float(fits[name].logpdf(above).sum()))
    return Fitted(name=best, distribution=fits[best])


def fit_skewed(mean: float, sd: float, skewness: float) -> Fitted:
    """Return the shifted gamma distribution (Pearson's third type) of a mean, deviation and skewness.

    References
    ----------
    Pearson, Philosophical Transactions A 186 (1895), 343-414 (from memory): fitted by three moments.

    Examples
    --------
    >>> float(fit_skewed(5.0, 2.0, 0.0).distribution.cdf(5.0))
    0.5
    """
    from scipy.stats import pearson3

    if not sd > 0:
        raise NoSpread("bores")
    return Fitted(name=to_say("shifted gamma"), distribution=pearson3(skewness, loc=mean, scale=sd))
