"""Shares of bores with a finding: exact limits of counts, with what a short past leaves unsure.

How many of n bores may have a finding, where `seen` of `of` had it before and nothing changed? The
count is binomial with a share that is not known. Given both counts together it is hypergeometric and
the share drops out; so the limit holds for every share, and nothing is assumed of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, gammaln

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
LEAST_GROUPS = 20
LEAST_BORES = 1000
"""With fewer groups of bores and fewer bores than that nothing is called a limit."""
BASELINE_GROUPS = 25


@dataclass(frozen=True, kw_only=True, eq=False)
class ShareWatch:
    """Groups judged one after the other, such as shifts; one entry a group."""

    most: Floats
    """The most bores with the finding that are no signal; nan before anything is called a limit."""
    beyond: NDArray[np.bool_]
    seen: Whole
    of: Whole
    """What each limit rests on: bores with the finding, and bores, of the groups before."""
    fixed_from: int | None = None
    """From which group on every limit rests on the same; None where that is not so yet."""


def most_by_chance(n: int, *, seen: int, of: int, chance: float) -> int:
    """Return the largest count of n that is no signal: a larger one has at most that chance.

    With too few bores before, that is n itself: no count is a signal.

    >>> [most_by_chance(500, seen=0, of=10_000, chance=c) for c in (1 / 100, 1 / 1000)]
    [1, 2]
    """
    if not 0 < chance < 1:
        raise ValueError(f"a chance between 0 and 1, not {chance}")
    return int(np.argmax(tail_chances(n, seen=seen, of=of) <= chance)) - 1


def watch_shares(found: ArrayLike, of: ArrayLike, *, chance: ArrayLike) -> ShareWatch:
    """Judge groups of bores in order of time, each by the first 25 before it that were no signal.

    Parameters
    ----------
    found, of : array_like of int, shape (k,)
        Bores with the finding and bores in each group, `found` from 0 to `of`.
    chance : float or array_like, shape (k,)
        Of a group to lie beyond its limit by chance, at most: counts are whole, so it is mostly less.
    """
    k, n = np.asarray(found, dtype=np.int64), np.asarray(of, dtype=np.int64)
    if k.shape != n.shape or k.ndim != 1 or (k < 0).any() or (k > n).any():
        raise ValueError("counts from 0 to their number of bores, one of each a group")
    most, beyond = np.full(k.size, np.nan), np.zeros(k.size, dtype=bool)
    chances = np.broadcast_to(np.asarray(chance, dtype=np.float64), k.shape)
    past, bores, groups = np.zeros(k.size, dtype=np.int64), np.zeros(k.size, dtype=np.int64), 0
    seen, total, fixed_from = 0, 0, None
    for i in range(k.size):
        if groups == BASELINE_GROUPS:  # from here on the past is the same for all
            fixed, fixed_from = held_against(k[i:], n[i:], seen=seen, total=total, chance=chances[i:]), i
            past[i:], bores[i:], most[i:], beyond[i:] = fixed.seen, fixed.of, fixed.most, fixed.beyond
            break
        past[i], bores[i] = seen, total
        if n[i] and (groups >= LEAST_GROUPS or total >= LEAST_BORES):
            most[i] = most_by_chance(int(n[i]), seen=seen, of=total, chance=float(chances[i]))
            beyond[i] = k[i] > most[i]
        if n[i] and not beyond[i] and groups < BASELINE_GROUPS:
            seen, total, groups = seen + int(k[i]), total + int(n[i]), groups + 1
    return ShareWatch(most=most, beyond=beyond, seen=past, of=bores, fixed_from=fixed_from)


def held_against(found: ArrayLike, of: ArrayLike, *, seen: int, total: int, chance: ArrayLike) -> ShareWatch:
    """Judge groups of bores by one past that is known: `seen` of `total` bores had the finding.

    Parameters
    ----------
    found, of, chance
        As `watch_shares`; of a group without bores the limit is nan.
    """
    k, n = np.asarray(found, dtype=np.int64), np.asarray(of, dtype=np.int64)
    chances = np.broadcast_to(np.asarray(chance, dtype=np.float64), k.shape)
    asked = list(zip(n.tolist(), chances.tolist(), strict=True))
    largest = {
        (m, c): most_by_chance(m, seen=seen, of=total, chance=c) if m else np.nan for m, c in set(asked)
    }
    most = np.array([largest[one] for one in asked], dtype=np.float64)
    past, bores = np.full(k.size, seen), np.full(k.size, total)
    return ShareWatch(most=most, beyond=k > most, seen=past, of=bores, fixed_from=0)


@lru_cache(maxsize=4096)
def tail_chances(n: int, *, seen: int, of: int) -> Floats:
    """Return the chance of each count from 0 to n + 1, or more, of n bores after `seen` of `of`; at most.

    The beta-binomial distribution with parameters seen + 1 and of - seen: a binomial count whose share
    has the distribution that the upper Clopper-Pearson limits are quantiles of.

    Parameters
    ----------
    n : int
        Bores.
    seen, of : int
        Bores with the finding in the past, of how many; both from 0.

    References
    ----------
    Thatcher, Relationships between Bayesian and confidence limits for predictions, Journal of the Royal
    Statistical Society B 26 (1964), 176-192 (from memory): these limits are the exact ones. The tests
    hold them against Fisher's hypergeometric tail, and their false alarms against sums over every count.

    Examples
    --------
    >>> tail_chances(20, seen=0, of=20)[1].round(6)
    np.float64(0.5)
    """
    if n < 0 or not 0 <= seen <= of:
        raise ValueError(f"counts from 0 and no more seen than bores, not {n}, {seen} of {of}")
    if of == seen:  # nothing without the finding was seen: every count is expected
        return np.append(np.ones(n + 1), 0.0)
    x = np.arange(n + 1)
    log = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    log += betaln(x + seen + 1, n - x + of - seen) - betaln(seen + 1, of - seen)
    return np.append(np.cumsum(np.exp(log)[::-1])[::-1], 0.0)
