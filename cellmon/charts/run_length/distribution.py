"""The run length of a chart: points until it signals, as mean, spread, survival and quantiles.

Every chart here becomes a linear system: a row of weights over states (`start`), a matrix that takes
it one point further (`step`), and what of it still runs (`running`). Survival after t points is
start step^t running; all else follows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Floats = NDArray[np.float64]
_MOST_POINTS = 1_000_000
_SETTLED = 40
"""Points over which survival falls by one factor: more than any pattern test looks back."""
_LONGEST_PAST = 8_000
"""Points after which a sparse chart has forgotten how it began."""
_LONGEST = 1e12
"""Means beyond this are lost in rounding: 1 - survival is known to 1e-16 only."""


class RunsTooLong(ValueError):
    """A mean run length that double precision cannot tell; a slip of whoever chose the limit."""

    def __init__(self) -> None:
        super().__init__("a chart that runs for more than 1e12 points: narrow its limits")


class Steady(StrEnum):
    """What a chart that has run for long is taken to have done before the change."""

    CONDITIONAL = "conditional"
    """It ran for very long and never signalled."""
    CYCLICAL = "cyclical"
    """It began anew after each false alarm."""


@dataclass(frozen=True)
class _Sums:
    """Over t from 0: survival P(T > t), and (2 t + 1) P(T > t)."""

    points: float
    squares: float


@dataclass(frozen=True, kw_only=True, eq=False)
class RunLength:
    """Points until the first signal of a chart, the signalling one counted."""

    start: Floats
    """Weight of each state before the next point, shape (m,)."""
    step: Floats | csr_array
    """What one point makes of them, shape (m, m); rows are the state before."""
    running: Floats
    """What a unit of weight in a state counts as still running, shape (m,)."""
    early: Floats = field(default_factory=lambda: np.empty(0))
    """Survival after 0, 1, ... points, where the first have steps of their own; `start` follows them."""

    seen: csr_array | None = None
    """Where states lie elsewhere than in the unmoved chart: what each of that one's is here, (m0, m)."""

    @property
    def mean(self) -> float:
        """Average run length.

        Raises
        ------
        RunsTooLong
            Where it is beyond 1e12.
        """
        dense = isinstance(self.step, np.ndarray)
        rest = float(self.start @ self._solve(self.running)) if dense else self._summed.points
        mean = float(self.early.sum()) + rest
        if not 0 < mean < _LONGEST:
            raise RunsTooLong
        return mean

    @cached_property
    def _back(self) -> Any:
        """The step turned round once: a sparse one would be turned anew at every point."""
        return self.step.T

    @cached_property
    def _summed(self) -> _Sums:
        """Sum survival point by point; once it falls by a steady factor the rest is a geometric sum.

        Of a sparse step with many states that is far sooner done than an inverse.
        """
        row = self.start
        points, squares, now, before, settled = 0.0, 0.0, float(row @ self.running), np.inf, 0
        for t in range(_MOST_POINTS):
            row = self._back @ row
            further = float(row @ self.running)
            factor = further / now
            settled = settled + 1 if abs(factor - before) < 1e-13 else 0
            if settled == _SETTLED:
                rest = now / (1 - factor)
                return _Sums(points + rest, squares + rest * (2 * t + 1 + 2 * factor / (1 - factor)))
            points, squares, now, before = points + now, squares + (2 * t + 1) * now, further, factor
            if not now > 1e-16:
                return _Sums(points + now, squares + (2 * t + 3) * now)
        raise ValueError("survival of this chart does not settle")

    @property
    def sd(self) -> float:
        """Standard deviation of the run length: E T^2 = sum (2 t + 1) P(T > t)."""
        lead = self.early.size
        square = float((2 * np.arange(lead) + 1) @ self.early)
        if isinstance(self.step, np.ndarray):
            after = self._solve(self.running)
            square += (2 * lead - 1) * float(self.start @ after) + 2 * float(self.start @ self._solve(after))
        else:
            square += 2 * lead * self._summed.points + self._summed.squares
        return math.sqrt(max(0.0, square - self.mean**2))

    def survival(self, points: ArrayLike) -> Floats:
        """Return the chance of no signal in the first so many points, for whole numbers from 0."""
        wanted = np.asarray(points, dtype=np.int64)
        if wanted.size and int(wanted.min()) < 0:
            raise ValueError("a number of points from 0")
        longest = int(wanted.max(initial=0))
        if longest > 20_000 and isinstance(self.step, np.ndarray):
            far = np.vectorize(self._survival_far, otypes=[np.float64])
            return np.asarray(far(wanted), dtype=np.float64)
        return np.asarray(self._curve(longest)[wanted], dtype=np.float64)

    def quantile(self, share: float) -> int:
        """Return the fewest points within which a share of all runs have signalled.

        >>> geometric(0.0027).quantile(0.5)
        257
        """
        if not 0 < share < 1:
            raise ValueError(f"a share between 0 and 1, not {share}")
        left = 1 - share
        if self.early.size and self.early[-1] <= left:
            return int(np.argmax(self.early <= left))
        return self.early.size + self._last_above(left)

    def _last_above(self, left: float) -> int:
        """Return the first t from 0 at which start step^t running is at most `left`."""
        if not float(self.start @ self.running) > left:
            return 0
        if not isinstance(self.step, np.ndarray):
            return self._stepped_below(left)
        powers: list[Any] = [self.step]
        while float(self.start @ (powers[-1] @ self.running)) > left and len(powers) < 60:
            powers.append(powers[-1] @ powers[-1])
        row, done = self.start, 0
        for exponent in range(len(powers) - 1, -1, -1):
            further = row @ powers[exponent]
            if float(further @ self.running) > left:
                row, done = further, done + 2**exponent
        return done + 1

    def _stepped_below(self, left: float) -> int:
        """As `_last_above` without powers, which would fill a sparse step."""
        row: Any = self.start
        points, alive = 0, float(self.start @ self.running)
        while alive > left:
            row = self._back @ row
            points, alive = points + 1, float(row @ self.running)
        return points

    def _curve(self, longest: int) -> Floats:
        row, result = self.start, list(self.early[: longest + 1])
        while len(result) <= longest:
            result.append(float(row @ self.running))
            row = self._back @ row
        return np.asarray(result)

    def _survival_far(self, points: int) -> float:
        if points < self.early.size:
            return float(self.early[points])
        row, left = self.start, points - self.early.size
        power: Any = self.step
        while left:
            row = row @ power if left & 1 else row
            left >>= 1
            power = power @ power if left else power
        return float(row @ self.running)

    @cached_property
    def _lasting(self) -> Floats:
        """The weights that a step leaves as they are but for a factor: the slowest to die out."""
        dense = isinstance(self.step, np.ndarray)
        row, power = self.start, self._back
        for _ in range(40 if dense else _LONGEST_PAST):
            further = power @ row
            left = float(further @ self.running)
            if not left > 0:  # every run has ended
                break
            further = further / left
            change = float(np.abs(further - row).max())
            row = further
            if change < 1e-13 * float(np.abs(further).max()):
                break
            if dense:
                power = power @ power
                power = power / float(np.abs(power).max())
        return np.asarray(row, dtype=np.float64)

    def _solve(self, right: Floats) -> Floats:
        return _inverse(self.step, right)


def geometric(chance: float) -> RunLength:
    """Return the run length of a chart that signals with the same chance at every point.

    >>> round(geometric(0.01).mean, 9)
    100.0
    """
    if not 0 < chance <= 1:
        raise ValueError(f"a chance above 0 and up to 1, not {chance}")
    return RunLength(start=np.ones(1), step=np.array([[1 - chance]]), running=np.ones(1))


def alongside(run: RunLength, chance: float) -> RunLength:
    """Return the run length of a chart and another, independent one that signals with a fixed chance.

    The range chart beside any chart of means is such a one: in normal samples means and ranges are
    independent.

    >>> round(alongside(geometric(1 / 370.4), 0.0046).mean)
    137
    """
    kept = (1 - chance) ** np.arange(run.early.size)
    return RunLength(
        start=run.start * (1 - chance) ** run.early.size,
        step=run.step * (1 - chance),
        running=run.running,
        early=run.early * kept,
        seen=run.seen,
    )


def first_of(run: RunLength, charts: int) -> float:
    """Return the points until the first signal of so many independent charts alike, on average.

    Sums survival^charts; once survival falls by a steady factor the rest is a geometric sum.

    >>> round(first_of(geometric(1 / 370.4), 12), 1)
    31.3
    """
    if charts < 1:
        raise ValueError(f"at least one chart, not {charts}")
    lasting = run._lasting
    factor = float((lasting @ run.step) @ run.running) / float(lasting @ run.running)
    total, row, settled = float((run.early**charts).sum()), run.start, 0
    for _ in range(_MOST_POINTS):
        now = float(row @ run.running)
        row = run._back @ row
        settled = settled + 1 if abs(float(row @ run.running) / now - factor) < 1e-13 else 0
        if settled == 3 and factor > 0:
            return total + now**charts / -math.expm1(charts * math.log(factor))
        total += now**charts
        if not float(row @ run.running) > 1e-16:
            return total
    raise ValueError("survival of this chart does not settle")


def after_change(before: RunLength, after: RunLength, *, at: int) -> RunLength:
    """Return the points from a change to its signal, where the change comes after `at` quiet points.

    Runs that signalled before the change are left out; so `at=0` is the zero-state run length.

    Parameters
    ----------
    before, after : RunLength
        The same chart, with the process as it is before and after the change.
    """
    if before.early.size or after.early.size:
        raise ValueError("charts with limits that change: only their steady state can be taken")
    row: Any = before.start
    for _ in range(at):
        row = row @ before.step
    return _going_on(before, row, after)


def steady_state(before: RunLength, after: RunLength, *, kind: Steady = Steady.CONDITIONAL) -> RunLength:
    """Return the points from a change to its signal, for a chart that has long been running.

    References
    ----------
    Crosier, Technometrics 28 (1986), 187-194, for the two kinds (from memory).
    """
    if kind is Steady.CONDITIONAL:
        return _going_on(before, before._lasting, after)
    if before.early.size:
        raise ValueError("a chart with limits that change: it has a conditional steady state only")
    return _going_on(before, _inverse(before.step.T, before.start), after)


def _going_on(before: RunLength, row: Any, after: RunLength) -> RunLength:
    """Return the changed chart from the weights that the unmoved one has come to."""
    if before.running.size != (after.start.size if after.seen is None else after.seen.shape[0]):
        raise ValueError("two different charts: their states do not match")
    start = row / float(row @ before.running)
    return replace(after, start=start if after.seen is None else start @ after.seen, early=np.empty(0))


def _inverse(step: Any, right: Floats) -> Floats:
    """Return (I - step)^-1 right."""
    if isinstance(step, np.ndarray):
        try:
            return np.asarray(np.linalg.solve(np.eye(right.size) - step, right), dtype=np.float64)
        except np.linalg.LinAlgError:
            raise RunsTooLong from None
    from scipy.sparse import identity  # late: slow to import
    from scipy.sparse.linalg import gmres

    system = (identity(right.size) - step).tocsr()
    found, failed = gmres(system, right, rtol=1e-13, restart=60, maxiter=40)
    if failed and float(np.abs(system @ found - right).max()) > 1e-9:
        raise ValueError("the run length of this chart does not converge")
    return np.asarray(found, dtype=np.float64)
