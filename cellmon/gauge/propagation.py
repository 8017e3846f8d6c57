"""How doubt about readings becomes doubt about features, by simulation.

Where a feature cannot be below nought, noise only ever adds: a perfect bore reads some roundness.
Arithmetic on weights (`cellmon.gauge.decision.feature_uncertainty`) does not see that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Propagated:
    """What a feature reads where the true figure is known, in the unit of the readings."""

    true: float
    mean: float
    sd: float
    low: float
    high: float
    """Between these the middle 95 % of what is read lies."""

    @property
    def too_much(self) -> float:
        """How much more is read than is there, on average."""
        return self.mean - self.true


def noisy_readings(
    true: ArrayLike,
    *,
    common: float,
    reading: float,
    n: int,
    generator: Generator,
    resolution: float | None = None,
) -> Floats:
    """Return what the gauge might read of one bore, n times.

    Parameters
    ----------
    true : array_like, shape (planes, directions)
        The bore as it is.
    common, reading : float
        Standard uncertainties (k = 1): shared by all readings of a bore, and of each alone.
    resolution : float, optional
        Step to which each reading is rounded; leave it out where `reading` holds it already.

    Returns
    -------
    array, shape (n, planes, directions)

    References
    ----------
    JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    """
    x = np.asarray(true, dtype=np.float64)
    shared = common * generator.standard_normal((n, 1, 1))
    own = reading * generator.standard_normal((n, *x.shape))
    read = x + shared + own
    return read if not resolution else np.round(read / resolution) * resolution


def read_of(values: ArrayLike, *, true: float) -> Propagated:
    """Return what some simulated figures of a feature say.

    Parameters
    ----------
    values : array_like, shape (n,)
        The feature of each simulated reading.
    true : float
        The feature of the bore as it is.
    """
    x = as_series(values, need=100, what="simulated figures")
    low, high = np.quantile(x, [0.025, 0.975])
    return Propagated(
        true=true, mean=float(x.mean()), sd=float(x.std(ddof=1)), low=float(low), high=float(high)
    )
