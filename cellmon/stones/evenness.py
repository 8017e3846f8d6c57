"""How evenly a set is worn: along each stone, between stones, what it prints into a bore, and swaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SURE_SD = 1.96
MOVED = 18.0
"""Chi-squared by which another order of the stones fits better, so that a swap is asked about."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Evenness:
    """One round of a set; µm. None where the places measured do not say.

    Attributes
    ----------
    flat_um : float or None
        Largest hollow or crown of a stone: its middle less the mean of its ends, without sign.
    parallel_um : float or None
        Largest difference between the two ends of one stone.
    matched_um : float or None
        Tallest less shortest stone, each by the mean of its places.
    taper_um, hollow_um : float or None
        Means over stones, signed: top less bottom, and ends less middle.
    unsure_um : dict
        By the same names: a smaller figure lies inside what readings repeat to (95 %).
    """

    flat_um: float | None
    parallel_um: float | None
    matched_um: float | None
    taper_um: float | None
    hollow_um: float | None
    unsure_um: dict[str, float]

    def said(self, name: str) -> bool:
        """Return whether a figure is known and larger than the readings' own scatter."""
        value = getattr(self, f"{name}_um")
        return value is not None and abs(value) > self.unsure_um.get(name, 0.0)


def evenness(um: Floats, *, reading_um: float = 0.0) -> Evenness:
    """Measure one round: thickness of shape (stones, places), from the top end to the bottom end.

    With three places the second is the middle; with more, the one nearest half way.

    Examples
    --------
    >>> import numpy as np
    >>> even = evenness(np.array([[2000.0, 2000.0, 1990.0], [2004.0, 2003.0, 1996.0]]))
    >>> even.parallel_um, round(even.matched_um, 2), even.taper_um
    (10.0, 4.33, 9.0)
    """
    places = um.shape[1]
    ends = um[:, 0] - um[:, -1] if places > 1 else np.full(len(um), np.nan)
    crown = um[:, places // 2] - (um[:, 0] + um[:, -1]) / 2 if places > 2 else np.full(len(um), np.nan)
    heights = um.mean(axis=1)
    n = max(int(np.isfinite(ends).sum()), 1)
    largest = SURE_SD + 0.35 * np.log(n)  # the largest of several scatters more than one; near enough to 8
    return Evenness(
        flat_um=_largest(crown),
        parallel_um=_largest(ends),
        matched_um=None if np.isfinite(heights).sum() < 2 else float(np.nanmax(heights) - np.nanmin(heights)),
        taper_um=_mean(ends),
        hollow_um=_mean(-crown),
        unsure_um={
            "flat": largest * np.sqrt(1.5) * reading_um,
            "parallel": largest * np.sqrt(2) * reading_um,
            "matched": 2 * largest * reading_um / np.sqrt(places),
            "taper": SURE_SD * np.sqrt(2 / n) * reading_um,
            "hollow": SURE_SD * np.sqrt(1.5 / n) * reading_um,
        },
    )


def _largest(values: Floats) -> float | None:
    known = np.abs(values[np.isfinite(values)])
    return float(known.max()) if len(known) else None


def _mean(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


@dataclass(frozen=True, kw_only=True)
class Print:
    """What a set's shape cuts into a bore, µm of diameter: twice the stones' own, as they lie opposite.

    Stones thinner at the bottom cut less there: the bore is larger at the top.
    """

    taper_um: float
    barrel_um: float


def prints(even: Evenness) -> Print | None:
    """Return what the shape of a set prints at the reversal zones; strokes average a part of it away.

    The taper of the stones prints 1:1 on the radius, a hollow likewise: trade knowledge from memory.
    None where the shape is not known.
    """
    if even.taper_um is None:
        return None
    # ends higher than the middle cut the ends larger: the bore is smaller in its middle
    barrel = 0.0 if even.hollow_um is None else -2 * even.hollow_um
    return Print(taper_um=2 * even.taper_um, barrel_um=barrel)


@dataclass(frozen=True, kw_only=True)
class Swap:
    """Stones that seem to have changed place: `order[i]` is which stone of before now stands at i."""

    order: tuple[int, ...]
    turned: tuple[int, ...]
    """Stones that fit better the other way up."""
    gain: float
    """By so much better, chi-squared."""


def swapped(before: Floats, after: Floats, *, reading_um: float) -> Swap | None:
    """Return how stones may have changed place between two rounds, or None where their own place fits.

    Parameters
    ----------
    before, after : ndarray, shape (stones, places)
        Thickness, µm. The wear of the set between them is taken out.
    reading_um : float
        What one reading repeats to; with 0 nothing is said.

    References
    ----------
    Least squares over all orders: the assignment problem (Kuhn, Naval Research Logistics Quarterly 2,
    1955; scipy's solver).
    """
    if reading_um <= 0 or not (np.isfinite(before).all() and np.isfinite(after).all()):
        return None
    a, b = after - np.median(after), before - np.median(before)
    upright = ((a[:, None, :] - b[None, :, :]) ** 2).sum(axis=2)
    turned = ((a[:, None, :] - b[None, :, ::-1]) ** 2).sum(axis=2)
    cost = np.minimum(upright, turned)
    own, least = float(np.trace(upright)), float(cost.min(axis=1).sum())
    if not _moved(own, least, reading_um):  # no order costs less: none need be looked for
        return None
    from scipy.optimize import linear_sum_assignment  # late: slow to import

    rows, order = linear_sum_assignment(cost)
    best = float(cost[rows, order].sum())
    if not _moved(own, best, reading_um):
        return None
    over = tuple(int(i) for i in rows if turned[i, order[i]] < upright[i, order[i]])
    return Swap(order=tuple(int(k) for k in order), turned=over, gain=_gain(own, best, reading_um))


def _moved(own: float, best: float, reading_um: float) -> bool:
    """Return whether an order of a cost fits so much better than every stone in its own place."""
    return _gain(own, best, reading_um) >= MOVED and best <= own / 2


def _gain(own: float, best: float, reading_um: float) -> float:
    return (own - best) / (2 * reading_um**2)
