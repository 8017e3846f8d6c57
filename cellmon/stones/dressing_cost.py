"""The dressing interval that costs least: minutes of dressing against what dull stones cost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, stdtrit

from cellmon.errors import NotEnoughData

Floats = NDArray[np.float64]

CONFIDENCE = 0.90
NEAR = 1.05
"""Intervals that cost up to so many times the least are as good in practice."""
STEPS = 600
LEAST_DF = 3


@dataclass(frozen=True, kw_only=True)
class Growth:
    """How something grows with the bores since the stones were dressed."""

    start: float
    """At the first bore."""
    per_bore: float
    low: float
    high: float
    """Of `per_bore`, 90 %."""
    intervals: int


def growth(since_dressing: ArrayLike, values: ArrayLike, interval: ArrayLike) -> Growth:
    """Learn how a value grows inside dressing intervals; each interval has a level of its own.

    Parameters
    ----------
    since_dressing : array_like, shape (n,)
        Bores since the last dressing.
    values : array_like, shape (n,)
        What grows, such as the cycle time in seconds.
    interval : array_like, shape (n,)
        Which dressing interval each belongs to.

    Raises
    ------
    NotEnoughData
        With fewer than three intervals that reach over some bores.

    References
    ----------
    Least squares with a level for each interval; the interval of the slope from what the intervals' own
    slopes differ: Liang and Zeger, Biometrika 73 (1986), 13-22, with Student's t on intervals less one
    (from memory).

    Examples
    --------
    >>> found = growth([0, 10, 0, 10, 0, 10], [1.0, 2.0, 5.0, 6.2, 3.0, 3.9], [1, 1, 2, 2, 3, 3])
    >>> round(found.per_bore, 3), found.intervals
    (0.103, 3)
    """
    x, y = np.asarray(since_dressing, dtype=np.float64), np.asarray(values, dtype=np.float64)
    kept = np.isfinite(x) & np.isfinite(y)
    names, group = np.unique(np.asarray(interval)[kept], return_inverse=True)
    x, y = x[kept], y[kept]
    size = np.bincount(group, minlength=len(names))
    mean_x = np.bincount(group, x) / np.maximum(size, 1)
    mean_y = np.bincount(group, y) / np.maximum(size, 1)
    dx, dy = x - mean_x[group], y - mean_y[group]
    own = np.bincount(group, dx**2, minlength=len(names))
    reaching = int((own > 0).sum())
    if reaching < 3:
        raise NotEnoughData("dressing intervals that reach over some bores", need=3, got=reaching)
    total = own.sum()
    slope = float((dx * dy).sum() / total)
    scores = np.bincount(group, dx * (dy - slope * dx), minlength=len(names))
    se = float(np.sqrt((scores**2).sum() * reaching / (reaching - 1)) / total)
    half = se * float(stdtrit(reaching - 1, (1 + CONFIDENCE) / 2))
    start = float((mean_y - slope * mean_x) @ size / size.sum())
    return Growth(start=start, per_bore=slope, low=slope - half, high=slope + half, intervals=reaching)


def fresh_growth(
    since_dressing: ArrayLike,
    values: ArrayLike,
    interval: ArrayLike,
    *,
    age: ArrayLike,
    stone_set: ArrayLike,
    within: Growth,
) -> Growth | None:
    """Learn how a value just after a dressing grows as the set wears: what no dressing restores.

    Parameters
    ----------
    since_dressing, values, interval : array_like, shape (n,)
        As of `growth`.
    age : array_like, shape (n,)
        Bores of the set.
    stone_set : array_like, shape (n,)
        Which set each bore was honed with; each has a level of its own.
    within : Growth
        Inside the dressing intervals.

    Returns
    -------
    Growth or None
        None where intervals of the same sets do not leave three degrees of freedom.

    References
    ----------
    Least squares of the intervals' levels with a level for each set, Student's t. Tested on sawteeth of
    known slopes.
    """
    x, y = np.asarray(since_dressing, dtype=np.float64), np.asarray(values, dtype=np.float64)
    old, sets = np.asarray(age, dtype=np.float64), np.asarray(stone_set)
    kept = np.isfinite(x) & np.isfinite(y)
    names, first, group = np.unique(np.asarray(interval)[kept], return_index=True, return_inverse=True)
    size = np.bincount(group, minlength=len(names))
    level = np.bincount(group, y[kept] - within.per_bore * x[kept]) / size
    begun = (old[kept] - x[kept])[first]
    _, mine = np.unique(sets[kept][first], return_inverse=True)
    per_set = np.bincount(mine)
    dx = begun - (np.bincount(mine, begun) / per_set)[mine]
    dy = level - (np.bincount(mine, level) / per_set)[mine]
    df, total = len(names) - len(per_set) - 1, float((dx**2).sum())
    if df < LEAST_DF or total <= 0:
        return None
    slope = float((dx * dy).sum()) / total
    se = float(np.sqrt(((dy - slope * dx) ** 2).sum() / df / total))
    half = se * float(stdtrit(df, (1 + CONFIDENCE) / 2))
    start = float((level - slope * begun).mean())
    return Growth(start=start, per_bore=slope, low=slope - half, high=slope + half, intervals=len(names))


def dull_growth(within: Growth, fresh: Growth | None) -> Growth:
    """Return what a dressing restores: growth inside intervals less what grows with the set's wear.

    What does not clearly grow with wear takes nothing off.
    """
    if fresh is None or fresh.low <= 0 <= fresh.high:
        return within
    slope = within.per_bore - fresh.per_bore
    down = np.hypot(within.per_bore - within.low, fresh.high - fresh.per_bore)
    up = np.hypot(within.high - within.per_bore, fresh.per_bore - fresh.low)
    return replace(within, per_bore=slope, low=float(slope - down), high=float(slope + up))


@dataclass(frozen=True, kw_only=True)
class Dulling:
    """What changes at each bore since the stones were dressed."""

    cycle_s_per_bore: float = 0.0
    """Growth of the honing time."""
    waiting_s: float = 0.0
    """By how much it may grow before anything waits for the hone."""
    sd_um: float | None = None
    """Spread of sizes just after a dressing."""
    sd_um_per_bore: float = 0.0
    room_um: tuple[float, float] | None = None
    """From the mean down to the lower limit and up to the upper, both above 0 inside."""

    def scrapped(self, bores: ArrayLike) -> Floats:
        """Return the share of bores outside the limits beyond that of fresh stones, so many bores on."""
        x = np.asarray(bores, dtype=np.float64)
        if self.sd_um is None or self.room_um is None or self.sd_um <= 0:
            return np.zeros_like(x)
        down, up = self.room_um
        sd = self.sd_um + max(self.sd_um_per_bore, 0.0) * x
        fresh = ndtr(-down / self.sd_um) + ndtr(-up / self.sd_um)
        return np.asarray(np.maximum(ndtr(-down / sd) + ndtr(-up / sd) - fresh, 0.0), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class DressingPrices:
    """What a dressing and what dullness cost; one currency."""

    dressing: float
    """One dressing: its minutes, the bores lost after it, the stone it takes off."""
    machine_per_hour: float
    scrap_per_bore: float = 0.0


def dullness_cost(dull: Dulling, prices: DressingPrices) -> Callable[[Floats], Floats]:
    """Return what a bore costs more than just after a dressing, by the bores since.

    References
    ----------
    Longer cycles at the machine's rate, and bores outside the limits at theirs. Common practice, no source.
    """
    slope, second = max(dull.cycle_s_per_bore, 0.0), prices.machine_per_hour / 3600

    def extra(bores: Floats) -> Floats:
        waited = second * np.maximum(slope * bores - dull.waiting_s, 0.0)
        return np.asarray(waited + prices.scrap_per_bore * dull.scrapped(bores), dtype=np.float64)

    return extra


@dataclass(frozen=True, kw_only=True, eq=False)
class DressingInterval:
    """The interval that costs least, its cost curve, and how wide the valley is.

    Attributes
    ----------
    bores : float
        From one dressing to the next; the longest looked at where dullness costs nothing that shows.
    cost_per_bore : float
        Of dressing and dullness together.
    near_low, near_high : float
        Intervals between these cost at most 5 % more.
    shows : bool
        Whether the least lies inside what was looked at.
    curve_bores, curve_cost : ndarray, shape (n,)
        The cost curve.
    """

    bores: float
    cost_per_bore: float
    near_low: float
    near_high: float
    shows: bool
    curve_bores: Floats
    curve_cost: Floats

    def cost_at(self, bores: float) -> float:
        """Return the cost per bore of another interval, inside what was looked at."""
        return float(np.interp(bores, self.curve_bores, self.curve_cost))


def cheapest_interval(
    extra: Callable[[Floats], Floats], *, dressing: float, longest: float
) -> DressingInterval:
    """Find the dressing interval with the least cost per bore.

    Parameters
    ----------
    extra : callable
        What a bore costs more than just after a dressing, by the bores since: `dullness_cost`.
    dressing : float
        Cost of one dressing, above 0.
    longest : float
        Bores; the longest interval looked at.

    References
    ----------
    Barlow and Hunter, Operations Research 8 (1960), 90-100 (from memory): a restoration after every T of
    running costs (c + integral of extra to T) / T, least where T extra(T) less the integral equals c. For
    extra = b x it is the square root formula of Harris (1913): T = sqrt(2 c / b).

    Examples
    --------
    >>> round(cheapest_interval(lambda x: 1e-5 * x, dressing=3.2, longest=5000).bores)
    800
    """
    if not (dressing > 0 and longest > 1):
        raise ValueError(f"a cost above 0 and more than 1 bore, not {dressing:g} and {longest:g}")
    bores = np.unique(np.concatenate([np.geomspace(1.0, longest, STEPS), np.linspace(1.0, longest, STEPS)]))
    fine = np.concatenate([[0.0], bores])
    worth = np.asarray(extra(fine), dtype=np.float64)
    lost = np.cumsum(np.diff(fine) * (worth[1:] + worth[:-1]) / 2)
    cost = (dressing + lost) / bores
    best = int(np.argmin(cost))
    near = bores[cost <= NEAR * cost[best]]
    return DressingInterval(
        bores=_between(bores, cost, best),
        cost_per_bore=float(cost[best]),
        near_low=float(near[0]),
        near_high=float(near[-1]),
        shows=best < len(bores) - 1,
        curve_bores=bores,
        curve_cost=cost,
    )


def _between(x: Floats, y: Floats, k: int) -> float:
    """Return the least of the parabola through three points of a curve."""
    if k in (0, len(x) - 1):
        return float(x[k])
    a, b, c = np.polyfit(x[k - 1 : k + 2] - x[k], y[k - 1 : k + 2], 2)
    del c
    return float(x[k] + np.clip(-b / (2 * a), x[k - 1] - x[k], x[k + 1] - x[k])) if a > 0 else float(x[k])
