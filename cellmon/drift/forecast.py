"""Bores left until one lies beyond a tolerance limit, with a range; first passages of a Wiener process.

Level and slope are uncertain, the level wanders, single bores scatter, and a bore beyond a limit is met
the sooner the nearer the level comes (`cellmon.drift.survival`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from numpy.typing import ArrayLike
from scipy.special import ndtri

from cellmon.drift.survival import P05, P50, P95, Dressing, Process, closest

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
    Cox and Miller, The Theory of Stochastic Processes (1965), section 5.7, for the wandering level alone;
    Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992),
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
