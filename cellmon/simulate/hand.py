"""A hand-honed bore with its removal, taper and scatter hidden: for judging what is advised.

Nothing here is known to the player but what the gauge shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
PORTIONS = 20
"""A round is honed in so many portions."""
ROUNDS_OFF_UM = 40.0
"""Honing that takes off so much leaves 1/e of an oval."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HiddenBore:
    """What is true of one bore, one pair of stones in turn and one hand.

    Attributes
    ----------
    um : ndarray, shape (planes, directions)
        True sizes as received, µm from nominal.
    rate_um : tuple of float
        Removal of a full stroke by stage: rough, then fine.
    scatter : float
        Scatter of a round, log scale; each plane scatters by a sixth of it alone.
    reach : ndarray, shape (3, planes)
        What a stroke over the whole bore, the top and the bottom takes off each plane: shares.
    eases : float
        How much harder a tight plane is cut: share of the removal for each 10 µm below the mean.
    gauge_um : float
        Standard deviation of one reading.
    zero_um : float
        What the gauge reads wrong all along.
    """

    um: Floats
    rate_um: tuple[float, ...]
    scatter: float
    reach: Floats
    eases: float
    gauge_um: float
    zero_um: float


@dataclass(frozen=True, kw_only=True)
class Hardness:
    """From where hidden bores are drawn: ends of uniform (rates: log-uniform) ranges."""

    stock_um: tuple[float, float] = (40.0, 150.0)
    rate_um: tuple[float, float] = (0.2, 2.0)
    fine_to_rough: tuple[float, float] = (0.15, 0.6)
    scatter: tuple[float, float] = (0.05, 0.35)
    taper_um: tuple[float, float] = (0.0, 25.0)
    oval_um: tuple[float, float] = (0.0, 6.0)
    gauge_um: tuple[float, float] = (0.3, 1.5)


def hidden_bore(rng: np.random.Generator, *, target_um: float, ranges: Hardness | None = None) -> HiddenBore:
    """Draw a bore of three planes and two directions.

    Parameters
    ----------
    rng : numpy.random.Generator
    target_um : float
        Size that the stock is counted to, at the mean of the bore, µm from nominal.
    ranges : Hardness, optional
    """
    of = Hardness() if ranges is None else ranges
    taper = rng.uniform(*of.taper_um) * rng.choice([-1.0, 1.0])
    shape = taper * np.array([0.5, rng.uniform(-0.15, 0.15), -0.5])
    oval = rng.uniform(*of.oval_um, size=3) * rng.choice([-1.0, 1.0])
    sizes = target_um - max(rng.uniform(*of.stock_um), abs(taper) / 2 + 15) + shape
    rough = float(np.exp(rng.uniform(*np.log(of.rate_um))))
    scatter = rng.uniform(*of.scatter)
    middle, far = rng.uniform(0.35, 0.8, size=2), rng.uniform(0.0, 0.25, size=2)
    reach = np.array([1 + 0.06 * rng.standard_normal(3), [1.0, middle[0], far[0]], [far[1], middle[1], 1.0]])
    reach[1:] *= rng.uniform(0.8, 1.2, size=(2, 1))
    gauge = float(np.exp(rng.uniform(*np.log(of.gauge_um))))
    return HiddenBore(
        um=sizes[:, None] + np.outer(oval / 2, [1.0, -1.0]),
        rate_um=(rough, rough * float(np.exp(rng.uniform(*np.log(of.fine_to_rough))))),
        scatter=float(scatter),
        reach=reach,
        eases=float(rng.uniform(0.0, 0.25)),
        gauge_um=gauge,
        zero_um=float(rng.normal(0.0, gauge / 2)),
    )


def next_bore(
    first: HiddenBore, rng: np.random.Generator, *, target_um: float, ranges: Hardness | None = None
) -> HiddenBore:
    """Draw the next bore of a block: the same hand, stones and gauge, another shape, a rate 10 % apart."""
    own = hidden_bore(rng, target_um=target_um, ranges=ranges)
    apart = float(np.exp(0.1 * rng.standard_normal()))
    return replace(first, um=own.um, rate_um=tuple(rate * apart for rate in first.rate_um))


def honed(
    bore: HiddenBore, um: ArrayLike, counts: ArrayLike, rng: np.random.Generator, *, stage: int = 0
) -> Floats:
    """Return the true sizes after a round.

    Parameters
    ----------
    bore : HiddenBore
    um : array_like, shape (planes, directions)
        True sizes before.
    counts : array_like, shape (3,)
        Strokes over the whole bore, at the top and at the bottom.
    rng : numpy.random.Generator
    stage : int
        0 with the rough stones, 1 with the fine.
    """
    before, strokes = np.asarray(um, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    planes = before.mean(axis=1)
    round_, alone = rng.standard_normal(), rng.standard_normal(len(planes))
    meant = bore.rate_um[stage] * strokes @ bore.reach * np.exp(bore.scatter * (round_ + alone / 6))
    after = planes.copy()
    for _ in range(PORTIONS):  # a tight plane is cut harder only as long as it is tight
        after += meant / PORTIONS * np.clip(1 + bore.eases * (after.mean() - after) / 10, 0.5, 1.5)
    oval = (before - planes[:, None]) * np.exp(-(after - planes) / ROUNDS_OFF_UM)[:, None]
    found: Floats = after[:, None] + oval
    return found


def gauged(bore: HiddenBore, um: ArrayLike, rng: np.random.Generator) -> Floats:
    """Return what the gauge reads of true sizes, to a tenth of a micrometre."""
    true = np.asarray(um, dtype=np.float64)
    return np.round(true + bore.zero_um + bore.gauge_um * rng.standard_normal(true.shape), 1)
