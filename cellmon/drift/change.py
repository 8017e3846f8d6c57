"""When a process changed: the moment of a change, with its range, from the points up to an alarm.

Which point was the first affected is weighed over all moments and all sizes of change at once. A
posterior needs no correction for the alarm that ended the series: that the series ended there is a
function of its points (the likelihood principle), so only the priors have to be stated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import softmax

from cellmon.errors import NotEnoughData
from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
Kind = Literal["level", "drift"]

LONGEST = 4000
"""Points looked back at, at most."""
LEAST_FOR_DRIFT = 8
"""Affected points below which a drift is not told from a step."""
CLEARLY = float(np.log(10.0))
"""How much likelier a drift must be than a step, as a logarithm."""
SIZES = np.geomspace(0.4, 16.0, 18)
"""Steps that are weighed, alike on a log scale, in standard deviations of a point."""
SLOPES = np.geomspace(0.004, 1.0, 16)
"""Slopes that are weighed, standard deviations a point, from one point to the next."""
ODDS_PER_LOSS = 4.8
"""A point is listed from this many times 1 - coverage on as its chance to be affected.

Set by simulation at one false alarm in 25,000 points (docs/drift.md): a list that ends at the chance
itself would be longer than it need be.
"""


@dataclass(frozen=True, kw_only=True)
class Change:
    """A change seen in standardised points; places count from 0 in the series that was given."""

    index: int
    """The first affected point, the likeliest."""
    earliest: int
    """From here on a list holds the wanted share of the affected points, on average."""
    latest: int
    """The change lies at or before this point, with the same assurance."""
    shift: float
    """How far the last point's expectation has moved, in standard deviations of a point."""
    ramp: float
    """Growth of that per point of a drift; 0 for a step."""
    kind: Kind


def change_point(
    z: ArrayLike,
    *,
    signature: ArrayLike | None = None,
    coverage: float = 0.95,
    kind: Kind | None = None,
) -> Change:
    """Date the change behind an alarm.

    Points before the change are independent N(0, 1); the j-th from it on, j = 0 first, is
    N(delta g_j, 1) after a step and N(b (g_0 + ... + g_j), 1) in a drift.

    Parameters
    ----------
    z : array_like, shape (n,)
        Standardised points up to the one that raised the alarm, that one included.
    signature : array_like, optional
        g: what a step of one leaves in the points that follow it, for example in innovations of a
        filter that learns the new level; the last entry goes on. Without it, 1 throughout.
    coverage : float
        Share of truly affected points that lie at or after `earliest`, on average.
    kind : "level" or "drift", optional
        What is known to have happened. Without it a step, unless a drift of 8 points or more is clearly
        likelier; at the moment of an alarm it seldom is.

    Raises
    ------
    NotEnoughData, GapInReadings
        See `cellmon.stats.summary.as_series`.

    References
    ----------
    Chernoff and Zacks, Annals of Mathematical Statistics 35 (1964), 999-1018, and Smith, Biometrika 62
    (1975), 407-416, for the posterior of a change point (both from memory); the priors are ours:
    every moment alike, the size of the change alike on a log scale and of either sign.

    Examples
    --------
    >>> found = change_point([0.1, -0.4, 0.3, -0.2, 0.5, 2.1, 1.7, 2.6])
    >>> found.index, found.kind
    (5, 'level')
    """
    if not 0.5 <= coverage < 1:
        raise ValueError(f"a coverage from 0.5 to below 1, not {coverage}")
    points = as_series(z, need=1, what="points up to an alarm")
    skipped = max(0, points.size - LONGEST)
    x = points[skipped:]
    step = _over(signature, x.size)
    ramp = np.cumsum(step)
    of_step, of_ramp = _weights(x, step, SIZES), _weights(x, ramp, SLOPES)
    seen = _log_sum(of_ramp[: 1 - LEAST_FOR_DRIFT]) - _log_sum(of_step) if x.size >= LEAST_FOR_DRIFT else 0.0
    if kind == "drift" or (kind is None and seen > CLEARLY):
        return _told(x, ramp, of_ramp, "drift", skipped=skipped, coverage=coverage)
    return _told(x, step, of_step, "level", skipped=skipped, coverage=coverage)


def _told(x: Floats, g: Floats, weight: Floats, kind: Kind, *, skipped: int, coverage: float) -> Change:
    """Read the place, its range and the size of the change from the weights of all places."""
    index = _likeliest(weight)
    moved, points = g[: x.size - index], x[index:]
    sizes = SLOPES if kind == "drift" else SIZES
    signed = np.concatenate([sizes, -sizes])
    size = float(softmax(signed * (moved @ points) - signed**2 / 2 * (moved @ moved)) @ signed)
    return Change(
        index=skipped + index,
        earliest=skipped + min(index, _place(weight, min(0.5, ODDS_PER_LOSS * (1 - coverage)))),
        latest=skipped + max(index, _place(weight, coverage)),
        shift=size * float(moved[-1]),
        ramp=size if kind == "drift" else 0.0,
        kind=kind,
    )


def _over(signature: ArrayLike | None, n: int) -> Floats:
    """Return a signature of n entries, its last one going on."""
    if signature is None:
        return np.ones(n)
    g = as_series(signature, need=1, what="signature of a step")
    if not g.any():
        raise NotEnoughData("entries of a signature that are not 0", need=1, got=0)
    return np.concatenate([g[:n], np.full(max(0, n - g.size), g[-1])])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sums:
    """Of the points from each place to the last, shape (n,): with the signature, and its squares."""

    products: Floats
    squares: Floats


def _weights(x: Floats, g: Floats, sizes: Floats) -> Floats:
    """Return the log likelihood ratio of a change at each point against none, sizes averaged out."""
    sums = _sums(x, g)
    signed = np.concatenate([sizes, -sizes])
    exponent = np.multiply.outer(signed, sums.products) - np.multiply.outer(signed**2 / 2, sums.squares)
    return np.asarray(_log_sum(exponent) - np.log(signed.size), dtype=np.float64)


def _log_sum(exponents: Floats) -> Floats:
    """Return the logarithm of the sum of some powers of e over the first axis, the largest apart.

    To the last bit what `scipy.special.logsumexp` gives for finite exponents, at a third of its cost: it
    also sums them as they are, for the case that some are infinite.
    """
    most = exponents.max(axis=0)
    largest = exponents == most
    rest = np.exp(exponents - most)
    rest[largest] = 0.0
    many = largest.sum(axis=0, dtype=np.float64)
    return np.asarray(np.log1p(rest.sum(axis=0) / many) + np.log(many) + most)


def _sums(x: Floats, g: Floats) -> _Sums:
    products = np.correlate(np.concatenate([x, np.zeros(x.size - 1)]), g, mode="valid")
    return _Sums(products=products, squares=np.cumsum(g**2)[::-1])


def _likeliest(log_weight: Floats) -> int:
    """Return the middle of the three neighbouring places that are likeliest together, itself counted more."""
    weight = np.exp(log_weight - log_weight.max())
    return int(np.argmax(np.convolve(weight, [0.7, 1.0, 0.7])[1:-1]))


def _place(log_weight: Floats, chance: float) -> int:
    """Return the first point that is affected with at least this chance."""
    chances = np.cumsum(np.exp(log_weight - log_weight.max()))
    return min(int(np.searchsorted(chances, chance * chances[-1])), chances.size - 1)
