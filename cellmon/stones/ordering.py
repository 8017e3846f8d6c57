"""When the stock runs out, by when to order, and how much: at the chance wanted of no shortage per order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from cellmon.stones.output import Output
from cellmon.stones.planning import Ways
from cellmon.stones.stock import OpenOrder, Shelf

Floats = NDArray[np.float64]

DAY_US = 86_400_000_000.0
LEADS = 99
"""Lead times weighed, equally likely."""


@dataclass(frozen=True, kw_only=True)
class LeadTime:
    """Days from an order to its sets on the shelf: normal, never below 0."""

    days: float
    sd_days: float = 0.0

    def quantiles(self, points: int = LEADS) -> Floats:
        """Return equally likely lead times, days."""
        z = ndtri((np.arange(points) + 0.5) / points)
        return np.asarray(np.maximum(self.days + self.sd_days * z, 0.0), dtype=np.float64)


def demand_times(ways: Mapping[str, Ways], clocks: Mapping[str, Output], *, now: np.datetime64) -> Floats:
    """Return when each way needs its sets, of all spindles together; microseconds from now, rising.

    References
    ----------
    Changes of each spindle put on its clock; infinite beyond the shifts looked at.
    """
    columns = []
    for spindle, drawn in ways.items():
        moments = clocks[spindle].at(drawn.bores)
        passed = (moments - now) / np.timedelta64(1, "us")
        columns.append(np.where(np.isnat(moments), np.inf, np.maximum(passed, 0.0)))
    return np.sort(np.concatenate(columns, axis=1), axis=1)


def shortages(demands: Floats, shelf: Shelf, *, now: np.datetime64, arrivals: Floats) -> Floats:
    """Return when each way first needs a set that is not there; microseconds from now, infinite for never.

    Parameters
    ----------
    demands : ndarray, shape (ways, n)
        When sets are needed, microseconds from now, rising along a row; infinite for none.
    shelf : Shelf
        Lots with the least time left are used first; a lot past its date serves no more.
    now : datetime64
    arrivals : ndarray, shape (ways, orders)
        When each open order arrives, microseconds from now; infinite for one that is not counted on.

    References
    ----------
    Each way is played set by set; by hand in the test.
    """
    ways = len(demands)
    held = [one.sets for one in shelf.lots] + [one.sets for one in shelf.orders]
    if not held:
        return demands[:, 0] if demands.shape[1] else np.full(ways, np.inf)
    there = np.column_stack([np.full((ways, len(shelf.lots)), -np.inf), arrivals])
    dates = [lot.use_by for lot in shelf.lots] + [np.datetime64("NaT", "us")] * len(shelf.orders)
    until = np.array([np.inf if np.isnat(d) else (d - now) / np.timedelta64(1, "us") for d in dates])
    left = np.tile([float(np.floor(sets + 1e-9)) for sets in held], (ways, 1))
    found, row = np.full(ways, np.inf), np.arange(ways)
    for column in demands.T:
        usable = (left > 0) & (there <= column[:, None]) & (column[:, None] < until)
        wanted = np.isfinite(column) & np.isinf(found)
        if not wanted.any():
            break
        found = np.where(wanted & ~usable.any(axis=1), column, found)
        # first the nearest date, among equal dates what came first
        chosen = np.lexsort((there, np.where(usable, until, np.inf), ~usable), axis=1)[:, 0]
        served = wanted & usable.any(axis=1)
        left[row[served], chosen[served]] -= 1
    return found


def order_arrivals(
    orders: Sequence[OpenOrder],
    *,
    now: np.datetime64,
    lead: LeadTime,
    ways: int,
    random: np.random.Generator,
) -> Floats:
    """Draw when each open order arrives; microseconds from now, shape (ways, orders).

    An order without a date is expected a lead time after it was placed; one that is late comes from now on.

    References
    ----------
    Normal about the date promised, with the standard deviation of the lead time; what would have come
    before now comes as long after it.
    """
    found = np.empty((ways, len(orders)))
    for i, order in enumerate(orders):
        late = lead.sd_days * DAY_US * random.standard_normal(ways)
        due = float((expected(order, lead) - now) / np.timedelta64(1, "us"))
        found[:, i] = np.abs(max(due, 0.0) + late)
    return found


def expected(order: OpenOrder, lead: LeadTime) -> np.datetime64:
    """Return when an order is to come: the date promised, else a lead time after it was placed.

    References
    ----------
    By definition.
    """
    if not np.isnat(order.due):
        return order.due
    moment: np.datetime64 = order.placed + np.timedelta64(round(lead.days * DAY_US), "us")
    return moment


@dataclass(frozen=True, kw_only=True)
class OrderBy:
    """By when to order, and with what chance the sets come in time if that is now."""

    in_days: float | None
    """Days from now; below 0: should have been so long ago; None: not inside the time looked at."""
    chance_now: float
    """Of no shortage before the sets come, ordered now."""


def order_by(shortage: Floats, lead: LeadTime, *, service_level: float, horizon_days: float) -> OrderBy:
    """Return the last moment at which an order still comes in time with the chance wanted.

    Parameters
    ----------
    shortage : ndarray, shape (ways,)
        As of `shortages`.
    lead : LeadTime
    service_level : float
        Chance of no shortage per order.
    horizon_days : float
        How far shortages were looked for.

    References
    ----------
    The definition: the chance, over ways and lead times, that the lead time is shorter than the time to
    the shortage. Kept promises are simulated in the test.

    Examples
    --------
    >>> at_20_days = np.full(10, 20 * DAY_US)
    >>> order_by(at_20_days, LeadTime(days=15), service_level=0.98, horizon_days=60).in_days
    5.0
    """
    days = np.sort(shortage / DAY_US)
    slack = (days[:, None] - lead.quantiles()[None, :]).ravel()
    chance_now = float((slack >= 0).mean())
    # the share of slacks below the answer may be 1 - level
    place = int(np.floor((1 - service_level) * slack.size + 1e-9))
    found = float(np.partition(slack, place)[place])
    beyond = not np.isfinite(found) or found > horizon_days
    return OrderBy(in_days=None if beyond else found, chance_now=chance_now)


def order_quantity(
    demands: Floats,
    *,
    there: float,
    until_days: float,
    service_level: float,
    least: int = 1,
) -> int:
    """Return how many sets to order so that they last until a day with the chance wanted.

    Parameters
    ----------
    demands : ndarray, shape (ways, n)
        As of `shortages`.
    there : float
        Sets on the shelf and on order.
    until_days : float
        Days from now that they are to last.
    service_level : float
    least : int
        The least that is ordered, and what orders are rounded up to.

    References
    ----------
    A quantile of the sets needed, less those there.

    Examples
    --------
    >>> order_quantity(np.array([[1.0, 2.0, 3.0]]) * DAY_US, there=1, until_days=5, service_level=0.9)
    2
    """
    needed = (demands <= until_days * DAY_US).sum(axis=1)
    wanted = float(np.quantile(needed, service_level, method="inverted_cdf")) - there
    return least * max(ceil(wanted / least), 0)
