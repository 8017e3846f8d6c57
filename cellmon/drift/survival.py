"""The chance that no bore up to a time lies beyond a limit, while the level drifts, wanders and is dressed.

Given the way of the level, bores are independent, so the chance that none of the next n lies beyond is a
product; it is averaged over a fixed set of ways. The set is a lattice of Sobol points, the same at each
call: the same facts give the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from cellmon.drift.even_points import MOST_COLUMNS, even_points
from cellmon.drift.wander import Wander
from cellmon.errors import NoSpread

Floats = NDArray[np.float64]

P05, P50, P95 = 0.05, 0.50, 0.95
_WAYS = 512
_WAVES = 48
_STEPS = 56
_MOST_STEPS = 144
_STEPS_A_DRESSING = 8
_LOOKS = 8
_FAR = 8.0
_AT_ONCE = 16_384
"""Figures followed at once: so many stay in the processor's cache, and need no fresh memory each time."""


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
    level_um: float | None = None
    """Where the level starts anew, give or take `step_sd_um`, from wherever it was; None: it steps."""

    def mirrored(self) -> Dressing:
        """Return the same upside down."""
        slope = None if self.slope_um is None else -self.slope_um
        level = None if self.level_um is None else -self.level_um
        return replace(self, step_um=-self.step_um, slope_um=slope, level_um=level)


@dataclass(frozen=True, kw_only=True, eq=False)
class Survival:
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
class Process:
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

    @classmethod
    def of(
        cls,
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
    ) -> Process:
        """Return the process of what is known of a level, as `bores_to_limit` takes it, or refuse it."""
        if lower_um is None and upper_um is None:
            raise ValueError("at least one limit")
        if not sigma_um > 0:
            raise NoSpread("bores to be forecast")
        if not np.isfinite([level_um, slope_um, walk_um]).all():
            raise ValueError("a level, a slope and a wander that are finite numbers")
        return cls(
            level_um=level_um,
            slope_um=slope_um,
            root=root_of(covariance),
            walk_um=walk_um,
            spread_um=float(np.sqrt(max(sigma_um**2 - gauge_um**2, 1e-6 * sigma_um**2))),
            lower_um=-np.inf if lower_um is None else lower_um,
            upper_um=np.inf if upper_um is None else upper_um,
            dressings=tuple(sorted(dressings, key=lambda d: d.after_bores)),
        )

    @property
    def slope_sd(self) -> float:
        """Standard deviation of the slope."""
        return float(np.hypot(self.root[1], self.root[2]))

    @property
    def leads_down(self) -> bool:
        """Tell whether the lower limit is ahead, or the nearer one where nothing drifts."""
        return self.slope_um < 0 or (
            self.slope_um == 0 and self.level_um - self.lower_um < self.upper_um - self.level_um
        )

    def mirrored(self) -> Process:
        """Return the same upside down: the fixed ways are not symmetric, and the answer should be."""
        return replace(
            self,
            level_um=-self.level_um,
            slope_um=-self.slope_um,
            lower_um=-self.upper_um,
            upper_um=-self.lower_um,
            dressings=tuple(d.mirrored() for d in self.dressings),
        )

    def survival(self, reach: float, *, rough: bool = False) -> Survival:
        """Return the chance of none beyond a limit, from now to `reach` bores ahead."""
        at = _times(reach, self.dressings, self._steps(reach, rough=rough))
        points = _points(2 + _WAVES + 2 * len(self.dressings))[: self._ways(rough=rough)]
        none_yet, upward = np.empty((len(points), len(at))), 0.0
        wander = Wander.of(at, reach, self.walk_um, waves=_WAVES) if self.walk_um > 0 else None
        rows = max(_AT_ONCE // len(at), 1)
        for begin in range(0, len(points), rows):
            here = slice(begin, begin + rows)
            upward += self._follow(at, points[here], wander, none_yet[here])
        return Survival(times=at, none_yet=none_yet.mean(axis=0), upward=upward > 0)

    def _follow(self, at: Floats, points: Floats, wander: Wander | None, none_yet: Floats) -> float:
        """Write of some ways the chance of none beyond a limit; return how much more meet the upper one."""
        level, spread = self._level(at, points), np.full(at.shape, self.spread_um)
        if wander is not None:
            level += self.walk_um * self._since_anew(at, points[:, 2 : 2 + _WAVES] @ wander.waves)
            spread = np.sqrt(self.spread_um**2 + np.minimum(wander.left_out_um2, self.spread_um**2))
        below, above = _beyond((self.lower_um - level) / spread), _beyond((level - self.upper_um) / spread)
        rate = _rate(below + above)
        gone = np.zeros_like(rate)
        np.cumsum(_between(rate) * np.diff(at), axis=1, out=gone[:, 1:])
        np.exp(-gone, out=none_yet)
        passing = none_yet[:, :-1] - none_yet[:, 1:]
        return float((passing * (above[:, 1:] - below[:, 1:]) / (above + below + 1e-300)[:, 1:]).sum())

    @property
    def stands(self) -> bool:
        """Tell whether nothing moves the level: no drift, no wander, no dressing."""
        return not (self.slope_um or self.slope_sd or self.walk_um or self.dressings)

    def none_of(self, bores: float) -> float:
        """Return the chance that none of so many bores lies beyond a limit, of a level that stands."""
        level = self.level_um + self.root[0] * _points(2 + _WAVES)[: self._ways(rough=False), 0]
        below, above = (self.lower_um - level) / self.spread_um, (level - self.upper_um) / self.spread_um
        return float(np.exp(-_rate(_beyond(below) + _beyond(above)) * bores).mean())

    def _steps(self, reach: float, *, rough: bool) -> int:
        """Return how many steps follow the level closely: its wander in one less than the spread."""
        wanted = 2 * reach * (self.walk_um / self.spread_um) ** 2
        least = min(_STEPS + _STEPS_A_DRESSING * max(len(self.dressings) - 1, 0), _MOST_STEPS)
        return int(np.clip(wanted, least, _MOST_STEPS)) // (2 if rough else 1)

    def _ways(self, *, rough: bool) -> int:
        """Return how many ways are enough; a level that wanders takes more."""
        return _WAYS // 8 if rough else _WAYS if self.walk_um > 0 or self.dressings else _WAYS // 2

    def _level(self, at: Floats, points: Floats) -> Floats:
        a, b, c = self.root
        level = self.level_um + a * points[:, 0]
        slope = self.slope_um + b * points[:, 0] + c * points[:, 1]
        way = level[:, None] + slope[:, None] * at
        last = 0
        for i, dressing in enumerate(self.dressings):
            z = points[:, 2 + _WAVES + 2 * i : 4 + _WAVES + 2 * i]
            fresh = (slope if dressing.slope_um is None else dressing.slope_um) + dressing.slope_sd_um * z[
                :, 1
            ]
            level, last = level + slope * (dressing.after_bores - last), dressing.after_bores
            step = dressing.step_um + dressing.step_sd_um * z[:, 0]
            if dressing.level_um is not None:
                step = step + dressing.level_um - level
            level = level + step
            since = at - dressing.after_bores
            way += np.where(since > 0.5, step[:, None] + (fresh - slope)[:, None] * since, 0.0)
            slope = fresh
        return np.asarray(way, dtype=np.float64)

    def _since_anew(self, at: Floats, wander: Floats) -> Floats:
        """Return what a level wandered since it last started anew."""
        for dressing in self.dressings:
            if dressing.level_um is not None:
                later = at > dressing.after_bores + 0.5
                if later.any() and not later.all():
                    wander[:, later] -= wander[:, ~later][:, -1:]
        return wander


def closest(process: Process, reach: float) -> Survival:
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


def root_of(covariance: ArrayLike) -> tuple[float, float, float]:
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
    bits = int(np.log2(_WAYS))
    if columns > MOST_COLUMNS:
        from scipy.stats import qmc  # late: it takes longer to import than all else here

        unit = qmc.Sobol(columns, scramble=False).random_base2(bits)
    else:
        unit = even_points(bits, columns)
    return np.asarray(ndtri(unit + 0.5 / _WAYS), dtype=np.float64)


def _beyond(z: Floats) -> Floats:
    """Return the normal share below z; nothing where all of it lies farther than anybody counts."""
    return np.asarray(ndtr(z), dtype=np.float64) if z.max() > -_FAR else np.zeros_like(z)


def _rate(beyond: Floats) -> Floats:
    """Return the rate a bore at which a share beyond the limits is met; never quite nought."""
    return np.asarray(-np.log1p(-np.minimum(beyond, 1 - 1e-13)) + 1e-300, dtype=np.float64)


def _between(rate: Floats) -> Floats:
    """Return the mean of a rate between neighbouring times: Simpson's rule, the middle geometric."""
    first, last = rate[:, :-1], rate[:, 1:]
    return np.asarray((first + 4 * np.sqrt(first * last) + last) / 6, dtype=np.float64)
