"""The edges of a distribution: what share of the bores lies beyond each size near a limit.

Read on a log scale: an index speaks of shares of one in a million, which no histogram shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri, stdtrit

from cellmon.capability.choice import LEVELS, Choice, Fit
from cellmon.capability.families import Floats, covariance, gradient
from cellmon.capability.intervals import Sampled, averaged_ends
from cellmon.capability.moving import MovingDistribution
from cellmon.stats.summary import as_series

LEAST_SHARE = 1e-15
"""Shares below this are not told from it: figures hold 16 digits."""
INNER = 0.3
"""Share of the bores that the enlarged edge begins with."""
OUTER = 0.3
"""How far beyond a limit the edge goes on, in its length inside."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Edge:
    """The model's share beyond each size, with its interval at each; all of shape (m,), sizes rising."""

    size: Floats
    share: Floats
    low: Floats
    high: Floats
    confidence: float


@dataclass(frozen=True, kw_only=True, eq=False)
class SeenShare:
    """Share of the bores measured at a size or beyond it, (k,); between sizes it stands."""

    size: Floats
    share: Floats


def fitted_edge(
    choice: Choice,
    size: ArrayLike,
    *,
    side: str,
    worth: float = 1.0,
    confidence: float = 0.95,
) -> Edge:
    """Return the share beyond each size by the family chosen; the interval carries the choice.

    Parameters
    ----------
    size : array_like, shape (m,)
        Rising.
    side : str
        `upper` or `lower`: which way beyond is.
    worth : float
        What the bores are worth beside as many independent ones, at most 1.

    Notes
    -----
    Pointwise. Each family's error is by the delta method on the scale of normal scores; the families are
    weighed as for an index (`intervals`), the normal one too: a few bores do not tell where a tail ends.
    """
    sizes = _sizes(size, side)
    best = choice.best
    told = [_scores(fit, sizes, side, worth) for fit in choice.with_a_say]
    if best.family in LEVELS:
        half = float(ndtri((1 + confidence) / 2)) * told[0].above
        return _edge(sizes, told[0].value, told[0].value - half, told[0].value + half, confidence)
    ends = averaged_ends(told, confidence=confidence, claim_confidence=confidence)
    return _edge(sizes, told[0].value, ends.low, ends.high, confidence)


def _scores(fit: Fit, sizes: Floats, side: str, worth: float) -> Sampled:
    """Return what a family says of the normal score of the share beyond each size, and its error."""

    def scores(theta: Floats) -> Floats:
        below = fit.family.cdf(np.broadcast_to(sizes, (len(theta), sizes.size)), theta)
        beyond = 1 - below if side == "upper" else below
        return np.asarray(-ndtri(np.clip(beyond, LEAST_SHARE, 1 - LEAST_SHARE)), dtype=np.float64)

    slopes = gradient(scores, fit.theta)[0]
    inverse = covariance(fit.family, fit.theta)[0]
    error = np.sqrt(np.maximum(np.einsum("pm,pq,qm->m", slopes, inverse, slopes), 0.0) / (fit.n * worth))
    return Sampled(
        name=fit.family.name,
        value=scores(fit.theta)[0],
        below=error,
        above=error,
        criterion=np.full(sizes.shape, fit.criterion),
    )


def moving_edge(found: MovingDistribution, size: ArrayLike, *, side: str, confidence: float = 0.95) -> Edge:
    """Return the share beyond each size of a process that moves; the interval by leaving out stretches."""
    sizes = _sizes(size, side)
    sign = 1.0 if side == "upper" else -1.0
    every = sign * found.scores(sizes)
    rest = every[1:]
    count = len(rest)
    error = np.sqrt((count - 1) / count * ((rest - rest.mean(axis=0)) ** 2).sum(axis=0))
    half = float(stdtrit(count - 1, (1 + confidence) / 2)) * error
    return _edge(sizes, every[0], every[0] - half, every[0] + half, confidence)


def seen_share(values: ArrayLike, *, side: str) -> SeenShare:
    """Return the share of the bores at each size seen or beyond it, sizes rising.

    Examples
    --------
    >>> found = seen_share([1.0, 2.0, 2.0, 4.0], side="upper")
    >>> found.size.tolist(), found.share.tolist()
    ([1.0, 2.0, 4.0], [1.0, 0.75, 0.25])
    """
    x = np.sort(as_series(values, what="bores at an edge"))
    _sizes(x, side)
    size, first, count = np.unique(x, return_index=True, return_counts=True)
    beyond = x.size - first if side == "upper" else first + count
    return SeenShare(size=size, share=beyond / x.size)


def edge_span(values: ArrayLike, *, limit: float, side: str) -> float:
    """Return how far inside its limit an edge begins: at the size that `INNER` of the bores lie beyond."""
    x = as_series(values, what="bores at an edge")
    inner = float(np.quantile(x, 1 - INNER if side == "upper" else INNER))
    return abs(limit - inner) if (limit > inner) == (side == "upper") else float(np.ptp(x))


def edge_sizes(*, limit: float, side: str, span: float, inside: int = 91, beyond: int = 31) -> Floats:
    """Return sizes, rising, from `span` inside a limit to `OUTER` of it beyond; the limit is one of them."""
    sign = 1.0 if side == "upper" else -1.0
    steps = np.concatenate([np.linspace(-span, 0.0, inside), np.linspace(0.0, OUTER * span, beyond)[1:]])
    return np.sort(limit + sign * steps)


def _sizes(size: ArrayLike, side: str) -> Floats:
    if side not in ("upper", "lower"):
        raise ValueError(f"upper or lower, not {side}")
    return np.asarray(size, dtype=np.float64)


def _edge(sizes: Floats, score: Floats, low: Floats, high: Floats, confidence: float) -> Edge:
    """Turn scores into shares: a high score is a small share."""
    share, least, most = (np.asarray(ndtr(-s), dtype=np.float64) for s in (score, high, low))
    return Edge(
        size=sizes,
        share=share,
        low=np.minimum(least, share),
        high=np.maximum(most, share),
        confidence=confidence,
    )
