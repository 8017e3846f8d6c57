"""Deviates of single values that come seldom, each of which rests on all values before.

They are independent standard normal from the third value on, whatever mean and spread the process has.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtr

from cellmon.charts.individuals import LEAST_VALUES

Floats = NDArray[np.float64]
FIRST = LEAST_VALUES + 1
"""So many values give the figure from which sums of squares are taken."""


@dataclass(frozen=True, kw_only=True)
class Usual:
    """What is known of the values that are usual: as much as the deviate of the next one rests on."""

    n: int
    about: float
    """The mean of the first of them: sums of squares keep their digits near nought."""
    total: float
    """Sum of their distances from it, `squares` that of their squares, `widest` the farthest."""
    squares: float
    widest: float

    @classmethod
    def of(cls, known: ArrayLike, *, then: ArrayLike) -> Usual:
        """Return what some values tell; where they are few, `then` are those that follow."""
        values = np.asarray(known, dtype=np.float64)
        first = np.concatenate([values[:FIRST], np.asarray(then, dtype=np.float64)[:FIRST]])[:FIRST]
        about = float(first.mean()) if first.size else 0.0
        return cls(n=0, about=about, total=0.0, squares=0.0, widest=0.0).more(values)

    @property
    def mean(self) -> float:
        """The mean of those values."""
        return self.about + self.total / self.n

    @property
    def sd(self) -> float:
        """Their standard deviation, divisor n - 1."""
        return sqrt((self.squares - self.total**2 / self.n) / (self.n - 1))

    def more(self, values: ArrayLike) -> Usual:
        """Return what is known once some values more are usual."""
        x = np.asarray(values, dtype=np.float64)
        return Deviates.of(x, self).before(x.size)


@dataclass(frozen=True, kw_only=True, eq=False)
class Deviates:
    """One deviate a value, and what was known before each, arrays of shape (k,) and (k + 1,)."""

    z: Floats
    start: Usual
    total: Floats
    squares: Floats
    widest: Floats

    @classmethod
    def of(cls, y: ArrayLike, start: Usual) -> Deviates:
        """Work out deviates of values, shape (k,), that follow those known; nan where those have no spread.

        With m values before, of mean M and deviation s, (y - M) / (s sqrt(1 + 1/m)) has Student's t
        distribution with m - 1 degrees of freedom and is independent of the same for every other value;
        its share below becomes a normal deviate.

        References
        ----------
        Hawkins, Self-starting cusum charts for location and scale, The Statistician 36 (1987), 299-315;
        Quesenberry, SPC Q charts for start-up processes, Journal of Quality Technology 23 (1991), 213-224
        (both from memory).

        Examples
        --------
        >>> y = [1.0, 3.0, 4.0]
        >>> Deviates.of(y, Usual.of([], then=y)).z.round(2)
        array([ nan,  nan, 0.75])
        """
        centred = np.asarray(y, dtype=np.float64) - start.about
        m = start.n + np.arange(centred.size, dtype=np.float64)
        total = np.cumsum(np.concatenate([[start.total], centred]))
        squares = np.cumsum(np.concatenate([[start.squares], centred**2]))
        widest = np.maximum.accumulate(np.concatenate([[start.widest], np.abs(centred)]))
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = total[:-1] / m
            var = (squares[:-1] - total[:-1] * mean) / (m - 1)
            t = (centred - mean) / np.sqrt(var * (1 + 1 / m))
        t = np.where((m >= 2) & (var > 1e-12 * widest[1:] ** 2), t, np.nan)
        z = np.asarray(-np.sign(t) * ndtri(stdtr(np.maximum(m - 1, 1.0), -np.abs(t))), dtype=np.float64)
        return cls(z=z, start=start, total=total, squares=squares, widest=widest)

    def before(self, i: int) -> Usual:
        """Return what is known before the i-th value, all earlier ones being usual."""
        return Usual(
            n=self.start.n + i,
            about=self.start.about,
            total=float(self.total[i]),
            squares=float(self.squares[i]),
            widest=float(self.widest[i]),
        )
