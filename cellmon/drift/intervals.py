"""What the intervals between dressings teach: where the level starts, how it falls, how far both vary.

Each interval is a line with a random walk and noise about it. A filter makes the noise white, every line
is fitted by itself, and what the lines differ by beyond their own errors is how dressings vary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
LEAST_INTERVALS, LEAST_INTERVALS_OF_WEAR = 5, 2
"""So many dressing intervals are taken one by one; fewer of what stones' wear moves."""
LEAST_DRESSINGS = 4
LEAST_IN_INTERVAL = 4
GUESS_DF = 3.0
"""What a first guess of a variance between intervals counts for, degrees of freedom."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Interval:
    """The subgroups from one dressing to the next; arrays of shape (m,), micrometres.

    `so_far` is what known inputs moved the level by since the dressing, `doubt` the variance each of
    them leaves, `bores` those honed since, `noise` the variance of a mean in those of a usual one.
    """

    mean: Floats
    so_far: Floats
    doubt: Floats
    bores: Floats
    gap: Floats
    noise: Floats
    dressed: bool
    """Whether it begins with a dressing: the first of a window, or one after new stones, does not."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """One line an interval, under each of w random walks; arrays of shape (w, intervals), micrometres.

    Variances are in units of `variance`, which has shape (w,): that of a usual mean about its line.
    """

    start: Floats
    slope: Floats
    """A bore."""
    end: Floats
    start_var: Floats
    slope_var: Floats
    end_var: Floats
    likelihood: Floats
    """Restricted: of what the lines leave over."""
    variance: Floats
    df: float


def fit_lines(
    intervals: Sequence[Interval],
    *,
    walks: Floats,
    slopes: bool,
    prior: float,
    prior_df: float,
) -> Lines:
    """Fit a line to every interval, for every variance of a random walk.

    Parameters
    ----------
    walks : ndarray, shape (w,)
        Variances of the random step a bore, in those of a usual mean.
    slopes : bool
        Whether lines may fall; else each is level.
    prior, prior_df : float
        A first guess of the variance of a usual mean, square micrometres, and what it counts for.

    References
    ----------
    Generalised least squares with the covariance factored by the innovations of a local level filter:
    Harvey (1989), section 3.4; restricted likelihood: Patterson and Thompson, Biometrika 58 (1971)
    (both from memory). Checked in `tests/drift/test_dressing_intervals.py` against the joint normal.
    """
    fits = [_fit(one, walks, slopes, prior) for one in intervals]
    df = float(sum(len(one.mean) - (2 if slopes else 1) for one in intervals))
    squares = np.sum([fit.squares for fit in fits], axis=0)
    variance = (squares + prior_df * prior) / (df + prior_df)
    logs = np.sum([fit.logs for fit in fits], axis=0)
    columns = {
        name: np.stack([getattr(fit, name) for fit in fits], axis=1)
        for name in ("start", "slope", "end", "start_var", "slope_var", "end_var")
    }
    likelihood = -0.5 * (logs + (df + prior_df) * np.log(variance))
    return Lines(**columns, likelihood=likelihood, variance=variance, df=df + prior_df)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    start: Floats
    slope: Floats
    end: Floats
    start_var: Floats
    slope_var: Floats
    end_var: Floats
    squares: Floats
    logs: Floats


def _fit(one: Interval, walks: Floats, slopes: bool, prior: float) -> _Fit:
    """Fit one line under each walk: whiten mean, one and bores alike, then least squares."""
    columns = np.stack([one.mean - one.so_far, np.ones(len(one.mean)), one.bores])
    away, state, spread = (
        np.empty((len(one.mean), 3, len(walks))),
        np.zeros((3, len(walks))),
        np.zeros(len(walks)),
    )
    logs = np.zeros(len(walks))
    for t in range(len(one.mean)):
        spread = spread + walks * one.gap[t] + one.doubt[t] / prior
        total = spread + one.noise[t]
        new = columns[:, t, None] - state
        away[t] = new / np.sqrt(total)
        logs += np.log(total)
        state = state + spread / total * new
        spread = spread * one.noise[t] / total
    y, x1, x2 = away[:, 0], away[:, 1], away[:, 2]
    a, b, c = (x1**2).sum(0), (x1 * x2).sum(0), (x2**2).sum(0)
    u, v, yy = (x1 * y).sum(0), (x2 * y).sum(0), (y**2).sum(0)
    if slopes:
        det = a * c - b * b
        start, slope = (c * u - b * v) / det, (a * v - b * u) / det
        v11, v12, v22 = c / det, -b / det, a / det
        logs = logs + np.log(det)
    else:
        start, slope = u / a, np.zeros_like(u)
        v11, v12, v22 = 1 / a, np.zeros_like(u), np.zeros_like(u)
        logs = logs + np.log(a)
    c1, c2 = 1 - state[1], (one.bores[-1] - state[2]) * slopes
    return _Fit(
        start=start,
        slope=slope,
        end=state[0] + c1 * start + c2 * slope + one.so_far[-1],
        start_var=v11,
        slope_var=v22,
        end_var=spread + c1**2 * v11 + 2 * c1 * c2 * v12 + c2**2 * v22,
        squares=np.maximum(yy - u * start - v * slope, 0.0),
        logs=logs,
    )


@dataclass(frozen=True, kw_only=True)
class Between:
    """The mean of figures that each have an error of their own, and how they vary beyond it."""

    mean: float
    mean_var: float
    variance: float
    count: int
    likelihood: float

    def next_var(self, *, guess: float) -> float:
        """Return the variance of the next such figure about the mean, with what few figures leave unsure.

        `guess` is the variance between figures that is thought usual, and counts for `GUESS_DF` of them.
        The variance is that of Student's t of as many degrees of freedom.
        """
        df = self.count - 1 + GUESS_DF
        variance = ((self.count - 1) * self.variance + GUESS_DF * guess) / df
        return variance * df / (df - 2) + self.mean_var


def between(figures: ArrayLike, error_var: ArrayLike) -> Between:
    """Return the mean of some figures and their variance beyond their errors.

    Parameters
    ----------
    figures, error_var : array_like, shape (k,)
        Figures, and the variance of each one's error.

    References
    ----------
    Paule and Mandel, Consensus values and weighting factors, J. Res. Natl. Bur. Stand. 87 (1982).

    Examples
    --------
    >>> round(between([1.0, 3.0, 5.0], [0.0, 0.0, 0.0]).variance, 9)
    4.0
    """
    from scipy.optimize import brentq  # late: slow to import

    x, v = np.asarray(figures, dtype=np.float64), np.asarray(error_var, dtype=np.float64)
    least = 1e-12 * (np.ptp(x) ** 2 + 1e-12)

    def excess(variance: float) -> float:
        w = 1 / (v + variance)
        return float((w * (x - (w * x).sum() / w.sum()) ** 2).sum() - (len(x) - 1))

    most = float(np.ptp(x) ** 2) + 1e-9
    variance = float(brentq(excess, least, most)) if excess(least) > 0 > excess(most) else 0.0
    w = 1 / (v + max(variance, least))
    mean, total = float((w * x).sum() / w.sum()), v + max(variance, least)
    likelihood = -0.5 * float((np.log(total) + (x - mean) ** 2 / total).sum())
    return Between(
        mean=mean, mean_var=float(1 / w.sum()), variance=variance, count=len(x), likelihood=likelihood
    )


@dataclass(frozen=True, kw_only=True)
class Dressing:
    """What a dressing does to a level: it starts anew at `level`, or steps by it from where it was."""

    resets: bool
    level: float
    var: float
    """Variance of that from one dressing to the next, with what is unsure of its mean."""


def what_dressing_does(
    start: Floats,
    end: Floats,
    start_var: Floats,
    end_var: Floats,
    dressed: NDArray[np.bool_],
    *,
    guess: float,
) -> Dressing | None:
    """Return whether levels start anew at dressings, or go on; None where too few dressings are seen.

    Arrays of shape (intervals,), in order; variances in square micrometres. The likelier of both is taken;
    `guess` is the variance from dressing to dressing that is thought usual.
    """
    seen = np.flatnonzero(dressed[1:]) + 1
    if len(seen) < LEAST_DRESSINGS:
        return None
    anew = between(start[seen], start_var[seen])
    step = between(start[seen] - end[seen - 1], start_var[seen] + end_var[seen - 1])
    resets = anew.likelihood > step.likelihood
    found = anew if resets else step
    return Dressing(resets=resets, level=found.mean, var=found.next_var(guess=guess))
