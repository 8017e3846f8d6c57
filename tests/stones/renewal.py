"""How many sets are used up while so many bores are honed: a reference for the ways drawn, on a lattice.

Sets age, so what they use up over a time is far more regular than a Poisson count of the same mean.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

Floats = NDArray[np.float64]
Cdf = Callable[[Floats], Floats]

CELLS = 2048
"""Cells of the lattice; a life is known to the middle of its cell."""
_TAIL = 1e-12


def with_breakage(cdf: Cdf, *, chips_per_bore: float) -> Cdf:
    """Return the cumulative chance of a life that a chip may cut short at any bore.

    Parameters
    ----------
    cdf : callable
        Cumulative chance of the life by wear.
    chips_per_bore : float
        Chance that a bore chips the set, the same at every age.

    References
    ----------
    Competing risks: survivals of independent causes multiply. Barlow and Proschan, Mathematical Theory of
    Reliability (1965), chapter 2 (from memory).
    """

    def either(bores: Floats) -> Floats:
        x = np.asarray(bores, dtype=np.float64)
        return np.asarray(1.0 - (1.0 - cdf(x)) * np.exp(-chips_per_bore * np.maximum(x, 0.0)))

    return either


def renewal_counts(first: Cdf, later: Cdf, *, bores: float, cells: int = CELLS) -> Floats:
    """Return the chances that one spindle uses up 0, 1, 2, ... sets while it hones so many bores.

    Parameters
    ----------
    first : callable
        Cumulative chance of the bores left to the set that is fitted now.
    later : callable
        The same of a new set.
    bores : float
        Bores to be honed.
    cells : int
        Cells of the lattice; the error falls with their square.

    References
    ----------
    Cox, Renewal Theory (1962), chapters 2 and 3: the k-th renewal is the sum of k lives, and at least k
    renewals have happened by t when that sum is at most t (from memory).
    """
    ends, new = _cells(first, bores, cells), _cells(later, bores, cells)
    last = _share_within(cells)
    reached = [1.0]
    while True:
        reached.append(float(ends @ last))
        if reached[-1] < _TAIL or len(reached) > cells:
            break
        ends = np.maximum(fftconvolve(ends, new)[: 2 * cells + 1], 0.0)
    chance = -np.diff([*reached, 0.0])
    return np.maximum(chance, 0.0) / chance.sum()


def _cells(cdf: Cdf, bores: float, cells: int) -> Floats:
    """Return the chance of each lattice point, a cell's chance shared by its mean between its two edges."""
    width = bores / cells
    fine = 8
    edges = np.linspace(0.0, 2 * cells * width, 2 * cells * fine + 1)
    mass = np.diff(np.asarray(cdf(edges), dtype=np.float64))
    at = (edges[:-1] + edges[1:]) / 2 / width
    low = np.floor(at).astype(np.int64)
    part = at - low
    found = np.zeros(2 * cells + 1)
    np.add.at(found, low, mass * (1 - part))
    np.add.at(found, low + 1, mass * part)
    return found


def _share_within(cells: int) -> Floats:
    """Return which lattice points lie within the bores honed; half of the one at their end."""
    found = np.zeros(2 * cells + 1)
    found[:cells], found[cells] = 1.0, 0.5
    return found
