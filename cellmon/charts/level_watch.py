"""The level of single values that come seldom, watched by cumulative sums of self-starting deviates.

Those are independent standard normal whatever mean and spread the process has, so that sums of them run
as long as computed and need no long baseline.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.charts.individuals import BASELINE_VALUES, LEAST_VALUES
from cellmon.charts.self_starting import FIRST, Deviates, Usual
from cellmon.charts.two_sided import Passed, TwoSided
from cellmon.stats.summary import as_series

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
FAR = 3.5
"""Deviates beyond which a value tells nothing of what is usual: one in some 2,150."""
LEAST_FOR_FAR = 12
AT_ONCE = 256
"""Deviates worked out at once: of those after a value that is not learned most would be again."""
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


@dataclass(frozen=True, kw_only=True)
class Quiet:
    """Where a series stands that is not called: what is usual, and both sides of each sum."""

    usual: Usual
    wild: float
    """The deviate of the last value where that was far out, else nought."""
    sums: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where a series stands that is called: how long, and how likely it is that its level is back."""

    side: int
    mean: float
    sd: float
    step: float
    """The shift that was called, in standard deviations."""
    back: float
    ago: int
    """Values since the one that called, with it."""


Stand = Quiet | Standing | None
"""None while too few values are known to go on from them alone."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LevelWatch:
    """A series judged: one deviate a value, nan before there were 20."""

    deviate: Floats
    calls: tuple[LevelCall, ...]
    baselines: tuple[tuple[int, NDArray[np.int64]], ...]
    """From which place on which values are the baseline; another one where a shift lasted."""
    stands: tuple[Stand, ...] = ()
    """Where it stood before each of the places that were asked for."""


def watch_level(
    y: ArrayLike,
    *,
    references: Sequence[float],
    limits: ArrayLike,
    marks: Sequence[int] = (),
) -> LevelWatch:
    """Watch the level of a series on its scale, both sides, by cumulative sums of its own deviates.

    What lies beyond 3.5 deviates does not become usual, and counts, as 3.5, only where the next value
    lies out there too: one wild value is no level and hides none. From a call on, nothing is learned
    until the level is back, or until 25 values lie at the new one, which is then the usual one.

    Parameters
    ----------
    y : array_like, shape (n,)
        Finite values, in order of time.
    references : sequence of float, k of them
        Of each sum, in standard deviations; each runs on both sides.
    limits : array_like, shape (k,) or (n, k)
        Of each sum; of each value its own, where they change: what a sum brought along meets the new one.
    marks : sequence of int
        Places, n for after the last, before which it is told where the series stands.

    References
    ----------
    Page, Biometrika 41 (1954), 100-115; Hawkins (1987), as `self_starting`.
    """
    return _Walker.of(y, references, limits, marks).watched(marks)


def watch_on(
    stand: Quiet | Standing,
    y: ArrayLike,
    *,
    references: Sequence[float],
    limits: ArrayLike,
    marks: Sequence[int] = (),
) -> LevelWatch | None:
    """Watch the values that follow where a series stands; places count from the first of them.

    None where a call that stands ends among them, or one comes whose sum began to rise before them: what
    was usual before that call is no more known.
    """
    return _Walker.of(y, references, limits, marks).watched_on(stand, marks)


@dataclass
class _Walker:
    """One pass over a series, or over what follows where it stood."""

    y: Floats
    references: tuple[float, ...]
    limits: Sequence[Sequence[float]]
    """Of the sums, at each value."""
    marks: Collection[int]
    calls: list[LevelCall] = field(default_factory=list)
    stands: dict[int, Stand] = field(default_factory=dict)
    before: Usual | None = None
    """What was usual before the first value; None where that is the first of the usual ones."""
    lost: bool = False
    usual: Usual | None = None
    """What is usual where the walk stands; None where values were learned or left out since."""

    @classmethod
    def of(
        cls, y: ArrayLike, references: Sequence[float], limits: ArrayLike, marks: Sequence[int]
    ) -> _Walker:
        values = as_series(y, need=0, what="values")
        each = np.broadcast_to(np.asarray(limits, dtype=np.float64), (values.size, len(references)))
        return cls(values, tuple(references), each.tolist(), set(marks))

    def watched(self, marks: Sequence[int]) -> LevelWatch:
        self._begin()
        self._restart(0)
        self._go(0)
        self._keep_baseline(self.fresh)
        return self._found(marks)

    def _found(self, marks: Sequence[int]) -> LevelWatch:
        return LevelWatch(
            deviate=self.deviate,
            calls=tuple(self.calls),
            baselines=tuple(self.baselines),
            stands=tuple(self.stands[place] for place in marks),
        )

    def watched_on(self, stand: Quiet | Standing, marks: Sequence[int]) -> LevelWatch | None:
        self._begin()
        self._restart(0)
        if isinstance(stand, Standing):
            self.lost = self._until_back(stand, 0) is not None
        else:
            self.before, self.wild = stand.usual, stand.wild
            self.sums = TwoSided(self.references, at=0, sums=stand.sums)
            self._go(0)
        return None if self.lost else self._found(marks)

    def _begin(self) -> None:
        self.deviate = np.full(self.y.size, np.nan)
        self.learned: Flags = np.zeros(self.y.size, dtype=bool)
        self.fresh = 0  # where what is usual began to be learned
        self.baselines: list[tuple[int, NDArray[np.int64]]] = []

    def _go(self, at: int) -> None:
        while at <= self.y.size and not self.lost:
            at = self._walk(at)

    def _restart(self, at: int) -> None:
        self.wild, self.usual = 0.0, None
        self.sums = TwoSided(self.references, at=at)

    def _keep_baseline(self, since: int) -> None:
        known = np.flatnonzero(self.learned[since:])[:BASELINE_VALUES] + since
        self.baselines.append((since, known))

    def _walk(self, begin: int) -> int:
        """Go on while values are learned, so many at once; return where to go on."""
        if self.usual is None:
            self.usual = self._usual_before(begin)
        found = Deviates.of(self.y[begin : begin + AT_ONCE], self.usual)
        m = self.usual.n + np.arange(found.z.size)
        counts = (m >= LEAST_VALUES) & np.isfinite(found.z)
        far = np.flatnonzero((m >= LEAST_FOR_FAR) & (np.abs(found.z) > FAR))
        many = int(far[0]) if far.size else found.z.size  # so many are learned, and the next one is not
        end = begin + many + bool(far.size)
        self.deviate[begin:end][counts[: end - begin]] = found.z[: end - begin][counts[: end - begin]]
        self.learned[begin : begin + many] = True
        usual = found.before(many)
        self.usual = None if far.size and usual.n < FIRST else usual  # few are then taken about another mean
        for i, one, told in zip(range(begin, end), found.z.tolist(), counts.tolist(), strict=False):
            if i in self.marks:
                self._mark(i, found.before(i - begin))
            called = self._add_unless_wild(i, one) if told else None
            if called is not None:
                self.deviate[i + 1 : end], self.learned[i:end] = np.nan, False
                return self._called(i, called.side, called.onset)
        if end < self.y.size or far.size:
            return end
        self._mark(end, usual)
        return end + 1

    def _usual_before(self, place: int) -> Usual:
        known = self.y[self.fresh : place][self.learned[self.fresh : place]]
        return Usual.of(known, then=self.y[place:]) if self.before is None else self.before.more(known)

    def _mark(self, place: int, usual: Usual) -> None:
        """Keep where a series stands that is not called."""
        few = usual.n < FIRST
        self.stands[place] = None if few else Quiet(usual=usual, wild=self.wild, sums=self.sums.now)

    def _add_unless_wild(self, i: int, z: float) -> Passed | None:
        """Add a deviate; one far out waits for the next: alone it is wild, two of one side are a level."""
        waits, self.wild = self.wild, z if abs(z) > FAR else 0.0
        if self.wild and waits * z <= 0:
            return None
        if self.wild:
            self.sums.add(i - 1, FAR if waits > 0 else -FAR, self.limits[i])
        return self.sums.add(i, min(max(z, -FAR), FAR), self.limits[i])

    def _called(self, at: int, side: int, onset: int) -> int:
        """Keep a call, and wait until it is over; return where to go on."""
        if onset < 0:  # its sum began to rise before the first value
            self.lost = True
            return at
        self.learned[onset : at + 1] = False
        usual = self._usual_before(onset)
        mean, sd = usual.mean, usual.sd
        shift = float(self.y[onset : at + 1].mean()) - mean
        step = max(abs(shift) / sd, LEAST_SHIFT)
        ended = self._until_back(Standing(side=side, mean=mean, sd=sd, step=step, back=0.0, ago=1), at + 1)
        end, lasted = (None, False) if ended is None else (ended.end, ended.since is None)
        self.calls.append(
            LevelCall(at=at, onset=onset, side=side, mean=mean, sd=sd, shift=shift, end=end, lasted=lasted)
        )
        if ended is None:
            return int(self.y.size) + 1
        self._learn_after(onset, ended, mean, sd)
        self._restart(ended.end + 1)
        return ended.end + 1

    def _learn_after(self, onset: int, ended: _Ended, mean: float, sd: float) -> None:
        """Learn what was usual of a call that is over, or of the level that lasted."""
        end, since = ended.end, ended.since
        if since is not None:
            usual = np.abs(self.y[onset : end + 1] - mean) <= USUAL * sd
            self.learned[onset : end + 1] = usual
            self.learned[since : end + 1] = True
            return
        self._keep_baseline(self.fresh)
        self.fresh, self.before = end - BASELINE_VALUES + 1, None
        self.learned[self.fresh : end + 1] = True

    def _until_back(self, stand: Standing, begin: int) -> _Ended | None:
        """Go on until a call ends; None where it goes on after the last value."""
        back, since, called = stand.back, begin, begin - stand.ago
        for i in range(begin, self.y.size):
            if i in self.marks:
                self.stands[i] = replace(stand, back=back, ago=i - called)
            z = stand.side * (float(self.y[i]) - stand.mean) / stand.sd
            self.deviate[i] = stand.side * z
            if back == 0.0:
                since = i
            back = max(0.0, back + stand.step * (stand.step / 2 - min(max(z, -FAR), FAR)))
            if back > BACK:
                return _Ended(end=i, since=since)
            if i - called >= BASELINE_VALUES:
                return _Ended(end=i, since=None)
        self.stands[self.y.size] = replace(stand, back=back, ago=self.y.size - called)
        return None


@dataclass(frozen=True, kw_only=True)
class _Ended:
    """Where a call ends and since when the level is back; no such moment where it lasted."""

    end: int
    since: int | None
