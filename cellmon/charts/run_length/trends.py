"""Steps of a chart that compares each point with the one before it.

A point is told by u, its place in the distribution, even from 0 to 1. Within a zone the run length is
smooth in u, so Gauss nodes and the integrals of their polynomials from the zone's lower end to each
node (up and down split there) give the step, with no error for polynomials.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from cellmon.charts.run_length.distribution import RunLength

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
_DENSE = 600


def step_with_moves(
    zone: Whole, following: Whole, borders: Floats, *, shift: float = 0.0, sd: float = 1.0
) -> RunLength:
    """Return the run length of a machine whose points also move up or down.

    Parameters
    ----------
    zone : int array, shape (states,)
        Of the last point; -1 in state 0, before the first.
    following : int array, shape (states, zones, 2)
        State after a point in each zone, for moves up and down; -1 is a signal.
    borders : array, shape (zones - 1,)
        Between zones, in assumed standard deviations.
    shift, sd : float
        True mean and standard deviation, in the same unit.
    """
    grid = _Grid(borders, zone, shift, sd)
    width = grid.width
    parts = [
        _part(zone, following[:, to, move], grid.offset, here, weights)
        for here in range(-1, width.size)
        for to in range(width.size)
        for move in (0, 1)
        if (weights := _weights(here, to, move, grid.sizes, width)) is not None
    ]
    total = grid.total
    step = _sparse(parts, (total, total))
    start = np.zeros(total)
    start[0] = 1.0
    return RunLength(
        start=start,
        step=step.toarray() if total <= _DENSE else step,
        running=np.ones(total),
        seen=None if shift == 0 and sd == 1 else _seen(zone, _Grid(borders, zone, 0.0, 1.0), grid),
    )


class _Grid:
    """Nodes of each zone in places of the distribution, and where those of each state begin."""

    def __init__(self, borders: Floats, zone: Whole, shift: float, sd: float) -> None:
        self.shift, self.sd = shift, sd
        self.ends = np.concatenate([[0.0], ndtr((borders - shift) / sd), [1.0]])
        self.width = np.diff(self.ends)
        self.sizes = _nodes(self.width)
        self.offset = np.concatenate(
            [[0, 1], 1 + np.cumsum(self.sizes[zone[1:]])]
        )  # one node before the first
        self.total = int(self.offset[-1])

    def points(self, zone: int) -> Floats:
        """Return the nodes of a zone as points, in assumed standard deviations."""
        places = self.ends[zone] + self.width[zone] * _places(int(self.sizes[zone]))
        return np.asarray(self.shift + self.sd * ndtri(places), dtype=np.float64)

    def weights_at(self, zone: int, points: Floats) -> Floats:
        """Return the weights of the nodes of a zone that give a function's value at points in it."""
        nodes = int(self.sizes[zone])
        inside = (ndtr((points - self.shift) / self.sd) - self.ends[zone]) / self.width[zone]
        to_series = np.linalg.inv(np.polynomial.legendre.legvander(2 * _places(nodes) - 1, nodes - 1))
        return np.asarray(np.polynomial.legendre.legvander(2 * inside - 1, nodes - 1) @ to_series)


def _seen(zone: Whole, unmoved: _Grid, moved: _Grid) -> csr_array:
    """Return what each node of the unmoved chart is among the nodes of the moved one."""
    parts = [(np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64), np.ones(1))]
    for here in range(unmoved.width.size):
        weights = moved.weights_at(here, unmoved.points(here))
        states = np.flatnonzero(zone == here)
        parts.append(_blocks(unmoved.offset[states], moved.offset[states], weights))
    return _sparse(parts, (unmoved.total, moved.total))


def _part(
    zone: Whole, target: Whole, offset: Whole, here: int, weights: Floats
) -> tuple[Whole, Whole, Floats]:
    """Return rows, columns and values of all steps from one zone to another by one move."""
    states = np.flatnonzero((zone == here) & (target >= 0))
    return _blocks(offset[states], offset[target[states]], weights)


def _blocks(rows: Whole, columns: Whole, weights: Floats) -> tuple[Whole, Whole, Floats]:
    """Return the entries of one block of weights repeated at many places."""
    height, breadth = weights.shape
    shape = (rows.size, height, breadth)
    return (
        np.broadcast_to(rows[:, None, None] + np.arange(height)[:, None], shape).ravel(),
        np.broadcast_to(columns[:, None, None] + np.arange(breadth), shape).ravel(),
        np.broadcast_to(weights, shape).ravel(),
    )


def _sparse(parts: list[tuple[Whole, Whole, Floats]], shape: tuple[int, int]) -> csr_array:
    from scipy.sparse import csr_array  # late: slow to import

    rows, columns, values = (np.concatenate(part) for part in zip(*parts, strict=True))
    places = (rows.astype(np.int32), columns.astype(np.int32))  # half the memory to walk through
    return csr_array((values, places), shape=shape)


def _weights(zone: int, to: int, move: int, sizes: Whole, width: Floats) -> Floats | None:
    """Return the weights of the nodes of zone `to` after a move up (0) or down (1) from `zone`."""
    whole, below = _rule(int(sizes[to]))
    if zone < 0:  # before the first point there is no move: count it once
        return whole[None, :] * width[to] if move == 0 else None
    if zone == to:
        return np.asarray((whole - below if move == 0 else below) * width[to])
    if (to > zone) != (move == 0):
        return None
    return np.broadcast_to(whole * width[to], (int(sizes[zone]), whole.size))


def _nodes(width: Floats) -> Whole:
    """Wide zones need more nodes: a run of points within one is a polynomial of its length."""
    return np.clip(np.ceil(2 + 6 * width), 2, 12).astype(np.int64)


@lru_cache(maxsize=32)
def _places(nodes: int) -> Floats:
    return np.asarray((np.polynomial.legendre.leggauss(nodes)[0] + 1) / 2)


@lru_cache(maxsize=32)
def _rule(nodes: int) -> tuple[Floats, Floats]:
    """Return the weights of the nodes on (0, 1), and the integrals of their polynomials up to each node."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    basis = np.linalg.inv(np.polynomial.legendre.legvander(x, nodes - 1))
    integrals = np.polynomial.legendre.legint(basis, lbnd=-1.0, axis=0)
    below = np.polynomial.legendre.legval(x, integrals).T / 2
    return w / 2, np.asarray(below)
