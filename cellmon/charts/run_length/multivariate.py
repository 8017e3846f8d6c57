"""Run length of several features judged together: T-squared, and the EWMA of vectors (MEWMA).

Both depend on the true means by one figure, their Mahalanobis distance. A MEWMA signals when its own
T-squared, with the steady covariance weight / (2 - weight), is beyond h. Unmoved, its length is a
chain by itself; moved, its part along the shift and the length of the rest are.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, chdtri, chndtr, fdtri, gammaln, i0e, i1e, ive

from cellmon.charts.run_length.distribution import RunLength, geometric
from cellmon.charts.run_length.operators import Rule, gauss
from cellmon.charts.run_length.solving import limit_for
from cellmon.errors import NotEnoughData

Floats = NDArray[np.float64]
_ROOT = math.sqrt(2 * math.pi)


def t2_run_length(p: int, limit: float, *, distance: float = 0.0) -> RunLength:
    """Return the run length of T-squared of p features with known parameters.

    Parameters
    ----------
    p : int
        Features.
    limit : float
        Of T-squared.
    distance : float
        Mahalanobis distance of the true means from the assumed, in standard errors of a point.

    References
    ----------
    Chi-square, central or not, with p degrees of freedom; by definition.

    Examples
    --------
    >>> round(t2_run_length(2, t2_limit(2, 200.0)).mean, 6)
    200.0
    """
    _features(p)
    if not limit > 0:
        raise ValueError(f"a limit above 0, not {limit}")
    return geometric(float(chdtrc(p, limit) if distance == 0 else 1 - chndtr(limit, p, distance**2)))


def t2_limit(p: int, arl: float) -> float:
    """Return the limit at which T-squared of an unmoved process signals once in `arl` points.

    >>> round(t2_limit(2, 200.0), 3)
    10.597
    """
    _features(p)
    if not arl > 1:
        raise ValueError(f"a mean run length above 1, not {arl}")
    return float(chdtri(p, 1 / arl))


def t2_limit_estimated(p: int, arl: float, *, subgroups: int, n: int, later: bool = True) -> float:
    """Return the limit of T-squared where means and covariance were estimated from subgroups of n.

    With it a point lies beyond by chance once in `arl`, averaged over baselines.

    Parameters
    ----------
    later : bool
        True for points after the baseline; False for those of the baseline themselves.

    Raises
    ------
    NotEnoughData
        With fewer subgroups than the covariance of p features needs.

    References
    ----------
    Alt (1985), as in Montgomery and in Ryan: p (m +- 1)(n - 1) / (mn - m - p + 1) F (from memory).

    Examples
    --------
    >>> round(t2_limit_estimated(2, 1 / 0.0054, subgroups=20, n=4, later=False), 2)
    11.04
    """
    _features(p)
    df = subgroups * (n - 1) - p + 1
    if df < 1 or subgroups < 2:
        raise NotEnoughData("subgroups", need=max(2, math.ceil(p / max(1, n - 1))), got=subgroups)
    if not arl > 1:
        raise ValueError(f"a mean run length above 1, not {arl}")
    factor = p * (subgroups + (1 if later else -1)) * (n - 1) / df
    return factor * float(fdtri(p, df, 1 - 1 / arl))


def mewma_run_length(
    p: int, weight: float, h: float, *, distance: float = 0.0, steady: bool = False
) -> RunLength:
    """Return the run length of a MEWMA with constant limits, from the centre.

    Parameters
    ----------
    p : int
        Features.
    weight : float
        Of the newest vector, above 0 and up to 1.
    h : float
        Limit of its T-squared.
    distance : float
        Mahalanobis distance of the true means from the assumed.
    steady : bool
        True: use the states of a moved process even for distance 0, for `steady_state`.

    References
    ----------
    Rigdon, Journal of Statistical Computation and Simulation 52 (1995), 351-365, for the unmoved case;
    Runger and Prabhu, JASA 91 (1996), 1701-1706, for the two parts of the moved one (both from memory).

    Examples
    --------
    >>> round(mewma_run_length(2, 0.1, 8.64).mean, 3)
    200.544
    """
    _features(p)
    if not 0 < weight <= 1 or not h > 0:
        raise ValueError(f"a weight above 0 and up to 1 and a limit above 0, not {weight} and {h}")
    edge = math.sqrt(h * weight / (2 - weight))
    if p > 1 and (distance != 0 or steady):
        return _moved(p, weight, edge, distance)
    if p == 1:
        return _line(weight, edge, distance)
    rule = gauss(0.0, edge, _nodes(edge / weight))
    states = np.append(rule.at, 0.0)
    return _from_last(_radial(p, rule.at, (1 - weight) * states[:, None], weight) * rule.weights)


def mewma_arl(p: int, weight: float, h: float, *, distance: float = 0.0) -> float:
    """Return the average run length of a MEWMA, as `mewma_run_length`."""
    return mewma_run_length(p, weight, h, distance=distance).mean


def mewma_limit(p: int, weight: float, arl: float) -> float:
    """Return the limit with which a MEWMA runs for `arl` points on average when nothing moves.

    >>> round(mewma_limit(2, 0.1, 200.544), 2)
    8.64
    """
    return limit_for(lambda h: mewma_arl(p, weight, h), arl, guess=t2_limit(p, arl) * 0.85, slope=0.5)


def mewma_limit_estimated(p: int, weight: float, arl: float, *, subgroups: int, n: int) -> float:
    """Return the limit of a MEWMA whose means and covariance were estimated from subgroups of n.

    With it a point far from the start lies beyond as often, averaged over baselines, as with known
    parameters and their limit for `arl`. What the centre leaves unsure weighs (2 - weight) / weight times
    as much as for single points, since it stays while their noise is averaged out.

    Raises
    ------
    NotEnoughData
        As `t2_limit_estimated`.

    References
    ----------
    Hotelling's distribution of z' S^-1 z, as `t2_limit_estimated`; derived here, and simulated in
    `tests/charts/test_run_length_corrections.py`.

    Examples
    --------
    >>> round(mewma_limit(4, 0.2, 1000.0), 2)
    17.82
    >>> [round(mewma_limit_estimated(4, 0.2, 1000.0, subgroups=k, n=5), 2) for k in (25, 100, 10_000)]
    [27.13, 19.96, 17.84]
    """
    share = float(chdtrc(p, mewma_limit(p, weight, arl)))
    hotelling = t2_limit_estimated(p, 1 / share, subgroups=subgroups, n=n) / (1 + 1 / subgroups)
    return hotelling * (1 + (2 - weight) / weight / subgroups)


def _line(weight: float, edge: float, distance: float) -> RunLength:
    rule = gauss(-edge, edge, 2 * _nodes(edge / weight) + 1)
    return _from_last(_along(rule, np.append(rule.at, 0.0)[:, None], weight, distance))


def _moved(p: int, weight: float, edge: float, distance: float) -> RunLength:
    """Polar nodes: radius and angle to the shift; the last state is the centre."""
    radius = gauss(0.0, edge, _nodes(edge / weight))
    angle = gauss(0.0, math.pi, _angles(edge / weight))
    r, turn = np.repeat(radius.at, angle.at.size), np.tile(angle.at, radius.at.size)
    area = r * np.repeat(radius.weights, angle.at.size) * np.tile(angle.weights, radius.at.size)
    along, across = r * np.cos(turn), r * np.sin(turn)
    old_along, old_across = np.append(along, 0.0)[:, None], np.append(across, 0.0)[:, None]
    first = _along(Rule(at=along, weights=area), old_along, weight, distance)
    return _from_last(first * _radial(p - 1, across, (1 - weight) * old_across, weight))


def _from_last(step: Floats) -> RunLength:
    """Add the column of the start, which nothing reaches."""
    states = step.shape[0]
    start = np.zeros(states)
    start[-1] = 1.0
    whole = np.concatenate([step, np.zeros((states, 1))], axis=1)
    return RunLength(start=start, step=whole, running=np.ones(states))


def _along(to: Rule, before: Floats, weight: float, distance: float) -> Floats:
    z = (to.at - (1 - weight) * before) / weight - distance
    return np.asarray(np.exp(-0.5 * z * z) * (to.weights / (weight * _ROOT)))


def _radial(q: int, to: Floats, centre: Floats, weight: float) -> Floats:
    """Return the density of |centre + weight N(0, I)| in q dimensions, with the Bessel function scaled."""
    x, m = to / weight, centre / weight
    if q == 1:
        return np.asarray((np.exp(-0.5 * (x - m) ** 2) + np.exp(-0.5 * (x + m) ** 2)) / (weight * _ROOT))
    order = q / 2 - 1
    product = np.maximum(x * m, 1e-280)
    # I_v(xm) (x / m)^v, which at m = 0 is (x^2 / 2)^v / Gamma(v + 1): both by one power of x m
    small = product < 1e-8
    scaled = _bessel(order, np.where(small, 1.0, product))
    limit = math.exp(-order * math.log(2) - float(gammaln(order + 1)))
    factor = np.where(small, limit, scaled * np.exp(np.where(small, 0.0, -0.5 * (x - m) ** 2)))
    factor = np.where(small, factor * np.exp(-0.5 * (x * x + m * m)), factor)
    return np.asarray(x ** (2 * order + 1) * factor / weight, dtype=np.float64)


def _bessel(order: float, x: Floats) -> Floats:
    """Return exp(-x) I_order(x) / x^order; the common orders by faster routes."""
    if order == 0:
        return np.asarray(i0e(x), dtype=np.float64)
    if order == 0.5:
        return np.asarray(-np.expm1(-2 * x) / (x * _ROOT), dtype=np.float64)
    if order == 1:
        return np.asarray(i1e(x) / x, dtype=np.float64)
    return np.asarray(ive(order, x) / x**order, dtype=np.float64)


def _nodes(width: float) -> int:
    return min(120, 12 + math.ceil(2.0 * width))


def _angles(width: float) -> int:
    return min(120, 12 + math.ceil(3.2 * width))


def _features(p: int) -> None:
    if p < 1:
        raise ValueError(f"at least one feature, not {p}")
