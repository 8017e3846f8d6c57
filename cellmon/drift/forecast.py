"""Bores left until one lies beyond a tolerance limit, with a range; first passages of a Wiener process.

Level and slope are uncertain, the level wanders, single bores scatter, and a bore beyond a limit is met
the sooner the nearer the level comes. Given the way of the level, bores are independent, so the chance
that none of the next n lies beyond is a product; it is averaged over a fixed set of ways. The set is a
lattice of Sobol points, the same at each call: the same facts give the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import log_ndtr, ndtr, ndtri
from scipy.stats import qmc

from cellmon.errors import NoSpread

Floats = NDArray[np.float64]
Side = Literal["lower", "upper"]

HORIZON = 20_000
"""Bores looked ahead when there is no drift."""
FARTHEST = 50
"""Horizons looked ahead when there is one."""
CLEAR = float(ndtri(0.95))
"""A slope this many of its standard deviations from 0 is a drift."""
P05, P50, P95 = 0.05, 0.50, 0.95
_WAYS = 512
_WAVES = 48
_STEPS = 56
_MOST_STEPS = 144
_LOOKS = 8
_FAR = 8.0


@dataclass(frozen=True, kw_only=True)
class Dressing:
    """A planned dressing: what it does to level and slope, and how surely."""

    after_bores: int
    """Bores from the last one until the stones are dressed."""
    step_um: float = 0.0
    """Change of level, micrometres."""
    step_sd_um: float = 0.0
    slope_um: float | None = None
    """Slope after it, micrometres a bore; None: as before."""
    slope_sd_um: float = 0.0
    """How much slopes differ from one dressing to the next."""


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
    if lower_um is None and upper_um is None:
        raise ValueError("at least one limit")
    if not sigma_um > 0:
        raise NoSpread("bores to be forecast")
    if not np.isfinite([level_um, slope_um, walk_um]).all():
        raise ValueError("a level, a slope and a wander that are finite numbers")
    root = _root(covariance)
    process = _Process(
        level_um=level_um,
        slope_um=slope_um,
        root=root,
        walk_um=walk_um,
        spread_um=float(np.sqrt(max(sigma_um**2 - gauge_um**2, 1e-6 * sigma_um**2))),
        lower_um=-np.inf if lower_um is None else lower_um,
        upper_um=np.inf if upper_um is None else upper_um,
        dressings=tuple(sorted(dressings, key=lambda d: d.after_bores)),
    )
    drifts = abs(slope_um) > CLEAR * float(np.hypot(root[1], root[2]))
    mirrored = process.leads_down
    survival = _closest(
        process.mirrored() if mirrored else process, float(horizon) * (FARTHEST if drifts else 1)
    )
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
    if not 0 < p < 1:
        raise ValueError(f"a share above 0 and below 1, not {p}")
    high = first_passage_mean(barrier=barrier, drift=drift)

    def short(t: float) -> float:
        return float(first_passage_cdf(t, barrier=barrier, drift=drift, sigma=sigma)) - p

    while short(high) < 0:
        high *= 2
    return float(brentq(short, 0.0, high, xtol=1e-12 * high, rtol=1e-14))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Survival:
    """Of all ways together: the chance that none of the bores up to a time lay beyond a limit."""

    times: Floats
    none_yet: Floats
    upward: bool
    """The upper limit is the likelier one to be passed."""

    def first(self, p: float) -> int | None:
        """Return the bore by which a share p has met a limit."""
        wanted = -np.log1p(-p)
        hazard = -np.log(np.maximum(self.none_yet, 1e-300))
        if hazard[-1] < wanted:
            return None
        after = int(np.searchsorted(hazard, wanted))
        if after == 0:
            return 1
        # close to straight on log-log axes, whatever the way to the limit is
        low, high = max(hazard[after - 1], 1e-12), hazard[after]
        share = np.log(wanted / low) / np.log(high / low) if high > low else 1.0
        start, end = np.log(self.times[after - 1]), np.log(self.times[after])
        return max(1, int(np.ceil(np.exp(start + share * (end - start)) - 0.5 - 1e-9)))


@dataclass(frozen=True, kw_only=True)
class _Process:
    """Where the level may go, and where a bore lies about it."""

    level_um: float
    slope_um: float
    root: tuple[float, float, float]
    """Lower triangle of the root of the covariance of level and slope."""
    walk_um: float
    spread_um: float
    lower_um: float
    upper_um: float
    dressings: tuple[Dressing, ...]

    @property
    def leads_down(self) -> bool:
        """Tell whether the lower limit is ahead, or the nearer one where nothing drifts."""
        return self.slope_um < 0 or (
            self.slope_um == 0 and self.level_um - self.lower_um < self.upper_um - self.level_um
        )

    def mirrored(self) -> _Process:
        """Return the same upside down: the fixed ways are not symmetric, and the answer should be."""
        return replace(
            self,
            level_um=-self.level_um,
            slope_um=-self.slope_um,
            lower_um=-self.upper_um,
            upper_um=-self.lower_um,
            dressings=tuple(
                replace(d, step_um=-d.step_um, slope_um=None if d.slope_um is None else -d.slope_um)
                for d in self.dressings
            ),
        )

    def survival(self, reach: float, *, rough: bool = False) -> _Survival:
        """Return the chance of none beyond a limit, from now to `reach` bores ahead."""
        at = _times(reach, self.dressings, self._steps(reach, rough=rough))
        points = _points(2 + _WAVES + 2 * len(self.dressings))[: self._ways(rough=rough)]
        level, spread = self._level(at, points), np.full(at.shape, self.spread_um)
        if self.walk_um > 0:
            level += self.walk_um * _wander(at, points[:, 2 : 2 + _WAVES])
            # what it wanders between two times, and in the waves that are left out
            left_out = self.walk_um**2 * (np.gradient(at) / 6 + 0.7 * reach / (np.pi**2 * _WAVES))
            spread = np.sqrt(self.spread_um**2 + np.minimum(left_out, self.spread_um**2))
        below, above = _beyond((self.lower_um - level) / spread), _beyond((level - self.upper_um) / spread)
        rate = -np.log1p(-np.minimum(below + above, 1 - 1e-13)) + 1e-300
        gone = np.zeros_like(rate)
        np.cumsum(_between(rate) * np.diff(at), axis=1, out=gone[:, 1:])
        none_yet = np.exp(-gone)
        passing = none_yet[:, :-1] - none_yet[:, 1:]
        upward = float((passing * (above[:, 1:] - below[:, 1:]) / (above + below + 1e-300)[:, 1:]).sum())
        return _Survival(times=at, none_yet=none_yet.mean(axis=0), upward=upward > 0)

    def _steps(self, reach: float, *, rough: bool) -> int:
        """Return how many steps follow the level closely: its wander in one less than the spread."""
        wanted = 2 * reach * (self.walk_um / self.spread_um) ** 2
        return int(np.clip(wanted, _STEPS, _MOST_STEPS)) // (2 if rough else 1)

    def _ways(self, *, rough: bool) -> int:
        """Return how many ways are enough; a level that wanders takes more."""
        return _WAYS // 8 if rough else _WAYS if self.walk_um > 0 or self.dressings else _WAYS // 2

    def _level(self, at: Floats, points: Floats) -> Floats:
        a, b, c = self.root
        level = self.level_um + a * points[:, 0]
        slope = self.slope_um + b * points[:, 0] + c * points[:, 1]
        way = level[:, None] + slope[:, None] * at
        for i, dressing in enumerate(self.dressings):
            z = points[:, 2 + _WAVES + 2 * i : 4 + _WAVES + 2 * i]
            fresh = (slope if dressing.slope_um is None else dressing.slope_um) + dressing.slope_sd_um * z[
                :, 1
            ]
            step = dressing.step_um + dressing.step_sd_um * z[:, 0]
            since = at - dressing.after_bores
            way += np.where(since > 0, step[:, None] + (fresh - slope)[:, None] * since, 0.0)
            slope = fresh
        return np.asarray(way, dtype=np.float64)


def _closest(process: _Process, reach: float) -> _Survival:
    """Return the survival over the stretch in which nearly all ways meet a limit, or to `reach`."""
    stretch = reach
    for _ in range(_LOOKS):
        rough = process.survival(stretch, rough=True)
        met = int(np.searchsorted(-rough.none_yet, -(1 - P95) * 0.5))
        if met >= rough.times.size:
            if stretch >= reach:
                break
            stretch = min(reach, 2 * stretch)
            continue
        stretch = min(reach, float(rough.times[met]))
        if met >= rough.times.size // 2:
            break
    survival = process.survival(stretch)
    while stretch < reach and survival.none_yet[-1] > 1 - P95:
        stretch = min(reach, 1.5 * stretch)
        survival = process.survival(stretch)
    return survival


def _root(covariance: ArrayLike) -> tuple[float, float, float]:
    """Return the lower triangle a, b, c of a root of a covariance of level and slope."""
    c = np.asarray(covariance, dtype=np.float64)
    if c.shape != (2, 2):
        raise TypeError(f"a covariance of level and slope, not of shape {c.shape}")
    if not np.isfinite(c).all() or c[0, 0] < 0 or c[1, 1] < 0:
        raise ValueError("a covariance of finite numbers, its variances not below 0")
    a = float(np.sqrt(c[0, 0]))
    b = float(c[1, 0]) / a if a > 0 else 0.0
    return a, b, float(np.sqrt(max(float(c[1, 1]) - b * b, 0.0)))


def _times(reach: float, dressings: Sequence[Dressing], steps: int) -> Floats:
    """Return times from now to `reach`, closer at first, with both sides of each dressing.

    A bore stands for the stretch half a bore before and after it.
    """
    at = 0.5 + reach * np.linspace(0.0, 1.0, steps) ** 2
    planned = [d.after_bores + 0.5 + side for d in dressings for side in (-1e-6, 1e-6)]
    inside = [t for t in planned if at[0] < t < at[-1]]
    return np.sort(np.concatenate([at, inside])) if inside else at


@lru_cache(maxsize=16)
def _points(columns: int) -> Floats:
    """Return the fixed standard normal points, shape (ways, columns)."""
    unit = qmc.Sobol(columns, scramble=False).random_base2(int(np.log2(_WAYS)))
    return np.asarray(ndtri(unit + 0.5 / _WAYS), dtype=np.float64)


def _wander(at: Floats, points: Floats) -> Floats:
    """Return a random walk of unit steps as its longest waves (Karhunen and Loeve)."""
    reach = float(at[-1])
    wave = (np.arange(points.shape[1]) + 0.5) * np.pi
    shape = np.sqrt(2 * reach) * np.sin(np.multiply.outer(wave, at / reach)) / wave[:, None]
    return np.asarray(points @ shape, dtype=np.float64)


def _beyond(z: Floats) -> Floats:
    """Return the normal share below z; nothing where all of it lies farther than anybody counts."""
    return np.asarray(ndtr(z), dtype=np.float64) if z.max() > -_FAR else np.zeros_like(z)


def _between(rate: Floats) -> Floats:
    """Return the mean of a rate between neighbouring times: Simpson's rule, the middle geometric."""
    first, last = rate[:, :-1], rate[:, 1:]
    return np.asarray((first + 4 * np.sqrt(first * last) + last) / 6, dtype=np.float64)
