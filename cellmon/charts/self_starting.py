"""The level of single values that come seldom, watched by deviates that each rest on all values before.

Those are independent standard normal from the third value on, whatever mean and spread the process
has, so that cumulative sums of them run as long as computed and need no long baseline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isfinite

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtr

from cellmon.charts.individuals import BASELINE_VALUES, LEAST_VALUES
from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
FAR = 3.5
"""Deviates beyond which a value tells nothing of what is usual: one in some 2,150."""
LEAST_FOR_FAR = 12
USUAL = 2.5
"""Standard deviations within which a value of a call that is over is learned after all: had it been
false, leaving out what called would keep the error that made it call, and it would call again."""
BACK = float(np.log(200.0))
"""How much likelier the old level must be than the new one, as a logarithm, before a call ends."""
LEAST_SHIFT = 1.0
"""Standard deviations; a smaller shift is told from none no faster than this."""


@dataclass(frozen=True, kw_only=True)
class LevelCall:
    """One call of a level; places count from 0."""

    at: int
    """The value that called."""
    onset: int
    """Where the sum that called began to rise."""
    side: int
    mean: float
    sd: float
    """What was known before the onset, on the scale."""
    shift: float
    """Mean from the onset to the call less that mean, on the scale."""
    end: int | None
    """The value at which the level was back, or had lasted for a baseline of its own."""
    lasted: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class LevelWatch:
    """A series judged: one deviate a value, nan before there were 20."""

    deviate: Floats
    calls: tuple[LevelCall, ...]
    baselines: tuple[tuple[int, NDArray[np.int64]], ...]
    """From which place on which values are the baseline; another one where a shift lasted."""


def self_starting(y: ArrayLike, *, known: ArrayLike = ()) -> Floats:
    """Return for each value its normal deviate from all before it; nan where those have no spread.

    With m values before, of mean M and deviation s, (y - M) / (s sqrt(1 + 1/m)) has Student's t
    distribution with m - 1 degrees of freedom and is independent of the same for every other value; its
    share below becomes a normal deviate.

    Parameters
    ----------
    y : array_like, shape (k,)
    known : array_like
        Values before the first of them.

    References
    ----------
    Hawkins, Self-starting cusum charts for location and scale, The Statistician 36 (1987), 299-315;
    Quesenberry, SPC Q charts for start-up processes, Journal of Quality Technology 23 (1991), 213-224
    (both from memory).

    Examples
    --------
    >>> self_starting([1.0, 3.0, 4.0]).round(2)
    array([ nan,  nan, 0.75])
    """
    before, x = np.asarray(known, dtype=np.float64), np.asarray(y, dtype=np.float64)
    every = np.concatenate([before, x])
    if not every.size:
        return every
    centred = every - every[: LEAST_VALUES + 1].mean()  # sums of squares keep their digits near nought
    m = np.arange(every.size, dtype=np.float64)
    sums = np.concatenate([[0.0], np.cumsum(centred)[:-1]])
    squares = np.concatenate([[0.0], np.cumsum(centred**2)[:-1]])
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = sums / m
        var = (squares - sums * mean) / (m - 1)
        t = (centred - mean) / np.sqrt(var * (1 + 1 / m))
    least = 1e-12 * np.maximum.accumulate(np.abs(centred)) ** 2
    t = np.where((m >= 2) & (var > least), t, np.nan)
    z = -np.sign(t) * ndtri(stdtr(np.maximum(m - 1, 1.0), -np.abs(t)))
    return np.asarray(z[before.size :], dtype=np.float64)


def watch_level(y: ArrayLike, *, references: Sequence[float], limits: Sequence[float]) -> LevelWatch:
    """Watch the level of a series on its scale, both sides, by cumulative sums of its own deviates.

    What lies beyond 3.5 deviates does not become usual, and counts, as 3.5, only where the next value
    lies out there too: one wild value is no level and hides none. From a call on, nothing is learned
    until the level is back, or until 25 values lie at the new one, which is then the usual one.

    Parameters
    ----------
    y : array_like, shape (n,)
        Finite values, in order of time.
    references, limits : sequence of float
        Of each sum, in standard deviations; each runs on both sides.

    References
    ----------
    Page, Biometrika 41 (1954), 100-115; Hawkins (1987), as `self_starting`.
    """
    walker = _Walker(as_series(y, need=0, what="values"), tuple(references), tuple(limits))
    return walker.watched()


@dataclass
class _Walker:
    """One pass over a series."""

    y: Floats
    references: tuple[float, ...]
    limits: tuple[float, ...]
    calls: list[LevelCall] = field(default_factory=list)

    def watched(self) -> LevelWatch:
        n = self.y.size
        self.deviate = np.full(n, np.nan)
        self.learned: Flags = np.zeros(n, dtype=bool)
        self.fresh = 0  # where what is usual began to be learned
        self.baselines: list[tuple[int, NDArray[np.int64]]] = []
        self._restart(0)
        at = 0
        while at < n:
            at = self._walk(at)
        self._keep_baseline(self.fresh)
        return LevelWatch(deviate=self.deviate, calls=tuple(self.calls), baselines=tuple(self.baselines))

    def _restart(self, at: int) -> None:
        self.wild = 0.0
        self.sums = [[0.0, 0.0] for _ in self.references]
        self.rose = [[at, at] for _ in self.references]

    def _keep_baseline(self, since: int) -> None:
        known = np.flatnonzero(self.learned[since:])[:BASELINE_VALUES] + since
        self.baselines.append((since, known))

    def _walk(self, begin: int) -> int:
        """Go on while values are learned; return where to go on after one that is not, or a call."""
        known = self.y[self.fresh : begin][self.learned[self.fresh : begin]]
        z = self_starting(self.y[begin:], known=known)
        for i, one in enumerate(z.tolist(), start=begin):
            m = known.size + i - begin
            far = m >= LEAST_FOR_FAR and abs(one) > FAR
            if m >= LEAST_VALUES and isfinite(one):
                self.deviate[i] = one
                called = self._add_unless_wild(i, one)
                if called is not None:
                    return self._called(i, *called)
            if far:
                return i + 1
            self.learned[i] = True
        return self.y.size

    def _add_unless_wild(self, i: int, z: float) -> tuple[int, int] | None:
        """Add a deviate; one far out waits for the next: alone it is wild, two of one side are a level."""
        waits, self.wild = self.wild, z if abs(z) > FAR else 0.0
        if self.wild and waits * z <= 0:
            return None
        if self.wild:
            self._add(i - 1, FAR if waits > 0 else -FAR)
        return self._add(i, min(max(z, -FAR), FAR))

    def _add(self, i: int, z: float) -> tuple[int, int] | None:
        """Add one deviate to every sum; return side and onset of the one farthest beyond its limit."""
        best, found = 1.0, None
        for k, h, sums, rose in zip(self.references, self.limits, self.sums, self.rose, strict=True):
            for which, side in enumerate((1, -1)):
                if sums[which] == 0.0:
                    rose[which] = i
                sums[which] = max(0.0, sums[which] + side * z - k)
                if sums[which] > best * h:
                    best, found = sums[which] / h, (side, rose[which])
        return found

    def _called(self, at: int, side: int, onset: int) -> int:
        """Keep a call, and wait until it is over; return where to go on."""
        self.learned[onset : at + 1] = False
        before = self.y[self.fresh : onset][self.learned[self.fresh : onset]]
        mean, sd = float(before.mean()), float(before.std(ddof=1))
        shift = float(self.y[onset : at + 1].mean()) - mean
        end, since = self._until_back(at, side, mean, sd, abs(shift))
        lasted = end is not None and since is None
        self.calls.append(
            LevelCall(at=at, onset=onset, side=side, mean=mean, sd=sd, shift=shift, end=end, lasted=lasted)
        )
        if end is None:
            return int(self.y.size)
        if since is not None:
            usual = np.abs(self.y[onset : end + 1] - mean) <= USUAL * sd
            self.learned[onset : end + 1] = usual
            self.learned[since : end + 1] = True
        else:
            self._keep_baseline(self.fresh)
            self.fresh = end - BASELINE_VALUES + 1
            self.learned[self.fresh : end + 1] = True
        self._restart(end + 1)
        return end + 1

    def _until_back(
        self, at: int, side: int, mean: float, sd: float, shift: float
    ) -> tuple[int | None, int | None]:
        """Return where a call ends and since when the level is back; no such moment where it lasted."""
        step, back, since = max(shift / sd, LEAST_SHIFT), 0.0, at + 1
        for i in range(at + 1, self.y.size):
            z = side * (float(self.y[i]) - mean) / sd
            self.deviate[i] = side * z
            if back == 0.0:
                since = i
            back = max(0.0, back + step * (step / 2 - min(max(z, -FAR), FAR)))
            if back > BACK:
                return i, since
            if i - at >= BASELINE_VALUES:
                return i, None
        return None, None
