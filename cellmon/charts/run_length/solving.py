"""A limit for a wanted run length: the root of log(mean run length), which is near straight in the limit."""

from __future__ import annotations

import math
from collections.abc import Callable

from cellmon.charts.run_length.distribution import RunsTooLong

_CLOSE = 1e-9
"""Of the mean run length, relative."""
_LONGEST = math.log(1e12)


def limit_for(mean_at: Callable[[float], float], wanted: float, *, guess: float, slope: float) -> float:
    """Return the limit at which a chart runs for `wanted` points on average.

    Parameters
    ----------
    mean_at : callable
        Mean run length for a limit above 0; grows with the limit.
    wanted : float
        Points, above 1 and up to 1e9.
    guess, slope : float
        Where to look first, and roughly how fast log(mean) grows with the limit.

    Raises
    ------
    ValueError
        Where no limit does, or the wanted mean is out of range.
    """
    if not 1 < wanted <= 1e9:
        raise ValueError(f"a mean run length above 1 and up to 1e9, not {wanted}")
    target = math.log(wanted)
    known: dict[float, float] = {}

    def off(limit: float) -> float:
        if limit not in known:
            try:
                known[limit] = math.log(mean_at(limit)) - target
            except RunsTooLong:
                known[limit] = _LONGEST - target
        return known[limit]

    nearly = _by_secants(off, max(guess, 1e-6), slope)
    if nearly is not None:
        return nearly
    from scipy.optimize import brentq  # late: slow to import, and secants mostly do

    low, high = _bracket(off, max(guess, 1e-6), slope)
    return low if low == high else float(brentq(off, low, high, xtol=1e-10, rtol=1e-10))


def _by_secants(off: Callable[[float], float], guess: float, slope: float) -> float | None:
    """Return the root where a few secants find it, as they do where log(mean) is near straight."""
    before, here = guess, off(guess)
    at = guess - here / slope
    for _ in range(6):
        if not guess / 3 < at < 3 * guess:
            return None
        previous, here = here, off(at)
        if abs(here) < _CLOSE:
            return at
        if here == previous:
            return None
        before, at = at, at - here * (at - before) / (here - previous)
    return None


def _bracket(off: Callable[[float], float], guess: float, slope: float) -> tuple[float, float]:
    """Walk by the slope, a little too far, until the wanted mean is passed."""
    here = off(guess)
    if here == 0:
        return guess, guess
    for attempt in range(60):
        reach = -here / slope * (1.15 + 0.3 * attempt)
        there = max(guess + reach + math.copysign(1e-6, reach), guess / 4)
        if there < 1e-7:
            break
        value = off(there)
        if value * here <= 0:
            return min(guess, there), max(guess, there)
        guess, here = there, value
    raise ValueError("no limit of this chart gives the wanted mean run length")
