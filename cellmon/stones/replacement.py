"""When to replace a set: at a fixed age, or as the bores left to it say, one look ahead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.errors import NotEnoughData
from cellmon.stones.life import Life

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class ChangeCosts:
    """What a change costs when it is planned, and when the set has run to its end first."""

    planned: float
    failed: float

    def __post_init__(self) -> None:
        if not 0 < self.planned <= self.failed:
            raise ValueError(
                f"a planned change must cost more than nothing and no more than a failed set: "
                f"{self.planned:g} and {self.failed:g}"
            )

    @property
    def extra(self) -> float:
        """What a set run to its end costs beyond a planned change."""
        return self.failed - self.planned


@dataclass(frozen=True, kw_only=True, eq=False)
class AgePolicy:
    """The age at which replacing costs least, where nothing but the age is known.

    Attributes
    ----------
    age : float
        Bores; the last of the grid where running to the end costs least.
    cost_per_bore : float
        In the long run.
    failed : float
        Share of sets that reach their end before that age.
    ages, costs : ndarray, shape (n,)
        The cost curve.
    """

    age: float
    cost_per_bore: float
    failed: float
    ages: Floats
    costs: Floats


def age_policy(life: Life, costs: ChangeCosts) -> AgePolicy:
    """Find the fixed age at which replacing sets costs least a bore.

    Parameters
    ----------
    life : Life
        Of a new set.
    costs : ChangeCosts
        Any currency.

    References
    ----------
    Barlow and Proschan, Mathematical Theory of Reliability (1965), section 4.2 (from memory): the long-run
    cost is (planned S(T) + failed F(T)) / integral of S to T, and at the best age equals the extra cost of
    a failure times the hazard.

    Examples
    --------
    >>> even = Life(bores=np.array([0.0, 1000.0]), chance=np.array([0.0, 1.0]))
    >>> round(age_policy(even, ChangeCosts(planned=1.0, failed=5.0)).age, -1)
    500.0
    """
    ages = _fine(life.bores)
    gone = life.cdf(ages)
    lived = np.concatenate([[0.0], np.cumsum(np.diff(ages) * (1 - (gone[1:] + gone[:-1]) / 2))])
    spent = costs.planned * (1 - gone) + costs.failed * gone
    ages, gone, curve = ages[1:], gone[1:], spent[1:] / np.maximum(lived[1:], 1e-300)
    best = int(np.argmin(curve))
    return AgePolicy(
        age=float(ages[best]),
        cost_per_bore=float(curve[best]),
        failed=float(gone[best]),
        ages=ages,
        costs=curve,
    )


def _fine(bores: Floats, points: int = 2000) -> Floats:
    if len(bores) < 2:
        raise NotEnoughData("points of a life's distribution", need=2, got=len(bores))
    return np.unique(np.concatenate([bores, np.linspace(bores[0], bores[-1], points)]))


@dataclass(frozen=True, kw_only=True)
class LookAhead:
    """Whether to change at this stop or to run to the next one."""

    replace: bool
    chance: float
    """That the set reaches its end before the next stop."""
    cost_of_waiting: float
    """Expected extra cost of running on to the next stop."""
    worth_of_waiting: float
    """What the bores up to the next stop are worth, at the long-run cost of a bore."""


def look_ahead(
    life: Life, costs: ChangeCosts, *, cost_per_bore: float, step: float, late: ArrayLike = 0.0
) -> LookAhead:
    """Weigh the bores up to the next stop against the chance that the set ends before it.

    Parameters
    ----------
    life : Life
        Bores left, as now known.
    costs : ChangeCosts
        Any currency.
    cost_per_bore : float
        Long-run cost of a bore of stones changed well: the planned change over the mean life.
    step : float
        Bores to the next stop at which a change could be made.
    late : array_like
        Bores by which stops come late, each as likely as the others.

    References
    ----------
    Chow, Robbins and Siegmund, Great Expectations: The Theory of Optimal Stopping (1971): the one-stage
    look-ahead rule is optimal where the chance of the next step grows with age (from memory). Renewal
    reward gives the worth of a bore.

    Examples
    --------
    >>> worn = Life(bores=np.array([0.0, 1000.0]), chance=np.array([0.0, 1.0]))
    >>> costs = ChangeCosts(planned=1.0, failed=5.0)
    >>> look_ahead(worn, costs, cost_per_bore=1e-4, step=400).replace
    True
    """
    if step <= 0:
        raise ValueError(f"more than 0 bores to the next stop, not {step:g}")
    gone, after = float(life.cdf(0.0)), np.asarray(late, dtype=np.float64)
    chance = 1.0 if gone >= 1 else float((life.cdf(step + after).mean() - gone) / (1 - gone))
    whole = step + float(after.mean())
    return LookAhead(
        replace=bool(to_change(chance, costs, cost_per_bore=cost_per_bore, step=whole)),
        chance=chance,
        cost_of_waiting=costs.extra * chance,
        worth_of_waiting=float(_worth(np.asarray(chance), np.asarray(cost_per_bore), whole)),
    )


def to_change(
    chance: ArrayLike, costs: ChangeCosts, *, cost_per_bore: ArrayLike, step: ArrayLike
) -> NDArray[np.bool_]:
    """Return where a change is due: where waiting for the next stop costs more than its bores are worth.

    Parameters
    ----------
    chance : array_like
        That a set ends before the next stop.
    costs, cost_per_bore, step
        As of `look_ahead`; the cost of a bore and the step may differ from set to set.

    References
    ----------
    As `look_ahead`.
    """
    p = np.asarray(chance, dtype=np.float64)
    worth = _worth(p, np.asarray(cost_per_bore, dtype=np.float64), step)
    return np.asarray(costs.extra * p > worth, dtype=np.bool_)


def _worth(chance: Floats, cost_per_bore: Floats, step: ArrayLike) -> Floats:
    # a set that ends on the way has honed half of the stretch, by and large
    return np.asarray(cost_per_bore * np.asarray(step) * (1 - chance / 2), dtype=np.float64)


MOST_STOPS = 20_000
"""Stops looked ahead at most: years of them. Readings that cannot be make lives of any length."""


def change_in(
    life: Life,
    costs: ChangeCosts,
    *,
    cost_per_bore: float,
    step: float,
    first: float | None = None,
    late: ArrayLike = 0.0,
) -> float:
    """Return in how many bores to change, from what is known now: at a stop, 0 for at once.

    Stops come `first` bores from now, else a step from now, and every `step` after that; `late` as of
    `look_ahead`.

    What is learned on the way will move it; with nothing learned, this is where `look_ahead` will say so.

    References
    ----------
    As `look_ahead`, with the chance of each step given that the set has lived to its start.
    """
    early = step if first is None else first
    far = min(float(life.bores[-1]), MOST_STOPS * step)
    stops = np.concatenate([[0.0], np.arange(early, far + early + 2 * step, step)])
    after = np.atleast_1d(np.asarray(late, dtype=np.float64))
    gone, then = life.cdf(stops[:-1]), life.cdf(stops[1:, None] + after).mean(axis=1)
    chance = np.where(gone >= 1, 1.0, (then - gone) / np.maximum(1 - gone, 1e-12))
    over = to_change(chance, costs, cost_per_bore=cost_per_bore, step=np.diff(stops) + after.mean())
    return float(stops[int(np.argmax(over))]) if over.any() else float(stops[-1])
