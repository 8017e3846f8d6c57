"""Run length of charts without memory: means, ranges, standard deviations; and of single values.

A point signals with the same chance each time, so the run length is geometric. Only single values
with their moving range remember the value before: there the run length solves an integral equation.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtr, chdtri, ndtr, ndtri

from cellmon.charts.run_length.distribution import RunLength, alongside, geometric
from cellmon.charts.run_length.operators import gauss
from cellmon.stats.constants import chart_factors, range_cdf

Floats = NDArray[np.float64]
_NODES = 24
_ROOT = math.sqrt(2 * math.pi)


def mean_run_length(
    width: float = 3.0, *, shift: float = 0.0, sd: float = 1.0, beside: float = 0.0
) -> RunLength:
    """Return the run length of means, or of single values, with limits at `width` either side.

    Parameters
    ----------
    width : float
        Standard errors of a mean from centre to limit.
    shift, sd : float
        True mean and standard deviation of a point, in that standard error.
    beside : float
        Chance of a signal at each point of an independent chart, as `range_chance` or `sd_chance`.

    Examples
    --------
    >>> round(mean_run_length().mean, 1), round(mean_run_length(beside=range_chance(5)).mean, 1)
    (370.4, 137.2)
    """
    if not width > 0 or not sd > 0:
        raise ValueError(f"a width and a standard deviation above 0, not {width} and {sd}")
    run = geometric(float(ndtr((-width - shift) / sd) + ndtr((shift - width) / sd)))
    return alongside(run, beside) if beside else run


def mean_limit(arl: float) -> float:
    """Return the width at which means of an unmoved process signal once in `arl` points.

    >>> round(mean_limit(370.4), 3)
    3.0
    """
    return -float(ndtri(0.5 / _wanted(arl)))


def range_chance(n: int, *, ratio: float = 1.0, limits: tuple[float, float] | None = None) -> float:
    """Return the chance that a range of n normal bores lies beyond its limits.

    Parameters
    ----------
    n : int
        Bores, at least 2.
    ratio : float
        True standard deviation over assumed one.
    limits : (lower, upper) or None
        In assumed standard deviations; None takes three sigma, D1 and D2.
    """
    low, high = limits if limits is not None else (chart_factors(n).D1, chart_factors(n).D2)
    below, until = range_cdf([low / ratio, high / ratio], n)
    return float(below + (1 - until))


def sd_chance(n: int, *, ratio: float = 1.0, limits: tuple[float, float] | None = None) -> float:
    """Return the chance that a standard deviation of n normal bores lies beyond its limits.

    As `range_chance`; None takes three sigma, B5 and B6.
    """
    low, high = limits if limits is not None else (chart_factors(n).B5, chart_factors(n).B6)
    below, until = chdtr(n - 1, (n - 1) * (np.array([low, high]) / ratio) ** 2)
    return float(below + (1 - until))


def range_run_length(n: int, *, ratio: float = 1.0, limits: tuple[float, float] | None = None) -> RunLength:
    """Return the run length of ranges of n bores, as `range_chance`.

    >>> round(range_run_length(5).mean, 1), round(range_run_length(5, ratio=2.0).mean, 2)
    (217.2, 2.44)
    """
    return geometric(range_chance(n, ratio=ratio, limits=limits))


def sd_run_length(n: int, *, ratio: float = 1.0, limits: tuple[float, float] | None = None) -> RunLength:
    """Return the run length of standard deviations of n bores, as `sd_chance`."""
    return geometric(sd_chance(n, ratio=ratio, limits=limits))


def range_limit(n: int, arl: float) -> float:
    """Return the upper limit alone, in sigma, beyond which a range of n bores lies once in `arl`.

    >>> round(range_limit(5, 370.4), 3)
    5.123
    """
    from scipy.optimize import brentq  # late: slow to import

    share = 1 / _wanted(arl)
    return float(brentq(lambda w: float(1 - range_cdf(w, n)) - share, 0.0, 20.0, xtol=1e-12))


def sd_limit(n: int, arl: float) -> float:
    """Return the upper limit alone, in sigma, beyond which a standard deviation lies once in `arl`."""
    return math.sqrt(float(chdtri(n - 1, 1 / _wanted(arl))) / (n - 1))


def individuals_run_length(
    width: float = 3.0, *, moving_range: float | None = None, shift: float = 0.0, sd: float = 1.0
) -> RunLength:
    """Return the run length of single values, with the moving range of two if it has a limit.

    Parameters
    ----------
    width : float
        Standard deviations from centre to limit.
    moving_range : float or None
        Upper limit of the moving range in standard deviations; 3.686 is three sigma.
    shift, sd : float
        True mean and standard deviation, in the assumed one.

    References
    ----------
    Crowder, Journal of Quality Technology 19 (1987), 98-102, for the integral equation (from memory).

    Examples
    --------
    >>> round(individuals_run_length().mean, 1)
    370.4
    """
    if moving_range is None:
        return mean_run_length(width, shift=shift, sd=sd)
    if not width > 0 or not moving_range > 0 or not sd > 0:
        raise ValueError("a width, a limit of the moving range and a standard deviation above 0")
    return _with_moving_range(width, min(moving_range, 2 * width), shift, sd)


def _with_moving_range(width: float, reach: float, shift: float, sd: float) -> RunLength:
    """States are nodes of panels between bends, at reach steps from either limit; then the start."""
    borders = _bends(width, reach)
    rules = [gauss(low, high, _NODES) for low, high in pairwise(borders)]
    at = np.concatenate([rule.at for rule in rules])
    step = np.zeros((at.size + 1, at.size + 1))
    for panel, (low, high) in enumerate(pairwise(borders)):
        columns = slice(panel * _NODES, (panel + 1) * _NODES)
        least, most = np.clip(at - reach, low, high), np.clip(at + reach, low, high)
        step[:-1, columns] = _within(low, high, least, most, shift, sd)
        step[-1, columns] = _within(low, high, np.array([low]), np.array([high]), shift, sd)
    start = np.zeros(at.size + 1)
    start[-1] = 1.0
    return RunLength(start=start, step=step, running=np.ones(at.size + 1))


def _within(low: float, high: float, least: Floats, most: Floats, shift: float, sd: float) -> Floats:
    """Return weights of the nodes of a panel for integrals over parts of it, one row a part."""
    unit = gauss(0.0, 1.0, _NODES)
    y = least[:, None] + (most - least)[:, None] * unit.at
    density = np.exp(-0.5 * ((y - shift) / sd) ** 2) / (sd * _ROOT) * (most - least)[:, None] * unit.weights
    nodes = np.polynomial.legendre.leggauss(_NODES)[0]
    to_series = np.linalg.inv(np.polynomial.legendre.legvander(nodes, _NODES - 1))
    basis = np.polynomial.legendre.legvander(2 * (y - low) / (high - low) - 1, _NODES - 1) @ to_series
    return np.asarray(np.einsum("rq,rqn->rn", density, basis), dtype=np.float64)


def _bends(width: float, reach: float) -> list[float]:
    """Return where the run length bends: limits, and places whole reaches away from them."""
    steps = reach * np.arange(1, math.floor(2 * width / reach) + 1)
    inner = np.concatenate([-width + steps, width - steps])
    inner = inner[np.abs(inner) < width - 1e-9]
    places = np.unique(np.round(np.concatenate([[-width, width], inner]), 12))
    if places.size > 40:
        raise ValueError("a limit of the moving range too far below the limits of the values")
    return [float(place) for place in places]


def _wanted(arl: float) -> float:
    if not arl > 1 or not math.isfinite(arl):
        raise ValueError(f"a mean run length above 1, not {arl}")
    return arl
