"""Run length of the EWMA: z + weight (x - z), two-sided, with steady or exact limits.

Steady limits are centre +- width sigma sqrt(weight / (2 - weight)); exact ones follow the variance of
the first points, sqrt(1 - (1 - weight)^(2 t)) times that, and are reached by a step of their own each.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from cellmon.charts.run_length.distribution import RunLength
from cellmon.charts.run_length.operators import Cdf, Panels, Rule, gauss, step_from_cdf
from cellmon.charts.run_length.solving import limit_for

Floats = NDArray[np.float64]
_ROOT = math.sqrt(2 * math.pi)


def ewma_run_length(
    weight: float,
    width: float,
    *,
    shift: float = 0.0,
    sd: float = 1.0,
    exact_limits: bool = False,
    head_start: float = 0.0,
) -> RunLength:
    """Return the run length of a two-sided EWMA of normal points.

    Parameters
    ----------
    weight : float
        Of the newest point, above 0 and up to 1.
    width : float
        From centre to limit, in standard deviations of the steady EWMA.
    shift, sd : float
        True mean and standard deviation of a point, in the standard deviation the chart assumes.
    exact_limits : bool
        True: limits as wide as the spread of the EWMA after 1, 2, ... points.
    head_start : float
        Where it begins, in sigma from the centre; only with steady limits.

    References
    ----------
    Crowder, Technometrics 29 (1987), 401-407, for the integral equation; Lucas and Saccucci,
    Technometrics 32 (1990), 1-12, for tables.

    Examples
    --------
    >>> round(ewma_run_length(0.1, 2.814).mean, 2)
    499.58
    """
    _check(weight, width)
    if not sd > 0:
        raise ValueError(f"a standard deviation above 0, not {sd}")
    edge = width * math.sqrt(weight / (2 - weight))
    if not abs(head_start) < edge:
        raise ValueError(f"a head start inside the limits {edge:.3g}, not {head_start}")
    rule = gauss(-edge, edge, _nodes(edge / (weight * sd)))
    steady = _steady_step(rule, weight, shift, sd, head_start)
    if exact_limits:
        return _with_exact_start(steady, rule, weight, shift, sd)
    return steady


def ewma_arl(
    weight: float, width: float, *, shift: float = 0.0, sd: float = 1.0, exact_limits: bool = False
) -> float:
    """Return the average run length of an EWMA, as `ewma_run_length`."""
    return ewma_run_length(weight, width, shift=shift, sd=sd, exact_limits=exact_limits).mean


def ewma_limit(weight: float, arl: float, *, exact_limits: bool = False) -> float:
    """Return the width of limits with which an EWMA runs for `arl` points when nothing moves.

    >>> round(ewma_limit(0.1, 499.58), 3)
    2.814
    """
    _check(weight, 3.0)
    return limit_for(
        lambda width: ewma_arl(weight, width, exact_limits=exact_limits),
        arl,
        guess=_first_guess(weight, arl),
        slope=max(0.5, _first_guess(weight, arl)),
    )


def general_ewma_run_length(
    weight: float, width: float, cdf: Cdf, *, least: float | None = None
) -> RunLength:
    """Return the run length of a two-sided EWMA of points with any continuous distribution.

    Parameters
    ----------
    weight, width : float
        As `ewma_run_length`.
    cdf : callable
        Distribution function of a point in standard deviations from the centre, on arrays.
    least : float or None
        The smallest value a point can have, where there is one.

    Examples
    --------
    >>> from scipy.special import ndtr
    >>> round(general_ewma_run_length(0.1, 2.814, ndtr).mean, 2)
    499.58
    """
    _check(weight, width)
    edge = width * math.sqrt(weight / (2 - weight))
    if weight == 1:
        inside = float(np.diff(cdf(np.array([-edge, edge])))[0])
        return RunLength(start=np.ones(1), step=np.array([[inside]]), running=np.ones(1))
    panels = _panels(weight, edge, least)
    states = np.concatenate([[0.0], panels.at])
    begins = None if least is None else (1 - weight) * states + weight * least
    inner = step_from_cdf(lambda z, y: cdf((y - (1 - weight) * z) / weight), panels, states, begins=begins)
    step = np.concatenate([np.zeros((states.size, 1)), inner], axis=1)
    start = np.zeros(states.size)
    start[0] = 1.0
    return RunLength(start=start, step=step, running=np.ones(states.size))


def _steady_step(rule: Rule, weight: float, shift: float, sd: float, begin: float) -> RunLength:
    """The last state, which nothing reaches, is where the EWMA begins."""
    states = np.append(rule.at, begin)
    step = np.zeros((states.size, states.size))
    step[:, :-1] = _kernel(rule, states, weight, shift, sd)
    start = np.zeros(states.size)
    start[-1] = 1.0
    return RunLength(start=start, step=step, running=np.ones(states.size))


def _kernel(to: Rule, states: Floats, weight: float, shift: float, sd: float) -> Floats:
    z = (to.at - (1 - weight) * states[:, None] - weight * shift) / (weight * sd)
    return np.asarray(np.exp(-0.5 * z * z) * (to.weights / (weight * sd * _ROOT)))


def _with_exact_start(steady: RunLength, rule: Rule, weight: float, shift: float, sd: float) -> RunLength:
    """Step from the limits of each point to those of the next until they are the steady ones."""
    last = max(2, math.ceil(math.log(1e-13) / (2 * math.log1p(-weight)))) if weight < 1 else 2
    states, row = np.zeros(1), np.ones(1)
    early = [1.0]
    for t in range(1, last + 1):
        share = math.sqrt(1 - (1 - weight) ** (2 * t)) if t < last else 1.0
        to = Rule(at=rule.at * share, weights=rule.weights * share)
        row = row @ _kernel(to, states, weight, shift, sd)
        states = to.at
        early.append(float(row.sum()))
    return RunLength(
        start=np.append(row, 0.0), step=steady.step, running=steady.running, early=np.array(early[:-1])
    )


def _nodes(half_width: float) -> int:
    """Enough for ten digits: a kernel of unit spread on a stretch of twice the half width."""
    return min(600, 17 + 2 * math.ceil(2.2 * half_width))


def _panels(weight: float, edge: float, least: float | None) -> Panels:
    """Cut where the smallest next value passes a border: there the run length bends."""
    if least is None:
        return Panels(borders=np.array([-edge, edge]), nodes=_nodes(2 * edge / weight))
    borders = [-edge]
    while borders[-1] < edge and len(borders) < 60:
        following = (borders[-1] - weight * least) / (1 - weight)
        if not following > borders[-1]:
            raise ValueError("points that can never fall to the lower limit: set limits by probability")
        borders.append(following)
    borders[-1] = edge
    return Panels(borders=np.array(borders), nodes=14)


def _first_guess(weight: float, arl: float) -> float:
    """Two-sided normal quantile of what would be independent points: 1 / weight of them count as one."""
    points = max(2.0, 1 + arl * max(weight, 0.02) ** 0.6)
    return math.sqrt(max(0.2, 2 * math.log(points) - 1.2))


def _check(weight: float, width: float) -> None:
    if not 0 < weight <= 1 or not width > 0:
        raise ValueError(f"a weight above 0 and up to 1 and a width above 0, not {weight} and {width}")
