"""One step of a chart with a continuous statistic, as a matrix over nodes: two ways to make it.

`smooth_step` takes a density without breaks (Nystrom, Gauss-Legendre). `step_from_cdf` takes any
continuous distribution by its distribution function alone: integration by parts,
int L dG = [L G] - int L' G, on panels whose borders lie where L is not smooth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Cdf = Callable[[Floats], Floats]


@dataclass(frozen=True, kw_only=True, eq=False)
class Rule:
    """Nodes and weights of an integral."""

    at: Floats
    weights: Floats


def gauss(low: float, high: float, nodes: int) -> Rule:
    """Return the Gauss-Legendre rule of so many nodes between two ends."""
    x, w = _gauss(nodes)
    half = (high - low) / 2
    return Rule(at=low + half * (x + 1), weights=half * w)


@dataclass(frozen=True, kw_only=True, eq=False)
class Panels:
    """A stretch cut into panels, each with the same number of Chebyshev nodes."""

    borders: Floats
    """Shape (panels + 1,)."""
    nodes: int

    @property
    def at(self) -> Floats:
        """All nodes, panel by panel, shape (panels * nodes,)."""
        low, high = self.borders[:-1, None], self.borders[1:, None]
        return np.asarray((low + (high - low) * (_chebyshev(self.nodes) + 1) / 2).ravel())

    def row_at(self, place: float) -> Floats:
        """Return the weights of the nodes that give the value of a function at one place."""
        panel = min(max(int(np.searchsorted(self.borders, place)) - 1, 0), self.borders.size - 2)
        low, high = self.borders[panel], self.borders[panel + 1]
        row = np.zeros(self.nodes * (self.borders.size - 1))
        local = np.polynomial.chebyshev.chebvander(2 * (place - low) / (high - low) - 1, self.nodes - 1)
        row[panel * self.nodes : (panel + 1) * self.nodes] = local @ _to_coefficients(self.nodes)
        return row


def step_from_cdf(
    cdf_between: Callable[[Floats, Floats], Floats], panels: Panels, states: Floats, *, begins: Floats | None
) -> Floats:
    """Return the weights of int L(y) dG(y | state) over the panels, shape (states, nodes of all panels).

    Parameters
    ----------
    cdf_between : callable
        (states, places) to the chance that the next value is at most each place; broadcast.
    begins : array of shape (states,) or None
        The smallest next value from each state, where the distribution begins at one.
    """
    parts = []
    for low, high in zip(panels.borders[:-1], panels.borders[1:], strict=True):
        parts.append(_panel(cdf_between, float(low), float(high), panels.nodes, states, begins))
    return np.concatenate(parts, axis=1)


def _panel(
    cdf_between: Callable[[Floats, Floats], Floats],
    low: float,
    high: float,
    nodes: int,
    states: Floats,
    begins: Floats | None,
) -> Floats:
    """[L G] - int L' G on one panel; y = begin + (high - begin) u^2 takes the root out of G's beginning."""
    result = np.zeros((states.size, nodes))
    reach = np.ones(states.size, dtype=bool) if begins is None else begins < high
    if not reach.any():
        return result
    column = states[reach, None]
    if begins is None:
        rule = gauss(0.0, 1.0, nodes + 12)
        y = np.broadcast_to(low + (high - low) * rule.at, (column.size, rule.at.size))
        measure = (high - low) * rule.weights
    else:
        rule = gauss(0.0, 1.0, nodes + 14)
        begin = np.maximum(begins[reach], low)[:, None]
        y = begin + (high - begin) * rule.at**2
        measure = (high - begin) * (2 * rule.at * rule.weights)
    weight = cdf_between(column, y) * measure * (2 / (high - low))
    slopes = _slopes(2 * (y - low) / (high - low) - 1, weight, nodes)
    signs = (-1.0) ** np.arange(nodes)
    ends = cdf_between(column, np.array([[low, high]]))
    result[reach] = (ends[:, 1:] - ends[:, :1] * signs - slopes) @ _to_coefficients(nodes)
    return result


def _slopes(t: Floats, weight: Floats, nodes: int) -> Floats:
    """Return sum over places of weight T_j'(t) for j < nodes: T_j' = j U_(j-1), U by recursion."""
    result = np.zeros((t.shape[0], nodes))
    before, now = np.zeros_like(t), np.ones_like(t)
    for j in range(1, nodes):
        result[:, j] = j * np.einsum("ij,ij->i", weight, now)
        before, now = now, 2 * t * now - before
    return result


@lru_cache(maxsize=256)
def _gauss(nodes: int) -> tuple[Floats, Floats]:
    x, w = np.polynomial.legendre.leggauss(nodes)
    return x, w


@lru_cache(maxsize=64)
def _chebyshev(nodes: int) -> Floats:
    return np.asarray(-np.cos(np.pi * (np.arange(nodes) + 0.5) / nodes))


@lru_cache(maxsize=64)
def _to_coefficients(nodes: int) -> Floats:
    return np.asarray(
        np.linalg.inv(np.polynomial.chebyshev.chebvander(_chebyshev(nodes), nodes - 1)), dtype=np.float64
    )
