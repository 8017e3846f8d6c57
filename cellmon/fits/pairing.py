"""A pairing list for the parts at hand: as many pairs inside the limits as there can be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.fits.clearance import SLACK, Limits, as_sizes

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
MOST_CELLS = 1_000_000
"""Bores times mating parts up to which the pairs are also brought nearest to the aim."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Pairing:
    """Which bore takes which mating part, by their places in what was given."""

    bore: Whole
    mate: Whole
    clearance_um: Floats
    left_bores: Whole
    left_mates: Whole
    nearest: bool
    """Whether, of all lists with as many pairs, this lies nearest to the aim in all."""


def pair_up(bores_um: ArrayLike, mates_um: ArrayLike, limits: Limits, *, growth_um: float = 0.0) -> Pairing:
    """Return as many pairs inside the limits as there can be, near the middle of the limits.

    Parameters
    ----------
    bores_um, mates_um : array_like, shapes (n,) and (m,)
        Sizes, micrometres from the bore's nominal.
    limits : Limits
        Clearance allowed, on the limits included.
    growth_um : float
        Added to every clearance: see `cellmon.fits.clearance.growth_of_clearance_um`.

    References
    ----------
    Most pairs: each bore takes mating parts of one stretch, and the stretches of larger bores begin and
    end later, so the smallest bore takes the smallest part that suits it (Glover, *Naval Research
    Logistics Quarterly* 14 (1967), memory). Nearest: an assignment of least cost (scipy), in which
    one pair more outweighs every distance.
    """
    bores = as_sizes(bores_um, "bores to be paired", need=1) + growth_um
    mates = as_sizes(mates_um, "mating parts", need=1)
    nearest = len(bores) * len(mates) <= MOST_CELLS
    bore, mate = (_nearest if nearest else _most)(bores, mates, limits)
    order = np.argsort(bore, kind="stable")
    bore, mate = bore[order], mate[order]
    return Pairing(
        bore=bore,
        mate=mate,
        clearance_um=bores[bore] - mates[mate],
        left_bores=np.setdiff1d(np.arange(len(bores)), bore),
        left_mates=np.setdiff1d(np.arange(len(mates)), mate),
        nearest=nearest,
    )


def _most(bores: Floats, mates: Floats, limits: Limits) -> tuple[Whole, Whole]:
    """Return most pairs, each part used once: smallest with smallest that suits."""
    by_bore, by_mate = np.argsort(bores, kind="stable"), np.argsort(mates, kind="stable")
    pairs: list[tuple[int, int]] = []
    free = 0
    for b in by_bore:
        while free < len(by_mate) and bores[b] - mates[by_mate[free]] > limits.upper + SLACK:
            free += 1  # too small for this bore, so for every larger one
        if free < len(by_mate) and bores[b] - mates[by_mate[free]] >= limits.lower - SLACK:
            pairs.append((int(b), int(by_mate[free])))
            free += 1
    found = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def _nearest(bores: Floats, mates: Floats, limits: Limits) -> tuple[Whole, Whole]:
    """Return most pairs, and of all such lists one with the least sum of squares about the aim."""
    from scipy.optimize import linear_sum_assignment  # late: slow to import

    apart = bores[:, None] - mates[None, :]
    suits = (apart >= limits.lower - SLACK) & (apart <= limits.upper + SLACK)
    half = (limits.upper - limits.lower) / 2
    off = ((apart - limits.middle) / half) ** 2 if half > 0 else np.zeros(apart.shape)
    # a pair is worth more than all distances together, none of which is above 1
    cost = np.where(suits, off - (min(apart.shape) + 1.0), 0.0)
    bore, mate = linear_sum_assignment(cost)
    kept = suits[bore, mate]
    return np.asarray(bore[kept], dtype=np.int64), np.asarray(mate[kept], dtype=np.int64)
