"""Pattern tests on standardised points: which tests are completed by each point, as a bit mask.

Points are in sigma from the centre line. A test is judged anew at every point; a point that goes on
with a pattern completes it again. Work goes over bytes, in blocks that stay in the processor's cache.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]
Bits = NDArray[np.uint16]
_BLOCK = 32_768
_MOST_TESTS = 16


class Shape(StrEnum):
    """What a test looks for."""

    BEYOND = "beyond"
    """One point farther from the centre than the limit."""
    RUN = "run"
    """n points in a row strictly on one side of the centre."""
    TREND = "trend"
    """n points in a row, each above the one before, or each below."""
    ALTERNATING = "alternating"
    """n points in a row that go up and down by turns."""
    SHARE_BEYOND = "share_beyond"
    """k of the last n points beyond the limit on one side, the last of them."""
    WITHIN = "within"
    """n points in a row nearer to the centre than the limit."""
    AVOID_CENTRE = "avoid_centre"
    """n points in a row beyond the limit, on both sides."""


@dataclass(frozen=True, kw_only=True)
class Test:
    """One pattern test."""

    __test__ = False  # the name is the field's; test collectors must not take it for theirs

    shape: Shape
    n: int = 1
    """Points it looks at."""
    k: int = 1
    """Of `share_beyond`: how many of them must be beyond."""
    limit: float = 0.0
    """Sigma."""

    def __post_init__(self) -> None:
        """Refuse a test that cannot be."""
        least = {Shape.TREND: 2, Shape.ALTERNATING: 3, Shape.AVOID_CENTRE: 2}.get(self.shape, 1)
        needs_limit = self.shape not in (Shape.RUN, Shape.TREND, Shape.ALTERNATING)
        if not least <= self.n <= 60 or not 1 <= self.k <= self.n or (needs_limit and not self.limit > 0):
            raise ValueError(f"a pattern test that cannot be: {self.shape} n={self.n} k={self.k}")


BEYOND_3 = Test(shape=Shape.BEYOND, limit=3.0)
TWO_OF_THREE = Test(shape=Shape.SHARE_BEYOND, n=3, k=2, limit=2.0)
FOUR_OF_FIVE = Test(shape=Shape.SHARE_BEYOND, n=5, k=4, limit=1.0)
FOUR_ZONE_TESTS = (BEYOND_3, TWO_OF_THREE, FOUR_OF_FIVE, Test(shape=Shape.RUN, n=8))
"""Western Electric, Statistical Quality Control Handbook (1956)."""
EIGHT_TESTS = (
    BEYOND_3,
    Test(shape=Shape.RUN, n=9),
    Test(shape=Shape.TREND, n=6),
    Test(shape=Shape.ALTERNATING, n=14),
    TWO_OF_THREE,
    FOUR_OF_FIVE,
    Test(shape=Shape.WITHIN, n=15, limit=1.0),
    Test(shape=Shape.AVOID_CENTRE, n=8, limit=1.0),
)
"""Nelson, Journal of Quality Technology 16 (1984), 237-239."""
STANDARD_TESTS = (BEYOND_3, Test(shape=Shape.RUN, n=7), Test(shape=Shape.TREND, n=7))
"""ISO 7870-2: a point beyond, a run of seven, a trend of seven."""


def completed(z: ArrayLike, tests: Sequence[Test] = EIGHT_TESTS) -> Bits:
    """Return for each point which tests it completes: bit i for test i.

    Parameters
    ----------
    z : array_like, shape (k,)
        Points in sigma from the centre line.
    tests : sequence of Test
        Up to 16.

    Raises
    ------
    NotEnoughData, GapInReadings
        Without a point, or where one is nan or infinite.

    Examples
    --------
    >>> completed([0.0, 3.5, 2.5], FOUR_ZONE_TESTS)
    array([0, 1, 2], dtype=uint16)
    """
    points = as_series(z, need=1, what="points")
    if len(tests) > _MOST_TESTS:
        raise ValueError(f"at most {_MOST_TESTS} tests, not {len(tests)}")
    memory = max((test.n for test in tests), default=1)
    result = np.zeros(points.size, dtype=np.uint16)
    for start in range(0, points.size, _BLOCK):
        begin = max(0, start - memory)
        marks = _Marks(points[begin : start + _BLOCK])
        part = result[start : start + _BLOCK]
        for bit, test in enumerate(tests):
            part |= _found(marks, test)[start - begin :].astype(np.uint16) << np.uint16(bit)
    return result


class _Marks:
    """Points of one block, and the byte masks that several tests share."""

    def __init__(self, z: Floats) -> None:
        self.z = z
        self._kept: dict[tuple[str, float], Bytes] = {}

    def above(self, limit: float) -> Bytes:
        return self._keep("above", limit, lambda: self.z > limit)

    def below(self, limit: float) -> Bytes:
        return self._keep("below", limit, lambda: self.z < -limit)

    def rising(self) -> Bytes:
        return self._keep("rising", 0.0, lambda: _later(self.z[1:] > self.z[:-1]))

    def falling(self) -> Bytes:
        return self._keep("falling", 0.0, lambda: _later(self.z[1:] < self.z[:-1]))

    def _keep(self, name: str, limit: float, make: Callable[[], NDArray[np.bool_]]) -> Bytes:
        if (name, limit) not in self._kept:
            self._kept[name, limit] = make().view(np.uint8)
        return self._kept[name, limit]


def _found(marks: _Marks, test: Test) -> Bytes:
    up, down = marks.above(test.limit), marks.below(test.limit)
    match test.shape:
        case Shape.BEYOND:
            found = up | down
        case Shape.RUN:
            found = _in_a_row(up, test.n) | _in_a_row(down, test.n)
        case Shape.TREND:
            found = _in_a_row(marks.rising(), test.n - 1) | _in_a_row(marks.falling(), test.n - 1)
        case Shape.ALTERNATING:
            turn = marks.rising() & _delayed(marks.falling(), 1)
            turn |= marks.falling() & _delayed(marks.rising(), 1)
            found = _in_a_row(turn, test.n - 2)
        case Shape.SHARE_BEYOND:
            found = _share(up, test) | _share(down, test)
        case Shape.WITHIN:
            inside = (np.abs(marks.z) < test.limit).view(np.uint8)
            found = _in_a_row(inside, test.n)
        case Shape.AVOID_CENTRE:
            one_side = _in_a_row(up, test.n) | _in_a_row(down, test.n)
            found = _in_a_row(up | down, test.n) & ~one_side
    return found


def _in_a_row(mask: Bytes, n: int) -> Bytes:
    """Return where this and the n - 1 before are all set: AND with itself, delayed, doubling the reach."""
    result, reach = mask, 1
    while reach < n:
        by = min(reach, n - reach)
        result = result & _delayed(result, by)
        reach += by
    return result


def _share(mask: Bytes, test: Test) -> Bytes:
    count = mask.copy()
    for back in range(1, test.n):
        count[back:] += mask[:-back]
    return mask & (count >= test.k).view(np.uint8)


def _delayed(mask: Bytes, by: int) -> Bytes:
    result = np.zeros_like(mask)
    result[by:] = mask[:-by]
    return result


def _later(moves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Set each move to the point it leads to; the first point has none."""
    return np.concatenate([[False], moves])
