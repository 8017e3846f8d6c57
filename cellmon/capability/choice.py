"""The choice of a family for the bores of one stream, and the fit as it is shown."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from cellmon.capability.families import (
    Family,
    Floats,
    bayes_criterion,
    information_criterion,
)
from cellmon.capability.goodness import FITS, GoodnessOfFit, goodness_of_fit
from cellmon.capability.levels import THREE_LEVELS, TWO_LEVELS
from cellmon.capability.unbounded import HEAVY_TAILED, NORMAL, SHIFTED_LOGNORMAL
from cellmon.capability.zero_bounded import (
    FOLDED_NORMAL,
    GAMMA,
    HALF_NORMAL,
    LOGNORMAL,
    NAKAGAMI,
    RAYLEIGH,
    WEIBULL,
)
from cellmon.errors import NoSpread
from cellmon.stats.summary import as_series

UNBOUNDED = (NORMAL, SHIFTED_LOGNORMAL, HEAVY_TAILED)
LEVELS = (TWO_LEVELS, THREE_LEVELS)
"""Tried where the normal is ruled out."""
ZERO_BOUNDED = (NORMAL, HALF_NORMAL, RAYLEIGH, FOLDED_NORMAL, WEIBULL, LOGNORMAL, GAMMA, NAKAGAMI)
CLEARLY = 2.0
"""Difference of the criterion from which one family is clearly better (Burnham and Anderson, 2002)."""
LEAST_FOR_LEVELS = 50
"""Values below which levels are not told from chance."""
LEAST = 10
"""Values below which no family is fitted."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """One family fitted to one sample."""

    family: Family
    theta: Floats
    """Parameters, (1, p)."""
    n: int
    criterion: float
    """Akaike's, corrected for small samples; small is good."""
    bayes: float
    """Schwarz's."""
    weight: float
    """Share of the belief among the families tried, from the criterion."""
    goodness: GoodnessOfFit


@dataclass(frozen=True, kw_only=True, eq=False)
class Choice:
    """The families tried, the chosen one first, the others by their criterion."""

    fits: tuple[Fit, ...]
    fitting: bool
    """False where the test rules out every family tried."""

    @property
    def best(self) -> Fit:
        """The family chosen."""
        return self.fits[0]

    @property
    def with_a_say(self) -> tuple[Fit, ...]:
        """The fits an interval is made from: levels only where they are chosen, and then alone."""
        if self.best.family in LEVELS:
            return (self.best,)
        return tuple(fit for fit in self.fits if fit.family not in LEVELS)


def choose(x: ArrayLike, *, zero_bounded: bool) -> Choice:
    """Fit every family that could hold, and choose one.

    Among the families that the test of Anderson and Darling does not rule out (among all where it rules
    out every one, and `fitting` is false) those count whose criterion none beats by `CLEARLY`; of these
    the one with fewest parameters, then the smallest criterion. So on a feature without a bound the
    normal is kept unless something speaks against it. Levels are tried there where it is ruled out.

    Parameters
    ----------
    x : array_like, shape (n,)
        Values, at least `LEAST`; for a zero-bounded feature none below zero.
    zero_bounded : bool
        The feature cannot be negative.

    Raises
    ------
    NotEnoughData, GapInReadings, NoSpread
        Where the values cannot carry a fit.

    References
    ----------
    Burnham and Anderson, Model Selection and Multimodel Inference (2002), section 2.9, for the weights.

    Examples
    --------
    >>> x = np.sqrt(-2 * np.log((np.arange(200) + 0.5) / 200))
    >>> choose(x, zero_bounded=True).best.family.name
    'Rayleigh'
    """
    values = as_series(x, need=LEAST, what="bores for a distribution")
    if values.max() == values.min():
        raise NoSpread("bores for a distribution")
    if zero_bounded and values.min() < 0:
        raise ValueError("a value below zero on a feature that cannot be negative")
    values = lifted(values) if zero_bounded else values
    families = ZERO_BOUNDED if zero_bounded else UNBOUNDED
    fitted = weighed(families, values)
    if not zero_bounded and fitted[0].goodness.p_value < FITS and values.size >= LEAST_FOR_LEVELS:
        fitted = _shared([*fitted, *weighed(LEVELS, values)])
    possible = [f for f in fitted if f.goodness.p_value >= FITS]
    near = _near_best(possible or fitted)
    best = min(near, key=lambda f: (f.theta.shape[1], f.criterion))
    others = sorted((f for f in fitted if f is not best), key=lambda f: f.criterion)
    return Choice(fits=(best, *others), fitting=bool(possible))


def _near_best(fits: list[Fit]) -> list[Fit]:
    """Return the fits that no other is clearly better than."""
    least = min(f.criterion for f in fits)
    return [f for f in fits if f.criterion <= least + CLEARLY]


def weighed(families: tuple[Family, ...], values: Floats) -> list[Fit]:
    """Fit the families and weigh them by exp(-criterion / 2)."""
    x = values[None, :]
    thetas = [family.fit(x) for family in families]
    return _shared(
        [
            Fit(
                family=family,
                theta=theta,
                n=values.size,
                criterion=float(information_criterion(family, x, theta)[0]),
                bayes=float(bayes_criterion(family, x, theta)[0]),
                weight=1.0,
                goodness=goodness_of_fit(family, values, theta),
            )
            for family, theta in zip(families, thetas, strict=True)
        ]
    )


def _shared(fits: list[Fit]) -> list[Fit]:
    """Return fits with the belief shared among them by their criteria."""
    weights = akaike_weights(np.array([[fit.criterion] for fit in fits]))[:, 0]
    return [replace(fit, weight=float(weight)) for fit, weight in zip(fits, weights, strict=True)]


def akaike_weights(criteria: Floats) -> Floats:
    """Return the weights of families, (families, rows), from their criteria, each column summing to 1."""
    relative = np.exp(-(criteria - criteria.min(axis=0)) / 2)
    return np.asarray(relative / relative.sum(axis=0), dtype=np.float64)


def lifted(values: Floats) -> Floats:
    """Return the values with those of nought raised to half the smallest step above it.

    A reading of nought is a small value that the gauge could not tell from it; a family above zero
    has no place for nought itself.
    """
    if values.min() > 0:
        return values
    return np.where(values <= 0, values[values > 0].min() / 2, values)
