"""Bores left until one lies beyond a tolerance limit, with a range; first passages of a Wiener process.

Level and slope are uncertain, the level wanders, single bores scatter, and a bore beyond a limit is met
the sooner the nearer the level comes (`cellmon.drift.survival`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtr, ndtri

from cellmon.drift.survival import P05, P50, P95, Dressing, Process, closest

Floats = NDArray[np.float64]
Side = Literal["lower", "upper"]

HORIZON = 20_000
"""Bores looked ahead when there is no drift."""
FARTHEST = 50
"""Horizons looked ahead when there is one."""
CLEAR = float(ndtri(0.95))
"""A slope this many of its standard deviations from 0 is a drift."""


@dataclass(frozen=True, kw_only=True)
class BoresToLimit:
    """Bores from the last one to the first beyond a limit; None where that lies too far ahead."""

    p05: int
    p50: int
    p95: int | None
    side: Side
    """The likelier limit to be passed."""


def bores_to_limit(
    *,
    level_um: float,
    slope_um: float,
    covariance: ArrayLike,
    sigma_um: float,
    lower_um: float | None,
    upper_um: float | None,
    walk_um: float = 0.0,
    gauge_um: float = 0.0,
    dressings: Sequence[Dressing] = (),
    horizon: int = HORIZON,
) -> BoresToLimit | None:
    """Forecast how many bores it takes until one lies beyond a limit, if nothing is changed.

    Parameters
    ----------
    level_um, slope_um : float
        Expected size of the last bore, deviation from nominal, and its growth, micrometres a bore.
    covariance : array_like, shape (2, 2)
        Of level and slope; slope per bore.
    sigma_um : float
        Standard deviation of one measured bore about the level.
    lower_um, upper_um : float or None
        Tolerance limits; None on a side without one.
    walk_um : float
        Standard deviation of what the level wanders from one bore to the next, beside the slope.
    gauge_um : float
        Standard deviation of a reading of the same bore, inside `sigma_um`; taken out, since a bore's
        own size counts.
    dressings : sequence of Dressing
        Those that are planned.
    horizon : int
        Bores; quantiles beyond it are None. With a clear drift it reaches 50 times as far.

    Returns
    -------
    BoresToLimit or None
        None where the median lies beyond the horizon and no drift is clear.

    References
    ----------
    Cox and Miller, The Theory of Stochastic Processes (1965), section 5.7, for the wandering level alone
    (`first_passage_cdf`); Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992),
    for fixed points in place of random ones (both from memory). Coverage by simulation: docs/drift.md.

    Examples
    --------
    >>> bores_to_limit(level_um=8.0, slope_um=-0.01, covariance=[[0.04, 0], [0, 1e-6]],
    ...     sigma_um=1.0, lower_um=0.0, upper_um=24.0).side
    'lower'
    """
    process = Process.of(
        level_um=level_um,
        slope_um=slope_um,
        covariance=covariance,
        sigma_um=sigma_um,
        lower_um=lower_um,
        upper_um=upper_um,
        walk_um=walk_um,
        gauge_um=gauge_um,
        dressings=dressings,
    )
    drifts = abs(slope_um) > CLEAR * process.slope_sd
    mirrored = process.leads_down
    process, reach = process.mirrored() if mirrored else process, float(horizon) * (FARTHEST if drifts else 1)
    if process.stands and process.none_of(reach) > 1 - P50:
        return None  # as of most streams, without following the level
    survival = closest(process, reach)
    p50 = survival.first(P50)
    if p50 is None:
        return None
    return BoresToLimit(
        p05=survival.first(P05) or p50,
        p50=p50,
        p95=survival.first(P95),
        side="upper" if survival.upward != mirrored else "lower",
    )


def first_passage_cdf(t: ArrayLike, *, barrier: float, drift: float, sigma: float) -> Floats:
    """Return the chance that a Wiener process with drift has met a barrier above it by time t.

    Parameters
    ----------
    t : array_like
        Times, in bores where `drift` is a bore; 0 or less gives 0.
    barrier, drift, sigma : float
        Distance to the barrier, above 0; drift towards it a unit of time (may be negative: then the
        chance stays below 1); standard deviation of one unit of time, above 0.

    References
    ----------
    Cox and Miller, The Theory of Stochastic Processes (1965), section 5.7; Chhikara and Folks,
    Technometrics 19 (1977), 461-468.

    Examples
    --------
    >>> round(float(first_passage_cdf(1.0, barrier=1.0, drift=1.0, sigma=1.0)), 6)
    0.668102
    """
    if not (barrier > 0 and sigma > 0):
        raise ValueError(f"a barrier and a sigma above 0, not {barrier} and {sigma}")
    times = np.asarray(t, dtype=np.float64)
    later = np.where(times > 0, times, 1.0)
    root = sigma * np.sqrt(later)
    met = ndtr((drift * later - barrier) / root)
    # the second term as one exponent: its factors over- and underflow where it does not
    came_back = np.exp(2 * drift * barrier / sigma**2 + log_ndtr(-(drift * later + barrier) / root))
    return np.asarray(np.where(times > 0, np.minimum(met + came_back, 1.0), 0.0), dtype=np.float64)


def first_passage_mean(*, barrier: float, drift: float) -> float:
    """Return the mean time to a barrier: its distance over a drift towards it, which must be above 0."""
    if not (barrier > 0 and drift > 0):
        raise ValueError(f"a barrier and a drift above 0, not {barrier} and {drift}")
    return barrier / drift


def first_passage_sd(*, barrier: float, drift: float, sigma: float) -> float:
    """Return the standard deviation of the time to a barrier: sigma sqrt(barrier / drift^3)."""
    return sigma * float(np.sqrt(first_passage_mean(barrier=barrier, drift=drift))) / drift


def first_passage_quantile(p: float, *, barrier: float, drift: float, sigma: float) -> float:
    """Return the time by which a share p of such processes have met the barrier; drift above 0.

    >>> round(first_passage_quantile(0.5, barrier=1.0, drift=1.0, sigma=1.0), 6)
    0.675841
    """
    from scipy.optimize import brentq  # late: slow to import

    if not 0 < p < 1:
        raise ValueError(f"a share above 0 and below 1, not {p}")
    high = first_passage_mean(barrier=barrier, drift=drift)

    def short(t: float) -> float:
        return float(first_passage_cdf(t, barrier=barrier, drift=drift, sigma=sigma)) - p

    while short(high) < 0:
        high *= 2
    return float(brentq(short, 0.0, high, xtol=1e-12 * high, rtol=1e-14))
