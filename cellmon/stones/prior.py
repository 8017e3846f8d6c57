"""What past sets teach of the next one: how fast sets wear, how much they differ, how rough a path is.

Wear is a straight line with noise, w(n) = r n + s B(n): each set has its own rate r, log-normal between
sets; s is shared. Rates of sets that still run count as those of ended ones do, with what their paths
leave unsure: the likelihood of a rate does not ask why a path stops.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtri

Floats = NDArray[np.float64]

USUAL_SPREAD, SPREAD_SD = 0.2, 0.5
"""Sets of one kind differ in rate by about 20 %, give or take a factor: common practice, no source."""
SPREADS = 40
"""Spreads weighed."""
USUAL_PATH, PATH_DF = 0.05, 2.0
"""Noise of a path over a whole life, share of the depth, and how many increments that is worth."""
NOISE_NODES = 5
"""Values of the noise weighed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """What one set wore, increment by increment, steps and the break-in left out.

    Attributes
    ----------
    bores, wear_um : ndarray, shape (k,)
        Bores between two measurements, above 0, and what wore off in them.
    """

    bores: Floats
    wear_um: Floats

    @cached_property
    def honed(self) -> float:
        """All bores between its measurements."""
        return float(self.bores.sum())

    @cached_property
    def rate(self) -> float:
        """Wear of a bore, µm."""
        return float(self.wear_um.sum() / self.bores.sum())

    @cached_property
    def off_line(self) -> float:
        """Squares of its increments about its own line, each over its bores."""
        return float(((self.wear_um - self.rate * self.bores) ** 2 / self.bores).sum())

    @cached_property
    def read(self) -> float:
        """By how much of the variance of a reading, twice, `off_line` is larger."""
        return float((1 / self.bores).sum() - 1 / self.bores.sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class WearPrior:
    """What is expected of a set before it is measured: a mixture of normals of the log rate.

    Attributes
    ----------
    centre, spread, weight : ndarray, shape (m,)
        Of the logarithm of the rate in µm a bore.
    noise2, noise2_weight : ndarray, shape (q,)
        Values of the noise variance of one bore, µm², and how likely each is.
    sets : int
        Past sets it rests on; 0: a person's guess.
    """

    centre: Floats
    spread: Floats
    weight: Floats
    noise2: Floats
    noise2_weight: Floats
    sets: int

    @property
    def median_rate(self) -> float:
        """The middle of the rates expected, µm a bore."""
        return float(np.exp((self.weight * self.centre).sum()))

    def density(self, log_rate: Floats) -> Floats:
        """Return the density of logarithms of rates."""
        z = (log_rate[:, None] - self.centre) / self.spread
        return np.asarray((self.weight * np.exp(-(z**2) / 2) / self.spread).sum(axis=1), dtype=np.float64)


def learn_prior(paths: Sequence[Path], *, depth_um: float, reading_um: float = 0.0) -> WearPrior:
    """Learn what sets of one kind do from those known, with what so few leave unsure.

    Parameters
    ----------
    paths : sequence of Path
        At least one; each with a rate above 0.
    depth_um : float
        What a set of this kind may wear off in its life.
    reading_um : float
        Standard deviation of one measured wear.

    References
    ----------
    Gelman, Carlin, Stern and Rubin, Bayesian Data Analysis (1995), section 5.4, normal means with their
    own variances, the common mean integrated out; the spread is weighed on a grid (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> path = lambda rate: Path(bores=np.full(8, 1000.0), wear_um=np.full(8, 1000.0 * rate))
    >>> prior = learn_prior([path(0.25), path(0.28), path(0.31)], depth_um=2400.0)
    >>> round(prior.median_rate, 3), prior.sets
    (0.279, 3)
    """
    known = [p for p in paths if p.honed > 0 and p.rate > 0]
    if not known:
        raise ValueError("at least one set that wore")
    bores = np.array([p.honed for p in known])
    rates = np.array([p.rate for p in known])
    noise = _noise(known, depth_um=depth_um, reading_um=reading_um)
    own = (noise.mean / bores + 2 * (reading_um / bores) ** 2) / rates**2
    spreads = np.exp(np.log(USUAL_SPREAD) + SPREAD_SD * ndtri((np.arange(SPREADS) + 0.5) / SPREADS))
    total = spreads[:, None] ** 2 + own
    precision = (1 / total).sum(axis=1)
    centre = (np.log(rates) / total).sum(axis=1) / precision
    misfit = ((np.log(rates) - centre[:, None]) ** 2 / total + np.log(total)).sum(axis=1)
    log_weight = -(misfit + np.log(precision)) / 2
    weight = np.exp(log_weight - log_weight.max())
    return WearPrior(
        centre=centre,
        spread=np.sqrt(spreads**2 + 1 / precision),
        weight=weight / weight.sum(),
        noise2=noise.values,
        noise2_weight=np.full(len(noise.values), 1 / len(noise.values)),
        sets=len(known),
    )


def guessed_prior(low: float, high: float, *, depth_um: float) -> WearPrior:
    """Return what a person's guess of the life says: 5 and 95 % of sets end before `low` and `high` bores.

    >>> round(guessed_prior(6000, 12000, depth_um=2400).median_rate, 3)
    0.283
    """
    if not 0 < low < high:
        raise ValueError(f"a range of bores above 0, not {low} to {high}")
    rate = depth_um / np.sqrt(low * high)
    whole = np.log(high / low) / (2 * ndtri(0.95))
    spread = np.sqrt(max(whole**2 - USUAL_PATH**2, (whole / 4) ** 2))
    return WearPrior(
        centre=np.array([np.log(rate)]),
        spread=np.array([spread]),
        weight=np.ones(1),
        noise2=np.array([USUAL_PATH**2 * depth_um * rate]),
        noise2_weight=np.ones(1),
        sets=0,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Noise:
    mean: float
    values: Floats


def _noise(paths: Sequence[Path], *, depth_um: float, reading_um: float) -> _Noise:
    """Return the noise variance of a bore: pooled about each set's own line, readings' part taken out."""
    scale = float(np.mean([p.rate for p in paths]))
    usual = USUAL_PATH**2 * depth_um * scale  # its sum over a life of depth / rate bores
    squares = df = 0.0
    for p in paths:
        if len(p.bores) < 2:
            continue
        squares += p.off_line - 2 * reading_um**2 * p.read
        df += len(p.bores) - 1
    # what is usual gives way as paths show what they do: worth two increments alone, hardly any beside fifty
    worth = PATH_DF / (1 + df / PATH_DF)
    squares = max(squares + worth * usual, 1e-3 * PATH_DF * usual)
    df += worth
    values = squares / (2 * gammaincinv(df / 2, (np.arange(NOISE_NODES) + 0.5) / NOISE_NODES))
    return _Noise(mean=squares / df, values=np.asarray(values, dtype=np.float64))
