"""What pattern tests remember, as the states of a finite machine, and the least such machine.

Tests of zones and tests of moves are explored apart and merged (Moore's partition refinement), then
joined: exploring both at once would take a hundred times as long.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cellmon.charts.patterns import Shape, Test

Whole = NDArray[np.int64]
Memory = tuple[int, ...]
_MOST_STATES = 60_000
_MOVES = (Shape.TREND, Shape.ALTERNATING)


@dataclass(frozen=True, kw_only=True, eq=False)
class Machine:
    """What the tests remember, as states; state 0 is before the first point."""

    borders: tuple[float, ...]
    """Between zones, from low to high."""
    zone: Whole
    """Of the last point in each state, -1 before the first, shape (states,); all 0 where none matters."""
    following: Whole
    """State after a point in each zone, shape (states, zones, moves); -1 is a signal.

    One move without tests of trends, else two: up and down.
    """

    @property
    def moves(self) -> int:
        """One, or two where the direction from the point before matters."""
        return int(self.following.shape[2])


@lru_cache(maxsize=128)
def machine_of(tests: tuple[Test, ...]) -> Machine:
    """Return a machine that remembers what these tests need."""
    of_moves = tuple(test for test in tests if test.shape in _MOVES)
    of_zones = tuple(test for test in tests if test.shape not in _MOVES)
    borders = _borders(of_zones)
    points = [(z, 0) for z in _middles(borders)]
    table = _explored(of_zones, points)
    if not of_moves:
        table, zone = _merged(table, np.zeros(len(table)))
        return Machine(borders=borders, zone=zone, following=table[:, :, None])
    table, zone = _with_zones(table)
    table, zone = _merged(table, zone)
    turns = _explored(of_moves, [(0.0, 0), (0.0, 1), (0.0, -1)])
    moves, _ = _merged(turns, np.zeros(len(turns)))
    return _joined(borders, table, zone, moves)


def _borders(tests: Sequence[Test]) -> tuple[float, ...]:
    borders = {sign * test.limit for test in tests if test.shape is not Shape.RUN for sign in (-1.0, 1.0)}
    if any(test.shape is Shape.RUN for test in tests):
        borders.add(0.0)
    return tuple(sorted(borders))


def _middles(borders: Sequence[float]) -> list[float]:
    if not borders:
        return [0.0]
    inner = [(low + high) / 2 for low, high in pairwise(borders)]
    return [borders[0] - 1, *inner, borders[-1] + 1]


def _explored(tests: Sequence[Test], points: Sequence[tuple[float, int]]) -> Whole:
    """Return the state after each kind of point, for each memory that can be reached; -1 is a signal."""
    start: Memory = (0,) * (2 * len(tests))
    known, order = {start: 0}, [start]
    table: list[list[int]] = []
    while len(table) < len(order):
        row = []
        for z, move in points:
            after = _remember(tests, order[len(table)], z, move)
            if after is not None and after not in known:
                known[after] = len(order)
                order.append(after)
            row.append(-1 if after is None else known[after])
        table.append(row)
        if len(order) > _MOST_STATES:
            raise ValueError("tests that must remember too much together: use shorter ones")
    return np.array(table, dtype=np.int64)


def _remember(tests: Sequence[Test], memory: Memory, z: float, move: int) -> Memory | None:
    """Return what is remembered after a point at z that moved up, down or not at all; None is a signal."""
    after: list[int] = []
    for i, test in enumerate(tests):
        pair = _after_point(test, memory[2 * i], memory[2 * i + 1], z, move)
        if pair is None:
            return None
        after.extend(pair)
    return tuple(after)


def _after_point(test: Test, a: int, b: int, z: float, move: int) -> tuple[int, int] | None:
    """Return the two numbers a test keeps; None where it signals."""
    beyond = (z > test.limit) - (z < -test.limit)
    pair: tuple[int, int] | None
    match test.shape:
        case Shape.BEYOND:
            pair = None if beyond else (0, 0)
        case Shape.WITHIN:
            pair = _counted(0 if beyond else a + 1, 0, test.n)
        case Shape.RUN:  # a: points, b: side
            pair = _counted(a + 1 if beyond == b else 1, beyond, test.n)
        case Shape.TREND:  # a: points, b: direction
            pair = _counted(a + 1 if move == b and move else 2 if move else 1, move, test.n)
        case Shape.ALTERNATING:
            pair = _counted(a + 1 if move == -b and move else 2 if move else 1, move, test.n)
        case Shape.AVOID_CENTRE:
            pair = _both_sides(test, a, b, beyond)
        case Shape.SHARE_BEYOND:
            pair = _shares(test, a, b, beyond)
    return pair


def _counted(points: int, side: int, n: int) -> tuple[int, int] | None:
    return None if points >= n else (points, side)


def _both_sides(test: Test, a: int, b: int, side: int) -> tuple[int, int] | None:
    """Keep the points in a row beyond, up to n, and how many of the last of them lie on one side (signed)."""
    if side == 0:
        return 0, 0
    points = min(a + 1, test.n)
    same = b + side if b * side > 0 else side
    return None if points >= test.n and abs(same) < test.n else (points, max(-test.n, min(test.n, same)))


def _shares(test: Test, a: int, b: int, side: int) -> tuple[int, int] | None:
    """Keep which of the last n - 1 points were beyond, above and below, as bits."""
    pair = []
    for bits, mine in ((a, side > 0), (b, side < 0)):
        now = bits << 1 | mine
        if mine and now.bit_count() >= test.k:
            return None
        pair.append(now & ((1 << (test.n - 1)) - 1))
    return pair[0], pair[1]


def _with_zones(table: Whole) -> tuple[Whole, Whole]:
    """Split each state by the zone of the last point; state 0 stays the one before the first."""
    states, zones = table.shape
    split = np.arange(states)[:, None] * zones + np.arange(zones) + 1
    after = np.where(table >= 0, split[table, np.arange(zones)], -1)
    result = np.concatenate([after[:1], np.repeat(after, zones, axis=0)])
    return result, np.concatenate([[-1], np.tile(np.arange(zones), states)])


def _merged(table: Whole, label: NDArray[np.generic]) -> tuple[Whole, Whole]:
    """Merge states of the same label that no future can tell apart; drop those out of reach."""
    group = np.unique(label, return_inverse=True)[1].ravel()
    count = 0
    while True:
        told = np.where(table >= 0, group[table], -2)
        first, group = _ranked(np.column_stack([group, told]))
        if first.size == count:
            break
        count = first.size
    small = np.where(table[first] >= 0, group[table[first]], -1)
    reached = [int(group[0])]
    seen = set(reached)
    for state in reached:
        new = {int(s) for s in small[state]} - seen - {-1}
        seen |= new
        reached.extend(sorted(new))
    rank = np.full(count, -1)
    rank[reached] = np.arange(len(reached))
    kept = small[reached]
    return np.where(kept >= 0, rank[kept], -1), np.asarray(label)[first][reached].astype(np.int64)


def _ranked(keys: Whole) -> tuple[Whole, Whole]:
    """Return the first row of each kind of row and the rank of every row's kind, columns from left to right.

    As `np.unique` of whole rows does; packed into whole numbers, which are told apart several times faster.
    """
    keys = keys - keys.min(axis=0)
    codes, room = keys[:, 0], int(keys[:, 0].max()) + 1
    for column in keys.T[1:]:
        breadth = int(column.max()) + 1
        if room > 2**62 // breadth:
            codes = np.unique(codes, return_inverse=True)[1].ravel()
            room = int(codes.max()) + 1
        codes, room = codes * breadth + column, room * breadth
    _, first, group = np.unique(codes, return_index=True, return_inverse=True)
    return first, group.ravel()


def _joined(borders: tuple[float, ...], table: Whole, zone: Whole, moves: Whole) -> Machine:
    """Return the machine that remembers both, states in the order they are reached, by whole sets."""
    many = len(moves)
    first = np.where(table[:1] >= 0, table[:1] * many + moves[0, 0], -1)
    codes, waiting = np.array([0]), np.unique(first[first >= 0])
    while waiting.size:
        codes = np.union1d(codes, waiting)
        after = _pairs(table, moves, waiting)
        waiting = np.setdiff1d(after[after >= 0], codes)
        if codes.size > 10 * _MOST_STATES:
            raise ValueError("tests that must remember too much together: use shorter ones")
    after = _pairs(table, moves, codes)
    after[0] = first[0][:, None]
    following = np.where(after >= 0, np.searchsorted(codes, after), -1)
    return Machine(borders=borders, zone=zone[codes // many], following=following)


def _pairs(table: Whole, moves: Whole, codes: Whole) -> Whole:
    """Return the codes after a point in each zone with each move, shape (codes, zones, 2)."""
    one, other = table[codes // len(moves)][:, :, None], moves[codes % len(moves), 1:][:, None, :]
    return np.where((one >= 0) & (other >= 0), one * len(moves) + other, -1)
