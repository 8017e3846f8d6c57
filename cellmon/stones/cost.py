"""What stones cost a bore: sets, machine time, scrap."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class StonePrices:
    """What sets, machine time and scrapped bores cost, and how long work on the stones takes."""

    set_price: float
    change_minutes: float = 0.0
    dress_minutes: float = 0.0
    machine_per_hour: float = 0.0
    scrap_per_bore: float = 0.0
    failed_minutes: float | None = None
    """Of a change that was not planned; None: as of one that was."""
    failed_scrap: float = 0.0
    """Bores lost where a set runs to its end."""
    change_scrap: float = 0.0
    """Bores lost at every change, to run the new stones in."""
    dress_scrap: float = 0.0
    """Bores lost after a dressing."""

    @property
    def planned_change(self) -> float:
        """Cost of a planned change with its set."""
        return self.set_price + self._minutes(self.change_minutes) + self.change_scrap * self.scrap_per_bore

    @property
    def failed_change(self) -> float:
        """Cost where the set has run to its end first."""
        minutes = self.change_minutes if self.failed_minutes is None else self.failed_minutes
        scrap = (self.change_scrap + self.failed_scrap) * self.scrap_per_bore
        return self.set_price + self._minutes(max(minutes, self.change_minutes)) + scrap

    @property
    def dressing(self) -> float:
        """Cost of one dressing."""
        return self._minutes(self.dress_minutes) + self.dress_scrap * self.scrap_per_bore

    def _minutes(self, minutes: float) -> float:
        return minutes / 60 * self.machine_per_hour


@dataclass(frozen=True, kw_only=True)
class BoreCost:
    """Cost of a bore, split."""

    stones: float
    downtime: float
    scrap: float

    @property
    def total(self) -> float:
        """All three."""
        return self.stones + self.downtime + self.scrap


def cost_per_bore(
    prices: StonePrices,
    *,
    bores_per_set: float,
    bores_per_dressing: float | None = None,
    failed: float = 0.0,
    dull_scrap: float = 0.0,
) -> BoreCost:
    """Return the cost of a bore in stones, downtime and scrap.

    Parameters
    ----------
    prices : StonePrices
    bores_per_set : float
        Bores a set hones on average before it is changed, above 0.
    bores_per_dressing : float, optional
        From one dressing to the next; None: never dressed.
    failed : float
        Share of sets that run to their end or chip.
    dull_scrap : float
        Share of bores scrapped because stones were dull.

    References
    ----------
    Renewal reward: cost of a cycle over the bores of a cycle (Ross (1970), from memory). The worked case is
    in docs/planning.md.

    Examples
    --------
    >>> prices = StonePrices(set_price=420, change_minutes=25, dress_minutes=2, machine_per_hour=95)
    >>> found = cost_per_bore(prices, bores_per_set=8727, bores_per_dressing=800)
    >>> round(found.stones, 3), round(found.downtime, 4), round(found.total, 3)
    (0.048, 0.0085, 0.057)
    """
    if not bores_per_set > 0:
        raise ValueError(f"more than 0 bores a set, not {bores_per_set:g}")
    unplanned = prices.failed_minutes if prices.failed_minutes is not None else prices.change_minutes
    minutes = (1 - failed) * prices.change_minutes + failed * max(unplanned, prices.change_minutes)
    lost = prices.change_scrap + failed * prices.failed_scrap
    downtime, scrap = minutes / bores_per_set, lost / bores_per_set + dull_scrap
    if bores_per_dressing:
        downtime += prices.dress_minutes / bores_per_dressing
        scrap += prices.dress_scrap / bores_per_dressing
    return BoreCost(
        stones=prices.set_price / bores_per_set,
        downtime=downtime / 60 * prices.machine_per_hour,
        scrap=scrap * prices.scrap_per_bore,
    )
