"""Populations with a known index, from an independent library, for coverage by simulation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

ZERO_BOUNDED = {
    "half normal": stats.halfnorm(),
    "folded normal, level 1": stats.foldnorm(1),
    "folded normal, level 2": stats.foldnorm(2),
    "Rayleigh": stats.rayleigh(),
    "Weibull, shape 1.5": stats.weibull_min(1.5),
    "Weibull, shape 3": stats.weibull_min(3),
    "lognormal, 0.25": stats.lognorm(0.25),
    "lognormal, 0.5": stats.lognorm(0.5),
    "gamma, shape 1.5": stats.gamma(1.5),
    "gamma, shape 3": stats.gamma(3),
    "gamma, shape 8": stats.gamma(8),
}
UNSEEN = {
    "folded normal, level 0.5": stats.foldnorm(0.5),
    "folded normal, level 1.5": stats.foldnorm(1.5),
    "exponential": stats.expon(),
    "Weibull, shape 2.3": stats.weibull_min(2.3),
    "lognormal, 0.35": stats.lognorm(0.35),
    "gamma, shape 5": stats.gamma(5),
    "Maxwell": stats.maxwell(),
    "inverse Gaussian, 0.2": stats.invgauss(0.2),
    "beta, 2 and 6": stats.beta(2, 6),
    "half logistic": stats.halflogistic(),
}
"""Not looked at when the constants of the intervals were set; `OUTSIDE` are of no family of ours."""
OUTSIDE = ("inverse Gaussian, 0.2", "beta, 2 and 6", "half logistic")
UNBOUNDED = {
    "normal": stats.norm(),
    "lognormal, 0.1": stats.lognorm(0.1),
    "gamma, shape 8": stats.gamma(8),
    "gamma, shape 30": stats.gamma(30),
    "greatest value": stats.gumbel_r(),
    "Student's t, 5": stats.t(5),
    "logistic": stats.logistic(),
    "Weibull, shape 3.6": stats.weibull_min(3.6),
}


@dataclass(frozen=True)
class Cell:
    """A population and limits that make its index, by quantiles, what is wanted."""

    population: Any
    lower: float | None
    upper: float
    ppm: float

    @classmethod
    def of(cls, population: Any, *, index: float, two_limits: bool) -> Cell:
        low, middle, high = population.ppf([0.00135, 0.5, 0.99865])
        upper = middle + index * (high - middle)
        # the other side is a little better, so that one limit governs the truth but not every sample
        lower = middle - (index + 0.1) * (middle - low) if two_limits else None
        outside = population.sf(upper) + (0.0 if lower is None else population.cdf(lower))
        return cls(population, lower, float(upper), 1e6 * float(outside))

    def sample(self, n: int, rng: np.random.Generator) -> np.ndarray:
        return np.asarray(self.population.rvs(n, random_state=rng))
