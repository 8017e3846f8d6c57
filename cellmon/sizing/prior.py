"""What is known of the removal per stroke before the first round: little, or what rounds before taught."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MIDDLE_UM = 0.6
"""Removal of a double stroke by hand, on diameter: a wide guess (*common practice, no source*)."""
LOG_SD = 0.7
"""So that nine of ten hands lie within a factor of 10, from 0.19 to 1.9 µm."""
BETWEEN_BORES = 0.15
"""How much the same stones differ from bore to bore, log scale: feed by hand, hardness."""
BETWEEN_STONES = 0.5
"""How much stones of one stage differ, log scale."""


@dataclass(frozen=True, kw_only=True)
class RatePrior:
    """Removal per full stroke before the first round: log-normal."""

    middle_um: float = MIDDLE_UM
    log_sd: float = LOG_SD


@dataclass(frozen=True, kw_only=True, eq=False)
class ScatterPrior:
    """How much the removal scatters from round to round, as a share of it: values and their weights."""

    values: Floats = field(default_factory=lambda: np.array([0.04, 0.08, 0.13, 0.19, 0.26, 0.34]))
    weights: Floats = field(default_factory=lambda: np.array([0.08, 0.16, 0.2, 0.22, 0.2, 0.14]))


@dataclass(frozen=True, kw_only=True)
class SeenRate:
    """What the rounds of one earlier bore taught of its stones: log-normal, µm a full stroke."""

    stones: str
    middle_um: float
    log_sd: float


def prior_from(seen: Sequence[SeenRate], *, stones: str, guess: RatePrior | None = None) -> RatePrior:
    """Return what is expected of some stones on the next bore.

    Bores honed with these very stones count, each as unsure as it was left and with what bores differ;
    bores of other stones of the stage count with what stones differ on top. The guess is one more voice.
    One bore in ten times the middle of the guess moves the prior, and it stays wide: few bores, wide range.

    Parameters
    ----------
    seen : sequence of SeenRate
        Earlier bores of the same stage, any stones.
    stones : str
        The stones in the hone now.

    References
    ----------
    Normal means with known variances, conjugate: Gelman et al., Bayesian Data Analysis, section 2.5
    (memory); tested against scipy.stats.

    Examples
    --------
    >>> round(prior_from([SeenRate(stones="A", middle_um=0.3, log_sd=0.1)], stones="A").middle_um, 2)
    0.31
    """
    first = RatePrior() if guess is None else guess
    others: dict[str, list[SeenRate]] = {}
    for one in seen:
        others.setdefault(one.stones, []).append(one)
    middle, variance = log(first.middle_um), first.log_sd**2
    for name, bores in others.items():
        if name != stones:
            at, v = _pooled(bores)
            middle, variance = _joined(middle, variance, at, v + BETWEEN_STONES**2)
    if others and set(others) != {stones}:
        variance += BETWEEN_STONES**2  # from what such stones do to what these do
        variance = min(variance, first.log_sd**2)
    if stones in others:
        at, v = _pooled(others[stones])
        middle, variance = _joined(middle, variance, at, v)
    known = stones in others
    spread = variance + BETWEEN_BORES**2 if known else variance
    return RatePrior(middle_um=float(np.exp(middle)), log_sd=sqrt(spread))


def _pooled(bores: Sequence[SeenRate]) -> tuple[float, float]:
    """Return middle and variance of stones over their bores, each bore with what bores differ."""
    weights = np.array([1 / (b.log_sd**2 + BETWEEN_BORES**2) for b in bores])
    logs = np.log([b.middle_um for b in bores])
    return float(weights @ logs / weights.sum()), float(1 / weights.sum())


def _joined(a: float, va: float, b: float, vb: float) -> tuple[float, float]:
    return (a * vb + b * va) / (va + vb), va * vb / (va + vb)
