"""What the steps of a gauge do to means and ranges: everything counted out on its grid, nothing approximated.

A reading is the nearest step to a normal value. What results depends on where the true mean lies
between two steps; unless that is given, all places count alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from cellmon.stats.constants import chart_factors

Floats = NDArray[np.float64]
_PLACES = 16


@dataclass(frozen=True, kw_only=True)
class RoundedCharts:
    """Three-sigma charts of rounded readings, limits from the mean range of rounded readings."""

    sigma_ratio: float
    """Sigma by the mean range over the true one."""
    mean_chance: float
    """Of a false alarm of means at a point."""
    range_chance: float
    zero_ranges: float
    """Share of subgroups whose readings are all the same."""


def rounded_charts(resolution: float, n: int, *, place: float | None = None) -> RoundedCharts:
    """Return what charts of rounded readings do when nothing moves.

    Parameters
    ----------
    resolution : float
        Step of the gauge over sigma of the bores.
    n : int
        Bores in a subgroup, at least 2.
    place : float or None
        Of the true mean between two steps, from 0 to 1; None averages the places.

    Examples
    --------
    >>> round(1 / rounded_charts(0.05, 5).mean_chance, 0)
    371.0
    """
    if not 0 < resolution <= 20 or n < 2:
        raise ValueError(f"a resolution above 0 and up to 20 sigma and n from 2, not {resolution} and {n}")
    places = (np.arange(_PLACES) + 0.5) / _PLACES if place is None else np.array([place % 1.0])
    found = np.array([_at_place(resolution, n, float(one)) for one in places]).mean(axis=0)
    return RoundedCharts(
        sigma_ratio=float(found[0]),
        mean_chance=float(found[1]),
        range_chance=float(found[2]),
        zero_ranges=float(found[3]),
    )


def sheppard_ratio(resolution: float) -> float:
    """Return the standard deviation of rounded readings over the true one: sqrt(1 + q^2 / 12).

    Sheppard's correction; good to 1 % up to steps of two sigma.

    >>> round(sheppard_ratio(1.0), 4)
    1.0408
    """
    if not resolution >= 0:
        raise ValueError(f"a resolution from 0, not {resolution}")
    return math.sqrt(1 + resolution**2 / 12)


def _at_place(q: float, n: int, place: float) -> tuple[float, float, float, float]:
    """Return sigma ratio, chances of mean and range, share of zero ranges; the mean is `place` steps."""
    reach = math.ceil(10 / q) + 1
    steps = np.arange(-reach, reach + 2)
    edges = ndtr((np.append(steps - 0.5, steps[-1] + 0.5) - place) * q)
    mass = np.diff(edges)
    ranges = _range_masses(edges, n)
    sizes = q * np.arange(ranges.size)
    factors = chart_factors(n)
    sigma = float(ranges @ sizes) / factors.d2
    low, high = factors.D1 * sigma, factors.D2 * sigma
    range_chance = float(ranges[(sizes > high + 1e-9) | (sizes < low - 1e-9)].sum())
    total = _sum_masses(mass, n)
    off = q * ((np.arange(total.size) + n * steps[0]) / n - float(mass @ steps))
    mean_chance = float(total[np.abs(off) > 3 * sigma / math.sqrt(n) + 1e-9].sum())
    return sigma, mean_chance, range_chance, float(ranges[0])


def _range_masses(edges: Floats, n: int) -> Floats:
    """Return the chances of ranges of 0, 1, 2, ... steps: all within k + 1 cells, less those within k."""
    cells = edges.size - 1
    within = np.array([float(((edges[k:] - edges[: edges.size - k]) ** n).sum()) for k in range(cells + 1)])
    return np.maximum(np.diff(np.diff(within), prepend=0.0), 0.0)


def _sum_masses(mass: Floats, n: int) -> Floats:
    total = np.ones(1)
    for _ in range(n):
        total = np.convolve(total, mass)
    return np.asarray(total, dtype=np.float64)
