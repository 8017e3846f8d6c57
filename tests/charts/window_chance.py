"""The chance of a pattern in n points, in closed form: a reference for the tests that look for patterns."""

from math import comb, factorial

from cellmon.charts.patterns import Shape, Test
from cellmon.stats.normal import share_above


def window_chance(test: Test) -> float:
    """Return the chance that n independent, unmoved normal points show the pattern, either side."""
    tail = float(share_above(test.limit))
    match test.shape:
        case Shape.BEYOND:
            chance = 2 * tail
        case Shape.RUN:
            chance = 2.0 ** (1 - test.n)
        case Shape.TREND:
            chance = 2 / factorial(test.n)
        case Shape.ALTERNATING:
            chance = 2 * _zigzag(test.n) / factorial(test.n)
        case Shape.SHARE_BEYOND:
            chance = 2 * tail * _at_least(test.k - 1, test.n - 1, tail)
        case Shape.WITHIN:
            chance = (1 - 2 * tail) ** test.n
        case Shape.AVOID_CENTRE:
            chance = (2 * tail) ** test.n - 2 * tail**test.n
    return chance


def _at_least(k: int, n: int, p: float) -> float:
    return sum(comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1))


def _zigzag(n: int) -> int:
    """Return the permutations of n that go up and down by turns, beginning upwards (Andre, 1881)."""
    row = [1]
    for _ in range(n):
        following = [0]
        for value in reversed(row):
            following.append(following[-1] + value)
        row = following
    return row[-1]
