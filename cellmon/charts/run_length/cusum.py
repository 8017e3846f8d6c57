"""Run length of the CUSUM: max(0, S + x - k), signal beyond h; one side, both sides, with a head start.

Both sides together need no chain of pairs. With k above 0 the side that does not signal stands at
nought when the other does (van Dobben de Bruyn, 1968), so the pair is two single chains, each of
which loses the weight that the other one ends: a linear system of their states, exact for the whole
distribution, of which 1 / ARL = 1 / ARL+ + 1 / ARL- is the mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from cellmon.charts.run_length.distribution import RunLength
from cellmon.charts.run_length.operators import Cdf, Panels, gauss, step_from_cdf
from cellmon.charts.run_length.solving import limit_for

Floats = NDArray[np.float64]
_ROOT = math.sqrt(2 * math.pi)
_PANEL_NODES = 12
_EXACT_PANELS = 5
_WIDENING = 0.5


def cusum_run_length(
    k: float, h: float, *, shift: float = 0.0, sd: float = 1.0, head_start: float = 0.0
) -> RunLength:
    """Return the run length of an upper CUSUM of normal points.

    Solves L(s) = 1 + L(0) P(x <= k - s) + int_0^h L(y) f(y + k - s) dy on Gauss-Legendre nodes.

    Parameters
    ----------
    k, h : float
        Reference value and decision limit, in the standard deviation the chart assumes.
    shift, sd : float
        True mean and standard deviation of a point, in the same unit.
    head_start : float
        Where the sum begins, from 0 to below h.

    References
    ----------
    Page, Biometrika 41 (1954), 100-115, for the equation; Lucas and Crosier, Technometrics 24 (1982),
    199-205, for the head start.

    Examples
    --------
    >>> round(cusum_run_length(0.5, 4.0).mean, 2)
    335.37
    """
    _check(k, h, head_start)
    side = _normal_side(k, h, shift, sd, head_start)
    return RunLength(start=side.begin, step=side.step, running=np.ones(side.begin.size))


def cusum_arl(k: float, h: float, *, shift: float = 0.0, sd: float = 1.0, head_start: float = 0.0) -> float:
    """Return the average run length of an upper CUSUM of normal points, as `cusum_run_length`."""
    return cusum_run_length(k, h, shift=shift, sd=sd, head_start=head_start).mean


def cusum_limit(k: float, arl: float, *, head_start_share: float = 0.0) -> float:
    """Return the h of an upper CUSUM that runs for `arl` points on average when nothing moves.

    Parameters
    ----------
    k : float
        Reference value, sigma.
    arl : float
        Up to 1e9.
    head_start_share : float
        Head start as a share of h; 0.5 is common.

    Examples
    --------
    >>> round(cusum_limit(0.5, 335.37), 3)
    4.0
    """

    def mean_at(h: float) -> float:
        return cusum_arl(k, h, head_start=head_start_share * h)

    return limit_for(mean_at, arl, guess=_first_guess(k, arl), slope=max(2 * k, 0.05))


def two_sided_cusum_run_length(
    k: float, h: float, *, shift: float = 0.0, sd: float = 1.0, head_start: float = 0.0
) -> RunLength:
    """Return the run length of an upper and a lower CUSUM together, as `cusum_run_length` each.

    References
    ----------
    Lucas and Crosier (1982), table 1, as a check; the head start stands on both sides.

    Examples
    --------
    >>> round(two_sided_cusum_run_length(0.5, 4.0).mean, 2)
    167.68
    """
    _check(k, h, head_start)
    up = _normal_side(k, h, shift, sd, head_start)
    down = _normal_side(k, h, -shift, sd, head_start)
    return _together(up, down)


def two_sided_cusum_arl(
    k: float, h: float, *, shift: float = 0.0, sd: float = 1.0, head_start: float = 0.0
) -> float:
    """Return the average run length of both sides, as `two_sided_cusum_run_length`."""
    return two_sided_cusum_run_length(k, h, shift=shift, sd=sd, head_start=head_start).mean


def two_sided_cusum_limit(k: float, arl: float, *, head_start_share: float = 0.0) -> float:
    """Return the h of a two-sided CUSUM that runs for `arl` points on average when nothing moves.

    >>> round(two_sided_cusum_limit(0.5, 370.4), 3)
    4.775
    """
    if head_start_share == 0:  # both sides alike: each runs twice as long alone
        return cusum_limit(k, 2 * arl)

    def mean_at(h: float) -> float:
        return two_sided_cusum_arl(k, h, head_start=head_start_share * h)

    return limit_for(mean_at, arl, guess=_first_guess(k, 2 * arl), slope=max(2 * k, 0.05))


def general_cusum_run_length(
    k: float,
    h: float,
    cdf: Cdf,
    *,
    least: float | None = None,
    spread: float = 1.0,
    head_start: float = 0.0,
) -> RunLength:
    """Return the run length of an upper CUSUM of points with any continuous distribution.

    Parameters
    ----------
    k, h : float
        In the unit of the points.
    cdf : callable
        Distribution function of a point, on arrays.
    least : float or None
        The smallest value a point can have, where there is one. The run length as a function of the
        sum has bends at k - least and its multiples; panels end there.
    spread : float
        Roughly the standard deviation of a point: how fine the nodes must lie.

    Examples
    --------
    >>> from scipy.special import ndtr
    >>> round(general_cusum_run_length(0.5, 4.0, ndtr).mean, 2)
    335.37
    """
    _check(k, h, head_start, any_k=True)
    panels = _panels(h, None if least is None else k - least, spread)
    states = np.concatenate([[0.0], panels.at])
    begins = None if least is None else states + least - k
    inner = step_from_cdf(lambda s, y: cdf(y + k - s), panels, states, begins=begins)
    step = np.concatenate([cdf(k - states)[:, None], inner], axis=1)
    begin = np.zeros(states.size)
    if head_start > 0:
        begin[1:] = panels.row_at(head_start)
    else:
        begin[0] = 1.0
    return RunLength(start=begin, step=step, running=np.ones(states.size))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Side:
    begin: Floats
    fresh: Floats
    """The state of a sum at nought."""
    step: Floats


def _normal_side(k: float, h: float, shift: float, sd: float, head_start: float) -> _Side:
    """State 0 is a sum at nought; the last, reached by nothing, is the head start."""
    if not sd > 0:
        raise ValueError(f"a standard deviation above 0, not {sd}")
    rule = gauss(0.0, h, _nodes(h / sd))
    states = np.concatenate([[0.0], rule.at, [head_start] if head_start > 0 else []])
    inside = slice(1, 1 + rule.at.size)
    step = np.zeros((states.size, states.size))
    step[:, 0] = ndtr((k - shift - states) / sd)
    z = (rule.at + (k - shift) - states[:, None]) / sd
    step[:, inside] = np.exp(-0.5 * z * z) * (rule.weights / (sd * _ROOT))
    fresh, begin = np.zeros(states.size), np.zeros(states.size)
    fresh[0] = 1.0
    begin[-1 if head_start > 0 else 0] = 1.0
    return _Side(begin=begin, fresh=fresh, step=step)


def _together(up: _Side, down: _Side) -> RunLength:
    """Join two sides: what one ends is taken from the fresh state of the other.

    The weights of both sides always sum to the same. The matrix would keep any difference for ever;
    the last term takes that mode out and changes nothing else.
    """
    m = up.begin.size
    step = np.zeros((2 * m, 2 * m))
    step[:m, :m], step[m:, m:] = up.step, down.step
    step[:m, m:] = -np.outer(1 - up.step.sum(axis=1), down.fresh)
    step[m:, :m] = -np.outer(1 - down.step.sum(axis=1), up.fresh)
    difference = np.concatenate([np.ones(m), -np.ones(m)])
    step -= np.outer(difference, np.concatenate([up.fresh, np.zeros(m)]))
    return RunLength(
        start=np.concatenate([up.begin, down.begin]),
        step=step,
        running=np.concatenate([np.ones(m), np.zeros(m)]),
    )


def _nodes(width: float) -> int:
    return min(400, 14 + math.ceil(3.0 * width))


@lru_cache(maxsize=512)
def _panels(h: float, stride: float | None, spread: float) -> Panels:
    """Cut (0, h] at multiples of the stride while bends matter, then wider; whole without a stride."""
    if stride is None:
        return Panels(borders=np.array([0.0, h]), nodes=_nodes(h / spread))
    if not stride > 0:
        raise ValueError("a reference value above the smallest point: else the sum never falls")
    stride = stride / math.ceil(stride / (4 * spread))
    borders = [0.0]
    while borders[-1] < h:
        wide = stride * max(1.0, _WIDENING * (len(borders) - _EXACT_PANELS))
        borders.append(borders[-1] + min(wide, max(stride, 4 * spread)))
    borders[-1] = h
    return Panels(borders=np.array(borders), nodes=_PANEL_NODES)


def _first_guess(k: float, arl: float) -> float:
    """Solve Siegmund's approximation by fixed point: exp(2 k b) = 1 + 2 k b + 2 k^2 ARL."""
    if k <= 0:
        return math.sqrt(arl)
    b = 1.0
    for _ in range(30):
        b = math.log(1 + 2 * k * b + 2 * k * k * arl) / (2 * k)
    return max(b - 1.166, 0.05)


def _check(k: float, h: float, head_start: float, *, any_k: bool = False) -> None:
    if not h > 0 or not math.isfinite(k) or (k < 0 and not any_k):
        raise ValueError(f"a reference value from 0 and a limit above 0, not {k} and {h}")
    if not 0 <= head_start < h:
        raise ValueError(f"a head start from 0 to below the limit {h}, not {head_start}")
