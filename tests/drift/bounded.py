"""What a dead band does to a wandering level, by integral equations: a reference for the cheapest band."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

NODES = 200


@dataclass(frozen=True, kw_only=True)
class Bounded:
    """Mean number of bores between adjustments, and growth of the deviation about target, as a share."""

    interval: float
    inflation: float


def bounded_adjustment(lam: float, band: float) -> Bounded:
    """Return what setting the forecast back to 0 at |forecast| >= band makes of a wandering level.

    The best forecast moves by lam times the last forecast error, standard deviation 1. Mean interval and mean
    square over a cycle solve an integral equation each (Crowder, Journal of Quality Technology 24 (1992),
    125-134, from memory), here by Gauss-Legendre nodes.
    """
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    x, w = band * nodes, band * weights

    def to(start: np.ndarray) -> np.ndarray:
        z = (x - start[:, None]) / lam
        return w * np.exp(-(z**2) / 2) / (lam * sqrt(2 * np.pi))

    visits = np.linalg.solve(np.eye(NODES) - to(x), np.column_stack([np.ones(NODES), x**2]))
    from_target = (to(np.zeros(1)) @ visits)[0]
    interval = 1 + float(from_target[0])
    return Bounded(interval=interval, inflation=sqrt(1 + float(from_target[1]) / interval) - 1)
